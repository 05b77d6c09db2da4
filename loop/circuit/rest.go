package circuit

import "math"

// Verdict is what the module makes of its reading.
type Verdict uint8

// Verdicts.
const (
	Normal Verdict = iota
	Open
	Short
	Earth // a core leaks to earth, and the circuit reads normal otherwise
)

func (v Verdict) String() string { return [...]string{"normal", "open", "short", "earth"}[v] }

// Reading is what the module measures at rest.
type Reading struct {
	Verdict  Verdict
	MicroV   int64 // at the terminals, without its sign
	MicroA   int64
	MilliOhm int64 // MaxInt64 where no current flows
}

// MayEnergise reports whether the module energises a circuit that reads so: not a shorted one,
// unless isolators on a ring will cut the short off (class X).
func (c *Circuit) MayEnergise(v Verdict) bool { return v != Short || c.parts() }

// Rest solves the circuit at rest: the reversed supervision voltage at its first terminals, the
// end-of-line resistor at the last load or, on a ring, at the return terminals. Every isolator is
// closed: see the package comment.
func (c *Circuit) Rest(s *State, w *Work) Reading {
	w.fit(c)
	w.feed = feed{whole: true}
	w.lay(c, s, SupervisionOhm)
	w.volts, w.both = -SupervisionV, false
	w.rungs[len(w.rungs)-1].across = s.resistor + s.second
	if !w.settle(c, s) {
		// Loads of constant power alone can do this, and only the wrong way round: a current that
		// has no end reads as a short.
		return Reading{Verdict: Short, MicroA: micro(SupervisionV / SupervisionOhm)}
	}
	amps := math.Abs(w.sourceAmps())
	volts := max(SupervisionV-float64(amps*SupervisionOhm), 0)
	r := c.judge(volts, amps)
	if r.Verdict == Normal && s.EarthFault() {
		r.Verdict = Earth
	}
	return r
}

// judge applies the windows. Comparison is on whole milliohms.
func (c *Circuit) judge(volts, amps float64) Reading {
	r := Reading{MicroV: micro(volts), MicroA: micro(amps), MilliOhm: math.MaxInt64}
	if amps > 0 {
		if ohm := volts / amps; ohm < 1e12 {
			r.MilliOhm = milli(ohm)
		}
	}
	switch {
	case r.MilliOhm > milli(float64(openAbove*c.endOfLine)):
		r.Verdict = Open
	case r.MilliOhm < milli(float64(shortBelow*c.endOfLine)):
		r.Verdict = Short
	}
	return r
}

func milli(v float64) int64 { return int64(math.Round(float64(v * 1e3))) }
