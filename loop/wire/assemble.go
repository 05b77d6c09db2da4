package wire

import (
	"math"
	"slices"
)

// work holds the circuit as it stands: nodes after faults and isolators, their elimination, and the
// last solution. Everything in it follows from the rest of the State.
type work struct {
	fresh    bool // the circuit fits the state
	solved   bool // and v is a solution of it
	nodes    []node
	w        []weights
	inject   []pair // current into each core's node, amperes
	v        []pair // volts over the negative terminal of the driver
	fills    []fill
	tree     bool // nothing joins the cores or leads back to the driver: currents just add up
	border   border
	near     []int32   // entry -> node where its run ends
	beyond   []int32   // entry -> node on the other side of its isolator, or the same
	at       []int32   // entry -> node where it draws
	want     []float64 // amperes by entry at the driver's voltage
	fixed    []float64 // of these, amperes whatever the voltage; the rest is constant power
	draw     []float64 // amperes by entry, as solved
	off      []bool    // entry draws nothing for want of voltage
	tangent  []float64 // siemens by entry: how fast its current falls with the voltage, at constant power
	bent     bool      // the elimination is of the circuit of tangents
	unstable bool      // which has no stable solution
	end      int32     // node of the far terminal, or -1
	pieces   []int64   // by piece: lowest voltage at a short in it, microvolts, or noVoltage
	earths   int       // earth faults in total
	shunts   int       // shorts in total
	driver   driver
}

// pair is one value per core.
type pair struct{ p, n float64 }

// node is one point of both cores, and the link to what it hangs on.
type node struct {
	parent int32 // -1: the driver
	iso    int32 // the link is this isolator, or -1
	piece  int32 // nodes joined by both cores without an isolator between
	cut    bool  // a core of the link is broken
	ohm    pair  // of the link; infinite where broken or open
	short  float64
	earth  pair // conductance of each core to earth, siemens
	dist   pair // ohms of each core to the nearest driven terminal; infinite: not joined
	earthy bool // joined only through earth, if at all
}

// joined tells whether both cores reach a driven terminal.
func (d *node) joined() bool { return !math.IsInf(d.dist.p, 1) && !math.IsInf(d.dist.n, 1) }

// assemble builds the nodes from network, faults, isolators and terminals. It allocates only until
// its slices have grown to what the loop needs.
func (n *Network) assemble(s *State) {
	w := &s.work
	w.fresh, w.solved = true, false
	w.nodes, w.end, w.earths, w.shunts = w.nodes[:0], -1, 0, 0
	if w.near == nil {
		size := len(n.entries)
		w.near, w.beyond, w.at, w.off = make([]int32, size), make([]int32, size), make([]int32, size), make([]bool, size)
		w.want, w.fixed = make([]float64, size), make([]float64, size)
		w.draw, w.tangent = make([]float64, size), make([]float64, size)
	}
	n.link(s, -1, terminalA)
	for _, r := range n.order {
		if r == n.Return() {
			from := int32(0)
			if n.last >= 0 {
				from = w.beyond[n.last]
			}
			w.end = n.lay(s, r, from)
			continue
		}
		e := &n.entries[r]
		from := int32(0)
		if e.parent >= 0 {
			from = w.beyond[e.parent]
		}
		w.near[r] = n.lay(s, r, from)
		w.beyond[r] = w.near[r]
		if e.iso >= 0 {
			w.beyond[r] = n.link(s, w.near[r], e.iso)
		}
		if siemens := n.reversed(s, r); siemens > 0 {
			w.shunts++
			w.nodes[w.near[r]].short += siemens
			if w.beyond[r] != w.near[r] {
				w.nodes[w.beyond[r]].short += siemens
			}
		}
	}
	n.partition(s)
	n.reach(s)
	for e := range w.at { // of its two terminals the one that lives, towards the panel if both do
		w.at[e] = w.near[e]
		near, beyond := &w.nodes[w.near[e]], &w.nodes[w.beyond[e]]
		if !near.joined() || near.earthy && beyond.joined() && !beyond.earthy {
			w.at[e] = w.beyond[e]
		}
	}
	n.eliminate(s)
}

// link adds the node behind an isolator.
func (n *Network) link(s *State, from, iso int32) int32 {
	at := node{parent: from, iso: iso, ohm: pair{n.iso[iso].ohm, leastOhm}}
	if s.iso[iso].open {
		at.ohm.p = math.Inf(1)
		if iso < panelTerminals {
			at.ohm.n = math.Inf(1)
		}
	}
	s.work.nodes = append(s.work.nodes, at)
	return int32(len(s.work.nodes) - 1)
}

// reversed is the conductance between the terminals of a device that is connected the wrong way
// round: its clamp conducts, at both pairs of terminals if there is an isolator between them. 0 if
// it is not, or out of its base.
func (n *Network) reversed(s *State, e int32) float64 {
	first, _ := slices.BinarySearchFunc(s.faults, e, func(f placed, r int32) int { return int(f.Run - r) })
	for i := first; i < len(s.faults) && s.faults[i].Run == e; i++ {
		if f := &s.faults[i]; f.Kind == Reversed && !s.dev[e].out {
			return 1 / max(f.Ohm, leastOhm)
		}
	}
	return 0
}

// lay adds the nodes of a run: one for each short or earth in it, and its end. Breaks and joints
// belong to the stretch that they lie in.
func (n *Network) lay(s *State, r, from int32) int32 {
	w := &s.work
	whole, done := n.runs[r].ohm, 0.0
	at := node{parent: from, iso: -1}
	first, _ := slices.BinarySearchFunc(s.faults, r, func(f placed, r int32) int { return int(f.Run - r) })
	for i := first; i < len(s.faults) && s.faults[i].Run == r; i++ {
		f := &s.faults[i]
		at.ohm = at.ohm.plus(float64(whole * (f.At - done)))
		done = f.At
		switch f.Kind {
		case Break:
			at.ohm, at.cut = at.ohm.on(f.Core, math.Inf(1)), true
		case Joint:
			at.ohm, at.cut = at.ohm.on(f.Core, f.Ohm), at.cut || f.Ohm > brokenOhm
		case Short:
			at.short = 1 / max(f.Ohm, leastOhm)
			w.shunts++
			at = w.add(at)
		case Earth:
			at.earth = at.earth.on(f.Core, 1/max(f.Ohm, leastOhm))
			w.earths++
			if f.Core == Both {
				w.earths++ // each core to earth: a short through it
			}
			at = w.add(at)
		}
	}
	at.ohm = at.ohm.plus(float64(whole * (1 - done)))
	w.add(at)
	return int32(len(w.nodes) - 1)
}

// add ends a stretch, and returns the one that begins there.
func (w *work) add(at node) node {
	at.ohm.p, at.ohm.n = max(at.ohm.p, leastOhm), max(at.ohm.n, leastOhm)
	w.nodes = append(w.nodes, at)
	return node{parent: int32(len(w.nodes) - 1), iso: -1}
}

func (a pair) plus(ohm float64) pair { return pair{a.p + ohm, a.n + ohm} }

// on adds to one core, or to both.
func (a pair) on(c Core, x float64) pair {
	if c != Negative {
		a.p += x
	}
	if c != Positive {
		a.n += x
	}
	return a
}

// partition numbers the pieces: nodes that are joined by both cores, without an isolator that
// could part them.
func (n *Network) partition(s *State) {
	w := &s.work
	count := int32(0)
	for k := range w.nodes {
		d := &w.nodes[k]
		if d.parent >= 0 && !d.cut && (d.iso < 0 || s.iso[d.iso].stuck == StuckClosed) {
			d.piece = w.nodes[d.parent].piece
			continue
		}
		d.piece = count
		count++
	}
	w.pieces = slices.Grow(w.pieces[:0], int(count))[:count]
}

// reach computes how far each core of each node is from a driven terminal. A core that only an
// earth joins counts as joined: earth carries current from one fault to another.
func (n *Network) reach(s *State) {
	w := &s.work
	inf := math.Inf(1)
	for k := range w.nodes {
		w.nodes[k].dist = pair{inf, inf}
	}
	w.nodes[0].dist = w.nodes[0].ohm // the link to the driver
	if w.end >= 0 && !s.iso[farEnd].open {
		w.nodes[w.end].dist = pair{leastOhm, leastOhm}
	}
	w.spread()
	if w.earths < 2 {
		return
	}
	p, more := false, false
	for k := range w.nodes {
		d := &w.nodes[k]
		p = p || d.earth.p > 0 && d.dist.p < inf || d.earth.n > 0 && d.dist.n < inf
		d.earthy = !d.joined()
	}
	for k := range w.nodes {
		d := &w.nodes[k]
		if p && d.earth.p > 0 && d.dist.p == inf {
			d.dist.p, more = brokenOhm, true
		}
		if p && d.earth.n > 0 && d.dist.n == inf {
			d.dist.n, more = brokenOhm, true
		}
	}
	if more {
		w.spread()
	}
}

// spread carries distances towards the driver and then away from it: on a tree that reaches all.
func (w *work) spread() {
	for k := len(w.nodes) - 1; k > 0; k-- {
		d, up := &w.nodes[k], &w.nodes[w.nodes[k].parent]
		up.dist.p, up.dist.n = min(up.dist.p, d.dist.p+d.ohm.p), min(up.dist.n, d.dist.n+d.ohm.n)
	}
	for k := 1; k < len(w.nodes); k++ {
		d, up := &w.nodes[k], &w.nodes[w.nodes[k].parent]
		d.dist.p, d.dist.n = min(d.dist.p, up.dist.p+d.ohm.p), min(d.dist.n, up.dist.n+d.ohm.n)
	}
}
