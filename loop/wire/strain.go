package wire

import "time"

// A short of some ten ohms loads the line without bringing it down: the driver stands in its current
// limit, isolators and devices keep the voltage they need. Loads that are too much bring the line down,
// or leave the devices at the end of a long cable without their voltage, are gone with it, and do the
// same again when they are commanded anew: the driver stands in its limit for moments only, or not at
// all. A controller that knows its driver's current, and is told by a device that it has restarted,
// raises a fault of both.
//
// An overload of the second kind would end by itself, the loads being gone, only to come again: it is
// held until somebody has worked on the loop or less is asked of it.

// strain lets the controller see whether the driver stands in its limit, or has collapsed.
func (n *Network) strain(s *State, sink Sink) {
	d := &s.work.driver
	limited := !s.safe && (d.collapsed || micro(d.amps) >= micro(n.limit))
	if limited && !s.limited && s.trips.third(s.now) {
		s.hold(sink)
	}
	s.limited = limited
	s.await()
}

// await arranges when an overload is raised, or ends.
func (s *State) await() {
	switch {
	case s.limited == s.strained || s.held:
		s.strainDue = never
	case s.strainDue == never:
		s.strainDue, s.strainCause = s.now+OverloadTime, s.cause
	}
}

// recent is when something last happened: the last time but one, and the last.
type recent [2]time.Duration

// third notes that it happens now, and tells whether it is the third time within TripTime.
func (r *recent) third(now time.Duration) bool {
	first := r[0]
	r[0], r[1] = r[1], now
	return first >= now-TripTime
}

// hold raises an overload at once, and holds it.
func (s *State) hold(sink Sink) {
	s.held = true
	if !s.strained {
		s.strained = true
		s.cause = sink.Note(Change{OverloadChanged, 0, true, s.cause})
	}
}

// overload raises, or ends, what has lasted long enough.
func (n *Network) overload(s *State, sink Sink) {
	if s.strainDue <= s.now {
		s.strainDue, s.strained = never, !s.strained
		s.cause = sink.Note(Change{OverloadChanged, 0, s.strained, s.strainCause})
	}
}

// touch lets an overload end: somebody works on the loop, which is judged anew.
func (s *State) touch() {
	s.held, s.trips = false, recent{longAgo, longAgo}
	for e := range s.dev {
		s.dev[e].losses = s.trips
	}
}

// Ease says that less is asked of the loop from now on: an overload that its loads made may end once
// the driver has been out of its limit for OverloadTime.
func (n *Network) Ease(s *State, now time.Duration, event uint64) {
	if !s.held {
		return
	}
	s.reach(now)
	s.cause, s.held = event, false
	s.await()
	s.arrange()
}

// Overloaded tells whether an overload stands: the driver has stood in its limit for OverloadTime, or it has
// come into it, or a device has lost its voltage, three times within TripTime; and the driver has not
// been out of its limit for OverloadTime since.
func (n *Network) Overloaded(s *State) bool { return s.strained }

// Drawn is what the driver delivers, microamperes, with the loads as they are.
func (n *Network) Drawn(s *State) int64 {
	w := &s.work
	switch {
	case s.dark:
		return 0
	case n.power || !s.safe && (!w.fresh || !w.solved):
		return n.Current(s)
	case !s.safe:
		return micro(w.driver.amps)
	}
	whole := len(s.faults) == 0 && s.undisturbed()
	if !whole && !w.fresh {
		n.assemble(s)
	}
	total := 0.0
	joined := func(e int32) bool { return whole || w.nodes[w.at[e]].joined() }
	for e := range n.entries {
		if n.entries[e].device && !s.dev[e].out && joined(int32(e)) {
			total += n.entries[e].standby
			if s.dev[e].sounder {
				total += n.entries[e].sounder
			}
		}
	}
	for _, e := range s.lit[:min(len(s.lit), indicatorsAtOnce)] {
		if joined(e) {
			total += n.entries[e].indicator
		}
	}
	return micro(total)
}

// More is how much more the driver delivers than for the healthy loop at rest, microamperes; not
// negative.
func (n *Network) More(s *State) int64 { return max(n.Drawn(s)-micro(n.rest()), 0) }

// rest is the current of the healthy loop at rest, amperes.
func (n *Network) rest() float64 {
	total := 0.0
	for e := range n.entries {
		total += n.entries[e].standby
	}
	return total
}
