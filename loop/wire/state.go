package wire

import (
	"math"
	"time"
)

// never is no instant, longAgo one before all others.
const (
	never   = time.Duration(math.MaxInt64)
	longAgo = -never / 2
)

// State is everything of a loop that changes. It is plain data: only CopyFrom and the methods of
// the Network that made it may touch it.
type State struct {
	now       time.Duration
	next      time.Duration
	cause     uint64 // event that the present change follows from
	numbers   int32  // faults placed so far
	faults    []placed
	iso       []isoState
	dev       []devState
	lit       []int32 // devices whose indicator was asked for, in that order
	far       bool    // the far end is to be driven
	dark      bool    // the driver is off
	safe      bool    // no combination of loads changes who is fed
	collapsed bool
	solves    uint64

	limited     bool          // the driver stands in its limit, or has collapsed
	strained    bool          // an overload stands
	held        bool          // which does not end by itself
	strainDue   time.Duration // when the driver will have been in, or out of, its limit for long enough
	strainCause uint64        // event since which it is
	trips       recent        // when it last came into its limit

	work work // derived from all the rest, rebuilt on demand
}

// placed is a fault in its run.
type placed struct {
	number int32
	Fault
}

// Position holds an isolator where it is.
type Position uint8

// Positions of a stuck isolator.
const (
	Free Position = iota
	StuckOpen
	StuckClosed
)

// isoState is one isolator. due is when it acts: opens if it is closed, tests and closes if open.
type isoState struct {
	open    bool
	low     bool // closed, and the line collapsed when last looked at
	blocked bool // tested, and found a short beyond
	stuck   Position
	due     time.Duration
	parent  uint64
}

// stage is how far a device is in losing or regaining its voltage.
type stage uint8

const (
	working  stage = iota
	holding        // without voltage, for less than the hold-up
	down           // without voltage for longer: its output is as its contact says
	starting       // voltage back, restarting
)

type devState struct {
	stage     stage
	indicator bool
	sounder   bool
	out       bool   // of its base
	losses    recent // when it last went down
	due       time.Duration
	parent    uint64
}

// NewState returns the loop at t = 0: healthy, all isolators closed, every load at rest, the first
// terminal driven. Devices that the wiring cannot feed are down from the start, without a note; what
// such a loop does next has the parent 0.
func (n *Network) NewState() *State {
	s := &State{next: never, strainDue: never, safe: n.safe, iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries))}
	for i := range s.iso {
		s.iso[i].due = never
	}
	s.iso[farEnd].open = true
	for e := range s.dev {
		s.dev[e] = devState{due: never}
	}
	s.touch()
	if !n.safe {
		n.settle(s, true, true, silent{})
		for e := range s.dev {
			if d := &s.dev[e]; n.entries[e].device && s.work.voltage(int32(e)) < n.entries[e].pickUp {
				d.stage, d.due = down, never
			}
		}
		n.settle(s, false, true, silent{})
	}
	return s
}

// CopyFrom makes s equal to o and independent of it. Both are of the same Network; s may be the
// zero State.
func (s *State) CopyFrom(o *State) {
	faults, iso, dev, lit, w := s.faults, s.iso, s.dev, s.lit, s.work
	*s = *o
	s.faults = append(faults[:0], o.faults...)
	s.iso = append(iso[:0], o.iso...)
	s.dev = append(dev[:0], o.dev...)
	s.lit = append(lit[:0], o.lit...)
	s.work = w
	s.work.fresh = false
}

// Solves counts the solves made so far: a measure of work, not of the loop.
func (s *State) Solves() uint64 { return s.solves }

// Fed tells whether a device has voltage and works. A device that rides through a gap is not fed:
// it answers no visit.
func (n *Network) Fed(s *State, e int32) bool { return s.dev[e].stage == working }

// Closed tells whether the isolator of an entry is closed.
func (n *Network) Closed(s *State, e int32) bool { return !s.iso[n.entries[e].iso].open }

// FarDriven tells whether the far end is driven: asked for, and not parted from a short.
func (n *Network) FarDriven(s *State) bool { return s.far && !s.iso[farEnd].open }

// Collapsed tells whether the driver cannot hold the line: shorted, or more load than its limit.
func (n *Network) Collapsed(s *State) bool { return s.collapsed }

// silent drops notes.
type silent struct{}

func (silent) Note(Change) uint64 { return 0 }
