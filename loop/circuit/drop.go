package circuit

import "math"

// The two drop calculations of the trade, on the circuit as the file describes it. They are
// recursions of their own and share nothing with the ladder.

// Drop is one voltage of a calculation.
type Drop struct {
	MicroV       int64
	DropMicroV   int64 // from the start voltage
	MarginMicroV int64 // over the least voltage; negative: too low
}

// End says from where a calculation feeds the circuit.
type End bool

// The ends of a circuit. A ring may be left with either when it breaks; a branch has the first.
const (
	FromFirst  End = false
	FromReturn End = true
)

// Bounds of the iteration for constant power.
const (
	powerRounds = 10_000
	powerV      = 1e-9
)

// PointToPoint calculates the voltage at every load run by run: V[k] = V[k-1] - R[k] x (the
// currents at k and beyond), R[k] out and back. Constant power is iterated, I = P/V, and counts
// below its least voltage as there: listings quote the highest current over the range in which a
// load works (common practice), and below it the load has failed the calculation anyhow. A ring is
// fed from one end only: what is left of it after one break at the other.
func (c *Circuit) PointToPoint(startV float64, from End) []Drop {
	order := make([]int, len(c.loads)) // in the order in which the current meets them
	ohm := make([]float64, len(c.loads))
	for i := range order {
		load, cable := i, i
		if from == FromReturn {
			load, cable = len(order)-1-i, len(c.runs)-1-i
		}
		order[i], ohm[i] = load, c.runs[cable].loopOhm()
	}
	volts := make([]float64, len(order))
	for i := range volts {
		volts[i] = startV
	}
	for range powerRounds {
		if c.pass(volts, order, ohm, startV) < powerV {
			break
		}
	}
	drops := make([]Drop, len(order))
	for i, load := range order {
		drops[load] = newDrop(startV, volts[i], c.loads[load].least)
	}
	return drops
}

// pass makes new voltages from the currents that go with the old ones, and returns by how much
// they changed at most.
func (c *Circuit) pass(volts []float64, order []int, ohm []float64, startV float64) float64 {
	total := 0.0
	for i, load := range order {
		total += c.loads[load].planned(volts[i])
	}
	change, v := 0.0, startV
	for i, load := range order {
		v -= float64(ohm[i] * total)
		total -= c.loads[load].planned(volts[i])
		change = max(change, math.Abs(v-volts[i]))
		volts[i] = v
	}
	return change
}

// planned is the current that a calculation counts at a voltage.
func (l *load) planned(v float64) float64 {
	if l.watts > 0 {
		return l.watts / max(v, l.least)
	}
	return l.amps
}

// EndOfLine calculates with the whole current at the far end: V = V0 - I x (the runs to the
// farthest load, out and back). Constant power counts at its least voltage, the highest current
// over the range in which the load works, so that no load is better by this method than by
// PointToPoint from the same end. The margin is over the highest least voltage of the loads.
func (c *Circuit) EndOfLine(startV float64, from End) Drop {
	ohm, least := 0.0, 0.0
	for i := range c.loads {
		cable := i
		if from == FromReturn {
			cable = len(c.runs) - 1 - i
		}
		ohm += c.runs[cable].loopOhm()
		least = max(least, c.loads[i].least)
	}
	return newDrop(startV, startV-float64(c.rated*ohm), least)
}

func newDrop(start, v, least float64) Drop {
	return Drop{MicroV: micro(v), DropMicroV: micro(start) - micro(v), MarginMicroV: micro(v) - micro(least)}
}

// Lump is one current at the far end of one run.
type Lump struct {
	BudgetV          float64 // drop that is allowed
	Amps             float64
	OhmPerUnitLength float64 // of one core
}

// Longest is the longest run, one way, in the same unit of length: V / (2 I r). Without current
// or resistance there is no limit: +Inf.
func (l Lump) Longest() float64 {
	return l.BudgetV / float64(2*float64(l.Amps*l.OhmPerUnitLength))
}

// Metres is the length of the cable, with the return of a ring.
func (c *Circuit) Metres() float64 {
	sum := 0.0
	for _, r := range c.runs {
		sum += r.metres
	}
	return sum
}

// LoopMilliOhm is the resistance of both cores over the whole cable, with closed isolators.
func (c *Circuit) LoopMilliOhm() int64 {
	sum := 0.0
	for _, r := range c.runs {
		sum += r.loopOhm()
	}
	return milli(sum)
}
