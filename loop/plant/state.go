package plant

import "time"

// Fault is how equipment misbehaves: any of the faults below together.
type Fault uint8

// The faults of equipment.
const (
	Stuck    Fault = 1 << iota // does not obey; what it loses with its power it still loses
	Slow                       // every time is multiplied
	Unproven                   // works, but its signals stay as they are

	NoFault Fault = 0
)

// SlowFactor multiplies the times of slow equipment where nothing else is said.
const SlowFactor = 2

// State is everything of the equipment that changes during a drill. It is plain data: only
// CopyFrom and the methods of the Plant that made it may touch it.
type State struct {
	now      time.Duration
	units    []unitState
	operated []bool // by input: its fire action is demanded
	pending  []bool // by input: operated and not yet done
	signals  []bool // by signal, as they show
	motions  []motion
	due      []int32 // heap of the moving parts, next arrival first
	place    []int32 // by part: where it stands in the heap, or -1
}

type unitState struct {
	word    int32
	mode    int32 // what the kind has to remember, as its file says
	cuts    int32 // how many trips hold its power off
	factor  int64 // in scale: how much slower than usual it is
	fault   Fault
	cutting bool // a trip: it holds the power of others off
	outside bool // somebody outside stands in for its model
}

// motion is the position of one part. While the part moves, pos is where it was at since.
type motion struct {
	pos, target int64 // on the part's track
	since, due  time.Duration
	parent      uint64 // event that the arrival follows from
	fresh       bool   // began in this call: parent is yet to be known
}

// NewState returns equipment at rest, healthy and powered, as it stands at t = 0.
func (p *Plant) NewState() *State {
	s := &State{
		units:    make([]unitState, len(p.machines)),
		operated: make([]bool, p.inputs),
		pending:  make([]bool, p.inputs),
		signals:  make([]bool, p.signals),
		motions:  make([]motion, len(p.tracks)),
		due:      make([]int32, 0, len(p.tracks)),
		place:    make([]int32, len(p.tracks)),
	}
	for i, t := range p.tracks {
		s.motions[i] = motion{pos: t.start, target: t.start}
		s.place[i] = -1
	}
	for e := range p.machines {
		m := &p.machines[e]
		s.units[e].factor = scale
		u := unit{p: p, s: s, e: e}
		s.units[e].word = m.is.word(u)
		for k := range m.signals {
			s.signals[m.firstSignal+k] = m.is.signal(u, k)
		}
	}
	return s
}

// CopyFrom makes s equal to o and independent of it. Both are of the same Plant; s may be the
// zero State.
func (s *State) CopyFrom(o *State) {
	s.now = o.now
	s.units = append(s.units[:0], o.units...)
	s.operated = append(s.operated[:0], o.operated...)
	s.pending = append(s.pending[:0], o.pending...)
	s.signals = append(s.signals[:0], o.signals...)
	s.motions = append(s.motions[:0], o.motions...)
	s.due = append(s.due[:0], o.due...)
	s.place = append(s.place[:0], o.place...)
}

// Signal tells whether a signal shows.
func (p *Plant) Signal(s *State, e, signal int) bool {
	return s.signals[p.machines[e].firstSignal+signal]
}

// StateIndex returns the state of a piece of equipment as an index into States.
func (p *Plant) StateIndex(s *State, e int) int { return int(s.units[e].word) }

// Operated tells whether the fire action of an input is demanded.
func (p *Plant) Operated(s *State, e, input int) bool {
	return s.operated[p.machines[e].firstInput+input]
}

// Powered tells whether no trip holds the power of a piece of equipment off.
func (p *Plant) Powered(s *State, e int) bool { return s.units[e].cuts == 0 }
