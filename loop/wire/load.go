package wire

import "slices"

// solveNow solves with the loads as they are, and reads off what shorts leave each piece.
func (n *Network) solveNow(s *State) {
	w := &s.work
	for e := range n.entries {
		w.want[e], w.fixed[e] = 0, 0
		if n.entries[e].device && !s.dev[e].out && w.nodes[w.at[e]].joined() {
			n.ask(w, e, s.dev[e].sounder)
		}
	}
	for _, e := range s.lit[:min(len(s.lit), indicatorsAtOnce)] {
		if w.nodes[w.at[e]].joined() {
			w.want[e] += n.entries[e].indicator
			if !n.all {
				w.fixed[e] += n.entries[e].indicator
			}
		}
	}
	n.solve(s)
	w.measure()
}

// ask puts in what a device wants beside its indicator.
func (n *Network) ask(w *work, e int, sounder bool) {
	kind := &n.entries[e]
	w.want[e] = kind.standby
	if sounder {
		w.want[e] += kind.sounder
	}
	switch {
	case n.all:
		w.fixed[e] = 0
	case kind.watts:
		w.fixed[e] = kind.standby
	default:
		w.fixed[e] = w.want[e]
	}
}

// everyLoad solves with every load on, devices out of their bases included, and tells whether all thresholds are cleared all the same:
// every joined device works, no closed isolator has collapsed, none waits beside a short. Of the
// indicators no more are lit than the limit allows, wherever they are: their part of the drop is
// bounded by the resistance of the way to the driver, which is no less than what any two places
// share. Where shorts or earths couple the cores that bound does not hold and the answer is no.
func (n *Network) everyLoad(s *State) bool {
	w := &s.work
	if w.earths > 1 {
		return false
	}
	for i := range s.iso {
		if s.iso[i].blocked {
			return false
		}
	}
	total := 0.0
	for e := range n.entries {
		w.want[e], w.fixed[e] = 0, 0
		if n.entries[e].device && w.nodes[w.at[e]].joined() {
			n.ask(w, e, true)
			total += w.want[e]
		}
	}
	if w.shunts > 0 {
		for k := range w.nodes {
			if w.nodes[k].short > 0 && w.nodes[k].joined() {
				return false
			}
		}
	}
	lit := n.brightest()
	if micro(total+lit) > micro(n.limit) {
		return false
	}
	n.solve(s)
	w.measure()
	if w.driver.collapsed || n.power && lit > 0 {
		return false
	}
	for e := range n.entries {
		at := w.at[e]
		if n.entries[e].device && w.nodes[at].joined() && (w.off[e] || n.least(w, at, lit) < n.entries[e].pickUp) {
			return false
		}
	}
	for k := range w.nodes {
		if w.nodes[k].joined() && n.least(w, int32(k), lit) < n.highest {
			return false
		}
	}
	return true
}

// least bounds the voltage of a node from below, microvolts: as solved, less what lit amperes of
// indicators drop on the node's own way to the driver.
func (n *Network) least(w *work, k int32, lit float64) int64 {
	d := &w.nodes[k]
	return w.across(k) - micro(float64(lit*(d.dist.p+d.dist.n+n.source)))
}

// brightest is the most current, amperes, that the indicators may draw together.
func (n *Network) brightest() float64 {
	var most [indicatorsAtOnce]float64
	for e := range n.entries {
		if n.entries[e].device && n.entries[e].indicator > most[0] {
			most[0] = n.entries[e].indicator
			slices.Sort(most[:])
		}
	}
	sum := 0.0
	for _, amps := range most {
		sum += amps
	}
	return sum
}

// measure reads off, for each piece that is joined to the driver, the lowest voltage at a short or an
// earth in it that draws a current.
func (w *work) measure() {
	for i := range w.pieces {
		w.pieces[i] = noVoltage
	}
	if w.shunts == 0 && w.earths < 2 {
		return
	}
	for k := range w.nodes {
		d := &w.nodes[k]
		if !d.joined() || d.short == 0 && (w.earths < 2 || d.earth == pair{}) {
			continue
		}
		if v := max(w.across(int32(k)), 0); w.pieces[d.piece] == noVoltage || v < w.pieces[d.piece] {
			w.pieces[d.piece] = v
		}
	}
}

// healthy tells whether the loop without a fault needs no solve at all.
func (n *Network) healthy() bool {
	s := &State{next: never, iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries))}
	for i := range s.iso {
		s.iso[i].due = never
	}
	s.iso[farEnd].open = true
	n.assemble(s)
	return n.everyLoad(s)
}

// Current is what the driver delivers, microamperes, with the loads as they are.
func (n *Network) Current(s *State) int64 {
	if s.dark {
		return 0
	}
	n.refresh(s)
	return micro(s.work.driver.amps)
}

// Voltage is the line voltage at a device, microvolts, with the loads as they are; 0 where a core
// is broken.
func (n *Network) Voltage(s *State, e int32) int64 {
	if s.dark {
		return 0
	}
	n.refresh(s)
	return s.work.voltage(e)
}

// voltage is what a device has between its terminals, microvolts.
func (w *work) voltage(e int32) int64 {
	at := w.at[e]
	if !w.nodes[at].joined() || w.off[e] {
		return 0
	}
	return w.across(at)
}

// refresh solves for the loads as they are, which a loop that needs no solve has not done.
func (n *Network) refresh(s *State) {
	if !s.work.fresh {
		n.assemble(s)
	}
	n.solveNow(s)
}
