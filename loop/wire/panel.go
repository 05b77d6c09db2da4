package wire

import "math"

// Continuity is what the panel finds when it looks whether the far end of a ring comes back: both
// cores lead from the first terminal to the far one, without a break, an open isolator or more than
// a kilohm. A branch has no far end to watch: there it is always true.
func (n *Network) Continuity(s *State) bool {
	if !n.ring {
		return true
	}
	if len(s.faults) == 0 && s.undisturbed() {
		return true
	}
	if !s.work.fresh {
		n.assemble(s)
	}
	w := &s.work
	var way pair
	for k := w.end; k >= 0; k = w.nodes[k].parent {
		way.p, way.n = way.p+w.nodes[k].ohm.p, way.n+w.nodes[k].ohm.n
	}
	return micro(max(way.p, way.n)) <= micro(brokenOhm)
}

// undisturbed tells whether every isolator is closed.
func (s *State) undisturbed() bool {
	for i := range s.iso {
		if s.iso[i].open && i != farEnd {
			return false
		}
	}
	return true
}

// EarthFault tells whether the panel sees an earth: one of a core that is joined to a driven
// terminal.
func (n *Network) EarthFault(s *State) bool {
	some := false
	for i := range s.faults {
		some = some || s.faults[i].Kind == Earth
	}
	if !some {
		return false
	}
	if !s.work.fresh {
		n.assemble(s)
	}
	for k := range s.work.nodes {
		d := &s.work.nodes[k]
		if d.earth.p > 0 && !math.IsInf(d.dist.p, 1) || d.earth.n > 0 && !math.IsInf(d.dist.n, 1) {
			return true
		}
	}
	return false
}

// Faults is the number of faults in the cable.
func (s *State) Faults() int { return len(s.faults) }
