package week

import (
	"time"

	"loopdrill.dev/loopdrill/sim"
)

// dice draws from one counter-based stream.
type dice struct {
	stream sim.Stream
	n      uint64
}

func newDice(seed uint64, name string) *dice {
	return &dice{stream: sim.NewStream(seed, "week/"+name)}
}

// below draws a whole number in [0, n). The bias of the remainder is below n in 2^64.
func (d *dice) below(n int) int {
	d.n++
	return int(d.stream.At(d.n) % uint64(n))
}

// chance is true in so many of a hundred draws.
func (d *dice) chance(percent int) bool { return d.below(100) < percent }

// between draws a time in [low, high): mostly whole milliseconds, now and then whole seconds, at
// which things coincide.
func (d *dice) between(low, high time.Duration) time.Duration {
	unit := time.Millisecond
	if d.chance(20) {
		unit = time.Second
	}
	return low + time.Duration(d.below(int((high-low)/unit)))*unit
}

// pick draws one of a list, which must not be empty.
func pick[T any](d *dice, list []T) T { return list[d.below(len(list))] }
