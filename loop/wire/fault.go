package wire

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// FaultKind is what is wrong with a run of cable.
type FaultKind uint8

// Faults of cable.
const (
	Break    FaultKind = iota + 1 // a core, or both, carries nothing
	Short                         // the cores touch
	Joint                         // resistance in a core, or in both
	Earth                         // a core touches earth
	Reversed                      // the device at the end of the run is connected the wrong way round
)

// Core is a conductor.
type Core uint8

// The conductors of a line.
const (
	Both Core = iota
	Positive
	Negative
)

// Fault is one fault of a run of cable.
type Fault struct {
	Kind FaultKind
	Run  int32 // the entry at its end, or Return
	Core Core  // of no meaning for a short or a reversed device
	At   float64
	Ohm  float64 // of short, joint, earth: 0 to 1e9; a joint of both cores has it in each
}

// ChangeKind is what a Change tells.
type ChangeKind uint8

// The kinds of change.
const (
	FedChanged       ChangeKind = iota + 1 // Index: entry; On: it has voltage and works
	HoldEnded                              // Index: entry; its voltage was away for longer than it can ride through
	IsolatorChanged                        // Index: entry; On: closed
	TerminalChanged                        // Index: 0 the first, 1 the far terminal; On: closed
	CollapsedChanged                       // On: the driver cannot hold the line
	OverloadChanged                        // On: an overload of the driver stands, see Overloaded
)

// Change is one change on the loop.
type Change struct {
	Kind   ChangeKind
	Index  int32
	On     bool
	Parent uint64 // the event it follows from
}

// Sink takes the changes in the order in which they happen, and returns the event under which the
// change is logged: later changes name it as their parent. It must not call back into the Network.
type Sink interface {
	Note(Change) uint64
}

// Place puts a fault into a run of cable and returns its number, for Repair. event is the fault's
// own. Everything due before now must have been taken (Advance).
func (n *Network) Place(s *State, now time.Duration, f Fault, event uint64, sink Sink) int32 {
	if f.Run < 0 || int(f.Run) >= len(n.runs) || f.Kind < Break || f.Kind > Reversed || f.Core > Negative || !(f.At >= 0 && f.At <= 1) || !(f.Ohm >= 0 && f.Ohm <= 1e9) || f.Kind == Reversed && (f.Run == n.Return() || !n.entries[f.Run].device) {
		panic(fmt.Sprintf("wire: no such fault: %+v", f))
	}
	s.reach(now)
	s.touch()
	number := s.insert(f)
	n.change(s, event, sink)
	return number
}

// insert keeps the faults in the order of runs, and along each run.
func (s *State) insert(f Fault) int32 {
	s.numbers++
	if f.Kind == Reversed {
		f.At = 1
	}
	after := func(a, b placed) int {
		return cmp.Or(cmp.Compare(a.Run, b.Run), cmp.Compare(a.At, b.At), cmp.Compare(a.number, b.number))
	}
	p := placed{s.numbers, f}
	at, _ := slices.BinarySearchFunc(s.faults, p, after)
	s.faults = slices.Insert(s.faults, at, p)
	return p.number
}

// Repair takes a fault away. It panics if there is none of that number.
func (n *Network) Repair(s *State, now time.Duration, number int32, event uint64, sink Sink) {
	at := slices.IndexFunc(s.faults, func(p placed) bool { return p.number == number })
	if at < 0 {
		panic(fmt.Sprintf("wire: no fault %d to repair", number))
	}
	s.reach(now)
	s.touch()
	s.faults = slices.Delete(s.faults, at, at+1)
	n.change(s, event, sink)
}

// Stick holds the isolator of an entry in a position, or with Free lets it go. It panics if the
// entry has none.
func (n *Network) Stick(s *State, now time.Duration, e int32, position Position, event uint64, sink Sink) {
	i := n.entries[e].iso
	if i < 0 {
		panic(fmt.Sprintf("wire: %q has no isolator", n.entries[e].label))
	}
	s.reach(now)
	s.touch()
	s.cause = event
	iso := &s.iso[i]
	iso.stuck, iso.due, iso.blocked, iso.low = position, never, false, false
	if position != Free {
		n.move(s, i, position == StuckOpen, event, sink)
	}
	n.settle(s, true, true, sink)
}

// DriveFarEnd drives the far terminal of a ring, or leaves it to be watched. If there is a short
// beyond it, it stays parted until something changes.
func (n *Network) DriveFarEnd(s *State, now time.Duration, on bool, event uint64, sink Sink) {
	if !n.ring || s.far == on {
		return
	}
	s.reach(now)
	s.cause, s.far = event, on
	iso := &s.iso[farEnd]
	iso.due, iso.blocked, iso.low = never, false, false
	if !on {
		n.move(s, farEnd, true, event, sink)
		n.settle(s, true, true, sink)
		return
	}
	n.settle(s, n.test(s, farEnd, event, sink), true, sink)
}

// SetLoads says whether a device's indicator is to be lit and its sounder on. A device that does
// not work takes no notice. Of the indicators only the first ten that were asked for are lit.
func (n *Network) SetLoads(s *State, now time.Duration, e int32, indicator, sounder bool, event uint64, sink Sink) {
	d := &s.dev[e]
	if d.out || d.stage > holding || d.indicator == indicator && d.sounder == sounder {
		return
	}
	s.reach(now)
	s.cause = event
	s.setLoads(e, indicator, sounder)
	if !s.safe {
		n.settle(s, false, true, sink)
	}
}

func (s *State) setLoads(e int32, indicator, sounder bool) {
	d := &s.dev[e]
	if d.indicator && !indicator {
		s.lit = slices.DeleteFunc(s.lit, func(lit int32) bool { return lit == e })
	} else if indicator && !d.indicator {
		s.lit = append(s.lit, e)
	}
	d.indicator, d.sounder = indicator, sounder
}

// TakeOut says whether a device is out of its base. The base leads the line on, with the isolator in
// it; what is out draws nothing, and does not short the line if it was connected the wrong way
// round. Put back it is dark and silent.
func (n *Network) TakeOut(s *State, now time.Duration, e int32, out bool, event uint64, sink Sink) {
	d := &s.dev[e]
	if d.out == out {
		return
	}
	s.reach(now)
	s.touch()
	rewired := n.reversed(s, e) > 0
	s.cause, d.out = event, out
	s.setLoads(e, false, false)
	if rewired = rewired || n.reversed(s, e) > 0; rewired || !s.safe || s.strained {
		n.settle(s, rewired, true, sink)
	}
}

// change follows a change of the wiring itself.
func (n *Network) change(s *State, event uint64, sink Sink) {
	s.cause = event
	n.settle(s, true, true, sink)
}

// reach moves the clock of the state to the instant of a command.
func (s *State) reach(now time.Duration) {
	if now < s.now || s.next < now {
		panic(fmt.Sprintf("wire: a command at %v, but the state is at %v and next due at %v", now, s.now, s.next))
	}
	s.now = now
}
