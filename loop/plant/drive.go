package plant

import (
	"fmt"
	"time"
)

// ChangeKind is what a Change tells.
type ChangeKind uint8

// The kinds of change.
const (
	StateChanged  ChangeKind = iota + 1 // Index: the new state word
	SignalChanged                       // Index: the signal; On: it shows
	Done                                // Index: the input whose action is complete (t5)
)

// Change is one change of one piece of equipment.
type Change struct {
	Kind             ChangeKind
	Equipment, Index int32
	On               bool   // of SignalChanged; true in the others
	Parent           uint64 // the event it follows from
}

// Sink takes the changes in the order in which they happen, and returns the id under which the
// change is logged: later changes name it as their Parent.
type Sink interface {
	Note(c Change) (event uint64)
}

// Drive says that the fire action of an input is demanded, or no longer; cause is the event that
// says so. Saying it again changes nothing. Everything due before now must have been taken
// (Advance); what is due at this very instant and was not taken yet is overtaken by the command.
func (p *Plant) Drive(s *State, now time.Duration, e, in int, operated bool, cause uint64, sink Sink) {
	s.reach(now)
	at := p.machines[e].firstInput + in
	if s.operated[at] == operated {
		return
	}
	s.operated[at], s.pending[at] = operated, operated
	p.run(s, e, cause, sink)
}

// SetFault gives a piece of equipment faults in place of those it had; NoFault makes it healthy. factor is how many
// times slower Slow equipment is, 1 to 1000; 0 stands for SlowFactor; ignored otherwise. The same
// rule about time holds as for Drive.
func (p *Plant) SetFault(s *State, now time.Duration, e int, f Fault, factor float64, cause uint64, sink Sink) {
	s.reach(now)
	u := unit{p: p, s: s, e: e, now: now}
	for i := range u.machine().tracks {
		if u.moving(i) { // the way so far was made at the old rate
			m := &s.motions[u.part(i)]
			m.pos, m.since = u.pos(i), now
		}
	}
	state := u.state()
	state.fault, state.factor = f, scale
	if f&Slow != 0 {
		state.factor = millionths(factor)
	}
	for i := range u.machine().tracks {
		if u.moving(i) {
			u.start(i)
		}
	}
	p.run(s, e, cause, sink)
}

func millionths(factor float64) int64 {
	if factor == 0 {
		factor = SlowFactor
	}
	if !(factor >= 1 && factor <= 1000) {
		panic(fmt.Sprintf("plant: slow factor %v is outside 1 to 1000", factor))
	}
	return int64(float64(factor*scale) + 0.5)
}

// Next returns when a part arrives next, if one is under way.
func (p *Plant) Next(s *State) (time.Duration, bool) {
	if len(s.due) == 0 {
		return 0, false
	}
	return s.motions[s.due[0]].due, true
}

// Advance takes every arrival due up to and including now, in order of time, each at its own time.
func (p *Plant) Advance(s *State, now time.Duration, sink Sink) {
	if now < s.now {
		panic(fmt.Sprintf("plant: time runs backwards, from %v to %v", s.now, now))
	}
	for len(s.due) > 0 && s.motions[s.due[0]].due <= now {
		part := int(s.due[0])
		m := &s.motions[part]
		s.now = m.due
		m.pos = m.target
		s.cancel(part)
		p.run(s, int(p.owner[part]), m.parent, sink)
	}
	s.now = now
}

// reach moves the clock of the state to the instant of a command.
func (s *State) reach(now time.Duration) {
	if now < s.now {
		panic(fmt.Sprintf("plant: time runs backwards, from %v to %v", s.now, now))
	}
	if len(s.due) > 0 && s.motions[s.due[0]].due < now {
		panic(fmt.Sprintf("plant: a command at %v, but an arrival due at %v was not taken", now, s.motions[s.due[0]].due))
	}
	s.now = now
}

// run lets one piece of equipment follow its inputs, power and fault, and tells what changed:
// state, signals, completed actions, and then whatever a trip does to others. Circles of trips
// are refused by Compile, so this ends.
func (p *Plant) run(s *State, e int, parent uint64, sink Sink) {
	u := unit{p: p, s: s, e: e, now: s.now}
	m := u.machine()
	if !u.state().outside {
		m.is.follow(u)
		parent = p.tell(u, parent, sink)
	}
	for i := range m.tracks {
		if mo := &s.motions[m.firstTrack+i]; mo.fresh {
			mo.fresh, mo.parent = false, parent
		}
	}
	if len(m.cuts) == 0 {
		return
	}
	tripped := u.atFull(0)
	if u.state().outside {
		tripped = s.signals[m.firstSignal+tripTrippedSignal]
	}
	if tripped == s.units[e].cutting {
		return
	}
	s.units[e].cutting = tripped
	for _, other := range m.cuts {
		if tripped {
			s.units[other].cuts++
		} else {
			s.units[other].cuts--
		}
		p.run(s, int(other), parent, sink)
	}
}

// tell notes the changes of one piece of equipment and returns the event that its movements
// follow from: the change of state if there was one, else parent.
func (p *Plant) tell(u unit, parent uint64, sink Sink) uint64 {
	m, state, e := u.machine(), u.state(), int32(u.e)
	if word := m.is.word(u); word != state.word {
		state.word = word
		parent = sink.Note(Change{Kind: StateChanged, Equipment: e, Index: word, On: true, Parent: parent})
	}
	if state.fault&Unproven == 0 || m.frank {
		for k := range m.signals {
			shown := &u.s.signals[m.firstSignal+k]
			if shows := m.is.signal(u, k); shows != *shown {
				*shown = shows
				sink.Note(Change{Kind: SignalChanged, Equipment: e, Index: int32(k), On: shows, Parent: parent})
			}
		}
	}
	for in := range m.inputs {
		pending := &u.s.pending[m.firstInput+in]
		if *pending && m.is.done(u, in) {
			*pending = false
			sink.Note(Change{Kind: Done, Equipment: e, Index: int32(in), On: true, Parent: parent})
		}
	}
	return parent
}
