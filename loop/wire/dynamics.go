package wire

import (
	"fmt"
	"time"
)

// mostSteps bounds what may happen within one call of Advance.
const mostSteps = 1_000_000

// noVoltage stands for no voltage at all: of what is not joined to the driver, or has no short.
const noVoltage = -1

// Next returns when the loop next changes by itself, if it does; the instant is past any other if not.
func (n *Network) Next(s *State) (time.Duration, bool) { return s.next, s.next != never }

// Advance takes everything due up to and including now, in order of time, each at its own time.
func (n *Network) Advance(s *State, now time.Duration, sink Sink) {
	if now < s.now {
		panic(fmt.Sprintf("wire: time runs backwards, from %v to %v", s.now, now))
	}
	for steps := 0; s.next <= now; steps++ {
		if steps == mostSteps {
			panic(fmt.Sprintf("wire: more than %d changes up to %v", mostSteps, now))
		}
		s.now = s.next
		n.act(s, sink)
	}
	s.now = now
}

// act does what is due at this instant: isolators open, all at once; devices give up or come back;
// isolators test and close, one after another.
func (n *Network) act(s *State, sink Sink) {
	rewired, changed := false, false
	for i := range s.iso {
		if iso := &s.iso[i]; iso.due <= s.now && !iso.open {
			s.cause = n.move(s, int32(i), true, iso.parent, sink)
			rewired, changed = true, true
		}
	}
	for e := range s.dev {
		if d := &s.dev[e]; d.due <= s.now {
			d.due = never
			changed = n.turn(s, int32(e), sink) || changed
		}
	}
	for i := range s.iso {
		if iso := &s.iso[i]; iso.due <= s.now && iso.open {
			iso.due = never
			if n.test(s, int32(i), iso.parent, sink) {
				rewired, changed = true, true
			}
		}
	}
	n.overload(s, sink)
	n.settle(s, rewired, changed, sink)
}

// turn ends a device's hold-up or its restart, and tells whether its loads changed.
func (n *Network) turn(s *State, e int32, sink Sink) bool {
	d := &s.dev[e]
	if d.stage == starting {
		d.stage = working
		sink.Note(Change{FedChanged, e, true, d.parent})
		return false
	}
	d.stage = down
	s.setLoads(e, false, false)
	s.cause = sink.Note(Change{HoldEnded, e, true, d.parent})
	if d.losses.third(s.now) {
		s.hold(sink)
	}
	return true
}

// move opens or closes an isolator, and returns the event.
func (n *Network) move(s *State, i int32, open bool, parent uint64, sink Sink) uint64 {
	iso := &s.iso[i]
	iso.due, iso.blocked, iso.low = never, false, false
	if iso.open == open {
		return parent
	}
	iso.open = open
	if i < panelTerminals {
		return sink.Note(Change{TerminalChanged, i, !open, parent})
	}
	return sink.Note(Change{IsolatorChanged, n.iso[i].entry, !open, parent})
}

// test closes an isolator if what lies beyond, and all that is closed already, keeps its voltage,
// and tells whether it did. Otherwise it stays open, and waits until something changes.
func (n *Network) test(s *State, i int32, parent uint64, sink Sink) bool {
	s.iso[i].open = false
	n.assemble(s)
	n.solveNow(s)
	if n.holds(s, i) {
		s.iso[i].open = true
		s.cause = n.move(s, i, false, parent, sink)
		return true
	}
	s.iso[i].open, s.iso[i].blocked = true, true
	s.safe = false // beside a short every change of the loads matters
	n.assemble(s)
	return false
}

// holds tells whether no closed isolator has collapsed that had not before isolator i closed.
func (n *Network) holds(s *State, i int32) bool {
	for k := range s.iso {
		if iso := &s.iso[k]; !iso.open && iso.stuck != StuckClosed && (!iso.low || int32(k) == i) && n.sense(s, int32(k)) < n.iso[k].opens {
			return false
		}
	}
	return true
}

// sense is the line voltage that an isolator sees, microvolts: the lower of its two sides, of one if
// the other does not live, or 0 if none does. The panel's side of a terminal is the driver.
func (n *Network) sense(s *State, i int32) int64 {
	near, far := n.sides(s, i)
	switch {
	case near == noVoltage && far == noVoltage:
		return 0
	case near == noVoltage:
		return far
	case far == noVoltage:
		return near
	}
	return min(near, far)
}

// sides are what an isolator sees on its two sides, noVoltage where nothing lives.
func (n *Network) sides(s *State, i int32) (near, far int64) {
	w := &s.work
	switch i {
	case terminalA:
		return micro(w.driver.volts), w.side(0)
	case farEnd:
		if w.end < 0 {
			return noVoltage, noVoltage
		}
		near = noVoltage
		if s.far {
			near = micro(w.driver.volts)
		}
		return near, w.side(w.end)
	}
	e := n.iso[i].entry
	return w.side(w.near[e]), w.side(w.beyond[e])
}

// side is what an isolator sees at one of its terminals: the voltage there or, as it watches its
// current too, the lowest at which a short or an earth in that piece draws one. A bad joint, and a load
// beyond it, leave the piece before it its voltage.
func (w *work) side(k int32) int64 {
	d := &w.nodes[k]
	if !d.joined() {
		return noVoltage
	}
	v := max(w.across(k), 0)
	if drawn := w.pieces[d.piece]; drawn != noVoltage {
		v = min(v, drawn)
	}
	return v
}

// settle solves the loop as it stands, and lets isolators and devices see it. rewired says that the
// wiring changed, changed that anything did: isolators that found a short look again.
//
// After a change of the wiring it first solves with every load on: if even then all thresholds
// are cleared, loads may come and go without another solve.
func (n *Network) settle(s *State, rewired, changed bool, sink Sink) {
	if s.dark {
		n.darken(s, sink)
		return
	}
	solved := s.work.solved
	if rewired || !s.work.fresh {
		n.assemble(s)
	}
	if rewired {
		s.safe = n.everyLoad(s)
		solved = s.safe
	}
	if !solved || !s.safe {
		n.solveNow(s)
	}
	if s.collapsed != s.work.driver.collapsed {
		s.collapsed = s.work.driver.collapsed
		s.cause = sink.Note(Change{CollapsedChanged, 0, s.collapsed, s.cause})
	}
	for i := range s.iso {
		n.watch(s, int32(i), changed)
	}
	for e := range s.dev {
		n.see(s, int32(e), s.work.voltage(int32(e)), sink)
	}
	n.strain(s, sink)
	s.arrange()
}

// arrange finds when the loop next changes by itself.
func (s *State) arrange() {
	s.next = s.strainDue
	for i := range s.iso {
		s.next = min(s.next, s.iso[i].due)
	}
	for e := range s.dev {
		s.next = min(s.next, s.dev[e].due)
	}
}

// watch lets an isolator see its line. One that has found a short looks again after any change.
func (n *Network) watch(s *State, i int32, changed bool) {
	iso := &s.iso[i]
	if iso.stuck != Free || i == farEnd && (!n.ring || !s.far) {
		iso.due = never
		return
	}
	if changed {
		iso.blocked = false
	}
	if !iso.open {
		iso.low = n.sense(s, i) < n.iso[i].opens
		iso.arm(iso.low, s.now+OpenTime, s.cause)
		return
	}
	near, far := n.sides(s, i)
	iso.arm(!iso.blocked && max(near, far) >= n.iso[i].opens, s.now+CloseTime, s.cause)
}

// arm starts a timer that does not run yet, or stops it.
func (iso *isoState) arm(on bool, due time.Duration, cause uint64) {
	switch {
	case !on:
		iso.due = never
	case iso.due == never:
		iso.due, iso.parent = due, cause
	}
}

// see lets a device see its voltage, microvolts.
func (n *Network) see(s *State, e int32, v int64, sink Sink) {
	d, kind := &s.dev[e], &n.entries[e]
	if !kind.device {
		return
	}
	switch {
	case d.stage == working && v < kind.dropOut:
		d.stage, d.due = holding, s.now+HoldUp
		d.parent = sink.Note(Change{FedChanged, e, false, s.cause})
	case d.stage == holding && v >= kind.pickUp:
		d.stage, d.due = working, never
		sink.Note(Change{FedChanged, e, true, s.cause})
	case d.stage == down && v >= kind.pickUp:
		d.stage, d.due, d.parent = starting, s.now+RestartTime, s.cause
	case d.stage == starting && v < kind.dropOut:
		d.stage, d.due = down, never
	}
}
