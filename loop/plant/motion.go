package plant

import (
	"math/bits"
	"time"
)

// scale is a slow factor of one: factors are kept in millionths.
const scale = 1_000_000

// track is what one moving part runs along: positions 0 to full, where up is the time from 0 to
// full and down the time back. A countdown or a delay is a track too.
type track struct {
	full, start int64
	up, down    time.Duration
}

// newTrack makes a track whose unit is a nanosecond of its slower direction, so that a part with
// equal times both ways is exact to the nanosecond, and any other to one unit.
func newTrack(up, down time.Duration) track {
	return track{full: max(int64(up), int64(down), 1), up: up, down: down}
}

// takes returns the time for a distance in units, rounded up to the nanosecond.
func (t track) takes(distance int64, up bool, factor int64) time.Duration {
	whole := mulDiv(distance, int64(t.way(up)), t.full, true)
	return time.Duration(mulDiv(whole, factor, scale, true))
}

// covers returns the distance covered in a time, at most limit, rounded down.
func (t track) covers(elapsed time.Duration, up bool, factor, limit int64) int64 {
	way := int64(t.way(up))
	healthy := mulDiv(int64(elapsed), scale, factor, false)
	if healthy >= way {
		return limit
	}
	return min(limit, mulDiv(healthy, t.full, way, false))
}

func (t track) way(up bool) time.Duration {
	if up {
		return t.up
	}
	return t.down
}

// mulDiv returns a*b/c of non-negative integers without overflow in the product; c > 0 and the
// quotient must fit.
func mulDiv(a, b, c int64, roundUp bool) int64 {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if roundUp {
		var carry uint64
		lo, carry = bits.Add64(lo, uint64(c)-1, 0)
		hi += carry
	}
	quotient, _ := bits.Div64(hi, lo, uint64(c))
	return int64(quotient)
}

// unit is one piece of equipment in one drill at one instant: what a behaviour works on.
type unit struct {
	p   *Plant
	s   *State
	e   int
	now time.Duration
}

func (u unit) machine() *machine   { return &u.p.machines[u.e] }
func (u unit) state() *unitState   { return &u.s.units[u.e] }
func (u unit) mode() int32         { return u.state().mode }
func (u unit) setMode(m int32)     { u.state().mode = m }
func (u unit) stuck() bool         { return u.state().fault&Stuck != 0 }
func (u unit) powered() bool       { return u.state().cuts == 0 }
func (u unit) part(i int) int      { return u.machine().firstTrack + i }
func (u unit) track(i int) track   { return u.p.tracks[u.part(i)] }
func (u unit) full(i int) int64    { return u.track(i).full }
func (u unit) atFull(i int) bool   { return u.stands(i, u.full(i)) }
func (u unit) atZero(i int) bool   { return u.stands(i, 0) }
func (u unit) moving(i int) bool   { return u.s.place[u.part(i)] >= 0 }
func (u unit) operated(i int) bool { return u.s.operated[u.machine().firstInput+i] }

// on tells whether an input acts. Without power it acts if it is de-energise-to-operate: the
// control voltage is gone with the supply (fail-safe wiring, common practice).
func (u unit) on(i int) bool {
	if u.powered() {
		return u.operated(i)
	}
	return u.machine().deEnergise[i]
}

// dead tells whether nothing can move it: no power, and no input that acts without it.
func (u unit) dead() bool { return !u.powered() && !u.machine().anyDeEnergise }

// stands tells whether a part has come to rest at a position.
func (u unit) stands(i int, position int64) bool {
	return !u.moving(i) && u.s.motions[u.part(i)].pos == position
}

// pos returns where a part is now.
func (u unit) pos(i int) int64 {
	m := &u.s.motions[u.part(i)]
	if !u.moving(i) {
		return m.pos
	}
	up := m.target > m.pos
	distance := max(m.target-m.pos, m.pos-m.target)
	covered := u.track(i).covers(u.now-m.since, up, u.state().factor, distance)
	if up {
		return m.pos + covered
	}
	return m.pos - covered
}

// goTo sends a part to a position: onwards if it is already on its way there, at once if that
// takes no time.
func (u unit) goTo(i int, target int64) {
	m := &u.s.motions[u.part(i)]
	if u.moving(i) && m.target == target {
		return
	}
	u.halt(i)
	m.target = target
	if m.pos == target {
		return
	}
	m.fresh = true
	u.start(i)
}

// start computes the arrival of a part that is to move from pos to target.
func (u unit) start(i int) {
	part := u.part(i)
	m := &u.s.motions[part]
	up := m.target > m.pos
	takes := u.track(i).takes(max(m.target-m.pos, m.pos-m.target), up, u.state().factor)
	if takes == 0 {
		u.put(i, m.target)
		return
	}
	m.since, m.due = u.now, u.now+takes
	u.s.schedule(part)
}

// halt stops a part where it is; its target stays, and tells which way it was going.
func (u unit) halt(i int) {
	if u.moving(i) {
		part := u.part(i)
		u.s.motions[part].pos = u.pos(i)
		u.s.cancel(part)
	}
}

// put places a part at a position at once.
func (u unit) put(i int, position int64) {
	part := u.part(i)
	u.s.cancel(part)
	m := &u.s.motions[part]
	m.pos, m.target, m.fresh = position, position, false
}

// goOrRest follows one input with one part: it takes its time to full, and is back at 0 at once. Stuck or
// without what it needs it stays where it is.
func (u unit) goOrRest() {
	switch {
	case u.dead() || u.stuck():
		u.haltAll()
	case u.on(0):
		u.goTo(0, u.full(0))
	default:
		u.put(0, 0)
	}
}

// haltAll stops every part.
func (u unit) haltAll() {
	for i := range u.machine().tracks {
		u.halt(i)
	}
}
