package circuit

import "math"

// piece is the part of its characteristic on which a load stands, and for constant power the
// voltage at which the hyperbola is linearised.
type piece struct {
	on    stretch
	volts float64
}

type stretch uint8

const (
	blocked stretch = iota // up to the diode's voltage: nothing
	rising                 // in proportion
	rated                  // from the knee on
)

// Bounds of the search for the pieces: together as long as that settles, then one load at a time.
const (
	togetherRounds = 40
	roundsPerLoad  = 8
	settledV       = 1e-10 // a linearisation voltage is right to this
	edgeV          = 1e-9  // a piece reaches this far beyond its edge, so that rounding cannot toggle it
)

// on is the piece for a voltage in the load's own direction.
func (l *load) on(v float64) stretch {
	switch {
	case v >= l.knee:
		return rated
	case v > diodeV:
		return rising
	}
	return blocked
}

// fits reports whether a voltage lies on a piece.
func (l *load) fits(on stretch, v float64) bool {
	switch on {
	case rated:
		return v >= l.knee-edgeV
	case rising:
		return v > diodeV-edgeV && v < l.knee+edgeV
	default:
		return v <= diodeV+edgeV
	}
}

// line is the load's straight line at a piece: its current is draw + slope * volts.
func (l *load) line(p piece) (draw, slope float64) {
	switch {
	case p.on == blocked:
		return 0, 0
	case p.on == rising:
		return -float64(l.rise * diodeV), l.rise
	case l.watts > 0:
		return 2 * l.watts / p.volts, -(l.watts / p.volts / p.volts)
	}
	return l.amps, 0
}

// settle finds the piece of every load and the voltages that go with them. A load moves one piece
// at a time, because the voltage that a wrong current makes says little beyond its direction.
func (w *Work) settle(c *Circuit, s *State) bool {
	for i := range c.loads {
		w.pieces[i] = piece{on: rated, volts: math.Abs(w.volts)}
		if (w.volts > 0) == s.reversed[i] || w.pieces[i].volts <= diodeV || !w.feeds(c, i) {
			w.pieces[i].on = blocked
		}
	}
	limit := togetherRounds + roundsPerLoad*len(c.loads)
	for round := range limit {
		w.hang(c, s)
		if !w.solve() {
			w.retreat()
			continue
		}
		if w.move(c, s, round >= togetherRounds) {
			return true
		}
	}
	return false
}

// feeds reports whether a load hangs on a section that is joined to the module.
func (w *Work) feeds(c *Circuit, load int) bool {
	next := min(load+1, len(c.runs)-1) // a load with an isolator hangs on whichever side is joined
	return w.feed.joined(c.runs[load].section, c.sections) || w.feed.joined(c.runs[next].section, c.sections)
}

// hang puts the loads' lines into the ladder, each in its own direction.
func (w *Work) hang(c *Circuit, s *State) {
	for i := range c.loads {
		r := &w.rungs[2*i+2]
		r.draw, r.slope = c.loads[i].line(w.pieces[i])
		if s.reversed[i] {
			r.draw = -r.draw
		}
	}
}

// move brings the pieces in line with the voltages and reports whether they were so already.
func (w *Work) move(c *Circuit, s *State, oneOnly bool) bool {
	settled := true
	for i := range c.loads {
		v := w.across(i)
		if s.reversed[i] {
			v = -v
		}
		l, p := &c.loads[i], &w.pieces[i]
		switch {
		case p.on == rated && v > math.Abs(w.volts)+edgeV:
			// More than the source has: the straight line at constant power, far from where it was laid.
			p.on--
		case l.fits(p.on, v):
			if p.on == rated && l.watts > 0 && math.Abs(v-p.volts) > settledV {
				p.volts = v
				settled = false
			}
			continue
		case l.on(v) > p.on:
			*p = piece{on: p.on + 1, volts: max(v, l.knee)}
		default:
			p.on--
		}
		settled = false
		if oneOnly {
			return false
		}
	}
	return settled
}

// retreat answers an elimination that failed: a load's constant current or power cannot be had.
// Every load leaves its rated piece; those that can go back to it do.
func (w *Work) retreat() {
	for i := range w.pieces {
		if w.pieces[i].on == rated {
			w.pieces[i].on = rising
		}
	}
}

// Outcome is what an energised circuit does.
type Outcome struct {
	Collapsed bool  // no steady solution was found: nothing works
	MicroA    int64 // drawn from the supply
}

// Active solves the circuit with the supply's voltage at its terminals, of a ring at both ends.
// Voltages are then read with MicroV and Works. Collapsed circuits draw what their loads are rated
// at, so that the supply's limits are judged on no less than was asked for.
func (c *Circuit) Active(s *State, w *Work, supplyMicroV int64) Outcome {
	w.fit(c)
	w.volts, w.both = float64(supplyMicroV)/1e6, c.ring
	if !w.isolate(c, s) {
		clear(w.microV)
		return Outcome{Collapsed: true, MicroA: c.RatedMicroA()}
	}
	for i := range c.loads {
		if v := w.across(i); !w.cutOff(i, v) {
			w.microV[i] = micro(v)
		} else {
			w.microV[i] = 0
		}
	}
	return Outcome{MicroA: micro(w.sourceAmps())}
}

// cutOff reports whether no current reaches a load that would take one. Then nothing but its diode
// determines the voltage across it, which counts as none.
func (w *Work) cutOff(load int, v float64) bool {
	return w.pieces[load].on == rising && math.Abs(v) <= diodeV+edgeV
}

// MicroV is the voltage at a load after Active, positive in the direction of the cable's cores; 0
// at a load that no current reaches.
func (w *Work) MicroV(load int) int64 { return w.microV[load] }

// Works reports whether a load works after Active: the right way round and with enough voltage.
func (c *Circuit) Works(s *State, w *Work, load int) bool {
	return !s.reversed[load] && w.microV[load] >= c.loads[load].leastUV
}

// RatedMicroA is the sum of the loads' currents; constant power counts at its least voltage, where
// it is highest.
func (c *Circuit) RatedMicroA() int64 { return micro(c.rated) }

// most is the load's highest current at which it still works.
func (l *load) most() float64 {
	if l.watts > 0 {
		return l.watts / l.least
	}
	return l.amps
}
