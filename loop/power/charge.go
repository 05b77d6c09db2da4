package power

import (
	"math/bits"
	"time"
)

// charge is an amount of electricity in microampere-nanoseconds, 128 bits: a large battery over a
// long drill does not fit into 64.
type charge struct{ hi, lo uint64 }

// flow is what a current moves in a time; neither is negative.
func flow(microA int64, d time.Duration) charge {
	hi, lo := bits.Mul64(uint64(microA), uint64(d))
	return charge{hi, lo}
}

func (a charge) less(b charge) bool { return a.hi < b.hi || (a.hi == b.hi && a.lo < b.lo) }

func (a charge) zero() bool { return a.hi == 0 && a.lo == 0 }

func (a charge) plus(b charge) charge {
	lo, carry := bits.Add64(a.lo, b.lo, 0)
	hi, _ := bits.Add64(a.hi, b.hi, carry)
	return charge{hi, lo}
}

// minus is the difference, nothing where b is more.
func (a charge) minus(b charge) charge {
	if a.less(b) {
		return charge{}
	}
	lo, borrow := bits.Sub64(a.lo, b.lo, 0)
	hi, _ := bits.Sub64(a.hi, b.hi, borrow)
	return charge{hi, lo}
}

// share is a percentage, rounded down.
func (a charge) share(percent uint64) charge {
	// a is at most 2^73, so the product with 100 fits.
	hi, lo := bits.Mul64(a.lo, percent)
	hi += a.hi * percent
	q := charge{hi: hi / 100}
	q.lo, _ = bits.Div64(hi%100, lo, 100)
	return q
}

// takes is the first whole nanosecond by which a current has moved the charge, never if it is 0 or
// that lies beyond the end of time.
func (a charge) takes(microA int64) time.Duration {
	if microA <= 0 {
		return never
	}
	i := uint64(microA)
	a = a.plus(charge{lo: i - 1})
	if a.hi >= i {
		return never
	}
	q, _ := bits.Div64(a.hi, a.lo, i)
	if q > uint64(never) {
		return never
	}
	return time.Duration(q)
}

// never is a time that does not come.
const never = time.Duration(1<<63 - 1)

// after adds a delay to a time; never stays never.
func after(t, d time.Duration) time.Duration {
	if d >= never-t {
		return never
	}
	return t + d
}

// microAh is the charge in microampere-hours, rounded down.
func (a charge) microAh() int64 {
	if a.hi >= uint64(time.Hour) {
		return 1<<63 - 1
	}
	q, _ := bits.Div64(a.hi, a.lo, uint64(time.Hour))
	return int64(min(q, 1<<63-1))
}
