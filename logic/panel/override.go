package panel

import "loopdrill.dev/loopdrill/logic/term"

// OverrideStrength is the strength of what a switch demands: above every state, release and the
// inhibit included. Only a disabled output does not follow it.
const OverrideStrength = term.Off + 1

// Lever is one output in the reach of one override: a switch with the positions on, auto and off.
type Lever struct {
	Override int32
	// Effect is the effect of the switch in which the output stands, Place its place among the
	// outputs of that effect.
	Effect, Place int32
	Opposes       bool       // `on` rests it
	Operated      term.State // the state that it operates in
}

// Demands returns what a lever demands in a position away from auto.
func (l Lever) Demands(position int32) term.State {
	if (position == term.SwitchedOn) == l.Opposes {
		return term.Rest
	}
	return l.Operated
}

// Moves is the order in which overrides were moved.
type Moves struct {
	last  []uint64 // by override: the count at its last move, 0 for never moved
	count uint64
}

// NewMoves returns the order of so many overrides of which none was moved.
func NewMoves(overrides int) Moves { return Moves{last: make([]uint64, overrides)} }

// CopyFrom makes m equal to o, in the room that it has.
func (m *Moves) CopyFrom(o *Moves) {
	m.last, m.count = append(m.last[:0], o.last...), o.count
}

// Move says that an override was moved, after all others.
func (m *Moves) Move(override int32) {
	m.count++
	m.last[override] = m.count
}

// Ruling returns the lever that rules an output, its position, and false where none does: of those
// whose override is away from auto the one moved last.
func (m *Moves) Ruling(levers []Lever, positionOf func(override int32) int32) (ruling Lever, position int32, ok bool) {
	last := uint64(0)
	for _, l := range levers {
		if m.last[l.Override] <= last {
			continue
		}
		if at := positionOf(l.Override); at != term.Auto {
			ruling, position, ok, last = l, at, true, m.last[l.Override]
		}
	}
	return ruling, position, ok
}
