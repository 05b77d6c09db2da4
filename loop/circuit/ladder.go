package circuit

import "math"

// The network is a ladder of levels. Level 0 is the source; run k has a level in its middle, where
// its faults are (2k+1), and one at its end (2k+2). At each level the two cores may be connected
// with each other and with fixed potentials. Volts are counted from the source's negative side.

// danglingA is the current that may be left over where a part is cut off from every source: the
// rounding of loads whose currents come back by the other core.
const danglingA = 1e-12

// rung is one level: what joins it to the level before, and what hangs on it.
type rung struct {
	along  [2]float64 // siemens of each core from the level before
	across float64    // siemens between the cores: short, end-of-line resistor
	earth  [2]float64 // siemens from each core to earth
	draw   float64    // a load's line: amperes from positive to negative at 0 V ...
	slope  float64    // ... and siemens
	volts  [2]float64 // solution

	// Elimination: volts = from + up*(this core, next level) + side*(see eliminate).
	from, up, side [2]float64
}

// end is what a level sees of everything nearer the source once that is eliminated: a conductance
// between the cores, one from each core to fixed potentials, and the currents that flow in.
type end struct {
	across float64
	ground [2]float64
	inflow [2]float64
}

// Work holds the working storage of solves and the result of the latest. One Work serves any
// number of circuits, one after another; the zero value is ready.
type Work struct {
	rungs  []rung
	pieces []piece
	volts  float64 // of the source
	both   bool    // the last level is the source too
	feed   feed    // where the positive core is parted
	steady bool    // the latest search for pieces ended
	unit   bool    // everything but the earth stands at 1 V, without loads
	earths int     // cores with an earth
	trial  []float64
	earthV float64 // potential of the earth, with two earths or more

	microV []int64 // by load: the latest result
}

// fit makes room for a circuit.
func (w *Work) fit(c *Circuit) {
	levels := 2*len(c.runs) + 1
	if cap(w.rungs) < levels {
		w.rungs = make([]rung, levels)
		w.trial = make([]float64, 2*levels)
	}
	w.rungs, w.trial = w.rungs[:levels], w.trial[:2*levels]
	if cap(w.pieces) < len(c.loads) {
		w.pieces = make([]piece, len(c.loads))
		w.microV = make([]int64, len(c.loads))
	}
	w.pieces, w.microV = w.pieces[:len(c.loads)], w.microV[:len(c.loads)]
}

// lay builds the ladder of a circuit with its faults and without its loads, parted where the feed
// says. The source has a resistance in its positive side, which becomes part of the first piece of
// cable, as a closed isolator's becomes part of the piece after it.
func (w *Work) lay(c *Circuit, s *State, sourceOhm float64) {
	w.earths = 0
	w.rungs[0] = rung{}
	for i := range c.runs {
		fault := &s.runs[i]
		half := max(c.runs[i].ohm/2, leastOhm)
		middle, last := &w.rungs[2*i+1], &w.rungs[2*i+2]
		*middle = rung{across: fault.short, earth: fault.earth}
		*last = rung{}
		for k := range middle.along {
			middle.along[k] = 1 / (half + fault.series[k])
			last.along[k] = 1 / half
			if fault.earth[k] > 0 {
				w.earths++
			}
		}
		switch {
		case i == 0:
			middle.along[0] = 1 / (half + fault.series[0] + sourceOhm)
		case c.runs[i].isolator:
			middle.along[0] = 1 / (half + fault.series[0] + isolatorOhm)
		}
	}
	w.part(c)
}

// solve finds the potential of every core at every level for the loads as they are linearised in
// the rungs. It reports false where elimination fails; see eliminate.
func (w *Work) solve() bool {
	if w.earths < 2 {
		return w.sweep()
	}
	return w.solveEarthed()
}

// solveEarthed finds the earth's potential, at which its currents add up to nothing, from two
// sweeps: with the earth at 0 V, and with everything but the earth at 1 V and without loads, which
// shows how strongly the rest holds it.
func (w *Work) solveEarthed() bool {
	w.unit = true
	ok := w.sweep()
	w.unit = false
	if !ok {
		return false
	}
	held := 0.0 // siemens
	for i := range w.rungs {
		r := &w.rungs[i]
		for k, g := range r.earth {
			held += float64(g * r.volts[k])
			w.trial[2*i+k] = 1 - r.volts[k]
		}
	}
	if !w.sweep() {
		return false
	}
	inflow := 0.0
	for i := range w.rungs {
		for k, g := range w.rungs[i].earth {
			inflow += float64(g * w.rungs[i].volts[k])
		}
	}
	w.earthV = 0
	switch {
	case held < 0 || (held == 0 && math.Abs(inflow) > danglingA):
		return false // as in eliminate
	case held == 0:
		return true // the earth touches nothing that has a potential
	}
	w.earthV = inflow / held
	for i := range w.rungs {
		for k := range w.rungs[i].volts {
			w.rungs[i].volts[k] += float64(w.earthV * w.trial[2*i+k])
		}
	}
	return true
}

// sweep eliminates from the source outwards and substitutes back, with the earth at 0 V (it counts
// only if more than one core has an earth).
func (w *Work) sweep() bool {
	source := [2]float64{w.volts, 0}
	if w.unit {
		source = [2]float64{1, 1}
	}
	last := len(w.rungs) - 1
	first := &w.rungs[1]
	seen := end{ground: first.along}
	for k := range source {
		seen.inflow[k] = float64(first.along[k] * source[k])
	}
	w.rungs[0].volts = source
	stop, beyond := last, [2]float64{}
	if w.both {
		stop, beyond = last-1, source
		w.rungs[last].volts = source
	}
	for k := 1; k <= stop; k++ {
		var next [2]float64
		if k < last {
			next = w.rungs[k+1].along
		}
		var ok bool
		if seen, ok = w.eliminate(&w.rungs[k], seen, next); !ok {
			return false
		}
	}
	for k := stop; k >= 1; k-- {
		r := &w.rungs[k]
		// Core 1 is eliminated after core 0, so it is found first.
		r.volts[1] = r.from[1] + float64(r.up[1]*beyond[1]) + float64(r.side[1]*beyond[0])
		r.volts[0] = r.from[0] + float64(r.up[0]*beyond[0]) + float64(r.side[0]*r.volts[1])
		beyond = r.volts
	}
	return true
}

// eliminate takes one level out of the network, core 0 and then core 1, each by turning the star
// around it into a mesh. Every step adds, multiplies and divides; nothing is subtracted, so what is
// cut off from every source comes out at exactly nothing. It reports false if more constant power
// hangs on the cable than it can carry, and if a constant current has nowhere to come from.
func (w *Work) eliminate(r *rung, seen end, next [2]float64) (end, bool) {
	if w.earths >= 2 {
		for k, g := range r.earth {
			seen.ground[k] += g
		}
	}
	across := seen.across + r.across
	if !w.unit {
		seen.inflow[0] -= r.draw
		seen.inflow[1] += r.draw
	}
	across += r.slope
	var out end

	// Core 0: joined to its next level, to core 1, and to fixed potentials.
	sum := next[0] + across + seen.ground[0]
	r.from[0], r.up[0], r.side[0] = 0, 0, 0
	skew := 0.0 // core 1 to core 0 of the next level
	switch {
	case sum > 0:
		r.from[0], r.up[0], r.side[0] = seen.inflow[0]/sum, next[0]/sum, across/sum
		skew = float64(next[0] * r.side[0])
		out.ground[0] = float64(seen.ground[0] * r.up[0])
		out.inflow[0] = float64(seen.inflow[0] * r.up[0])
		seen.ground[1] += float64(seen.ground[0] * r.side[0])
		seen.inflow[1] += float64(seen.inflow[0] * r.side[0])
	case sum < 0 || math.Abs(seen.inflow[0]) > danglingA:
		return out, false
	}

	// Core 1: joined to its next level, to core 0 of the next level, and to fixed potentials.
	sum = next[1] + skew + seen.ground[1]
	r.from[1], r.up[1], r.side[1] = 0, 0, 0
	switch {
	case sum > 0:
		r.from[1], r.up[1], r.side[1] = seen.inflow[1]/sum, next[1]/sum, skew/sum
		out.across = float64(next[1] * r.side[1])
		out.ground[1] = float64(seen.ground[1] * r.up[1])
		out.inflow[1] = float64(seen.inflow[1] * r.up[1])
		out.ground[0] += float64(seen.ground[1] * r.side[1])
		out.inflow[0] += float64(seen.inflow[1] * r.side[1])
	case sum < 0 || math.Abs(seen.inflow[1]) > danglingA:
		return out, false
	}
	return out, true
}

// sourceAmps is the current that the source delivers, at both ends of a ring: what leaves the
// positive core. The current through the first piece of cable would be the same, but right only to
// the last bit of the volts over a resistance that may be next to nothing.
func (w *Work) sourceAmps() float64 {
	amps := 0.0
	for i := 1; i < len(w.rungs); i++ {
		r := &w.rungs[i]
		amps += r.draw + float64((r.across+r.slope)*(r.volts[0]-r.volts[1]))
		if w.earths >= 2 {
			amps += float64(r.earth[0] * (r.volts[0] - w.earthV))
		}
	}
	return amps
}

// across is the voltage between the cores at the end of a run.
func (w *Work) across(run int) float64 {
	v := &w.rungs[2*run+2].volts
	if d := v[0] - v[1]; !math.IsNaN(d) {
		return d
	}
	panic("circuit: a voltage is not a number")
}
