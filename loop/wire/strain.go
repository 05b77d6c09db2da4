package wire

// A short of some ten ohms loads the line without bringing it down: the driver stands in its current
// limit, isolators and devices keep the voltage they need. A controller that knows its driver's
// current raises a fault of that.

// strain lets the controller see whether the driver stands in its limit.
func (n *Network) strain(s *State, sink Sink) {
	d := &s.work.driver
	limited := !s.safe && !d.collapsed && micro(d.amps) >= micro(n.limit)
	switch {
	case limited && !s.strained && s.strainDue == never:
		s.strainDue, s.strainCause = s.now+OverloadTime, s.cause
	case !limited:
		s.strainDue = never
		if s.strained {
			s.strained = false
			s.cause = sink.Note(Change{OverloadChanged, 0, false, s.cause})
		}
	}
}

// overload raises what has lasted long enough.
func (n *Network) overload(s *State, sink Sink) {
	if s.strainDue <= s.now {
		s.strainDue, s.strained = never, true
		s.cause = sink.Note(Change{OverloadChanged, 0, true, s.strainCause})
	}
}

// Overloaded tells whether the driver has stood in its limit for OverloadTime, and still does.
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
