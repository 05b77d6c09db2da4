package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
)

// Each change of a course is compared with the tolerance of the stages it hangs on. That is not all that a tolerance
// says: a pulse lasts no longer for having begun elsewhere, and what hides a stage must hide it still. So what an output
// did must also be what it does once every stage has been placed somewhere in its tolerance.

// mostPlacings bounds how many placings of the stages of one course are tried.
const mostPlacings = 100_000

// placing is a way to place the stages of a course.
type placing struct {
	demands []matrix.Demand
	begins  []time.Duration   // by demand
	after   [][]int           // by demand: the later stages of its cell, each of which ends it
	tries   [][]time.Duration // by demand: the instants tried
	did     []operation
	until   time.Duration
	left    int // placings still to be tried
}

// placed reports whether the stages of a course can be placed so that the output does, up to an instant, what it did.
// True where there is no tolerance, or more placings than can be tried.
func placed(c *matrix.Course, did []operation, until time.Duration) bool {
	p := &placing{demands: c.Demands, begins: make([]time.Duration, len(c.Demands)), did: did, until: until, left: mostPlacings}
	tolerant := false
	for i := range c.Demands {
		d := &c.Demands[i]
		p.begins[i] = d.From
		tolerant = tolerant || d.Begin.From < d.Begin.To
		var after []int
		for k := range c.Demands {
			e := &c.Demands[k]
			if e.Row == d.Row && e.Cell == d.Cell && e.Stage > d.Stage && e.From > d.From {
				after = append(after, k)
			}
		}
		if len(after) == 0 && d.For == 0 && d.End.From < d.End.To && d.To < until {
			return true // a hold that ends by itself before the horizon
		}
		p.after = append(p.after, after)
	}
	if !tolerant {
		return true
	}
	for i := range c.Demands {
		p.tries = append(p.tries, p.instants(&c.Demands[i]))
	}
	return p.place(0) || p.left <= 0
}

// instants are those at which a stage may have begun if it can have begun at all: when the output did something, or
// as long before or after that, or a stage without tolerance, as pulses last; else at the ends of its tolerance.
func (p *placing) instants(d *matrix.Demand) []time.Duration {
	if d.Begin.From == d.Begin.To {
		return []time.Duration{d.From}
	}
	var marks []time.Duration
	for i := range p.did {
		marks = append(marks, p.did[i].t2)
	}
	for i := range p.demands {
		if e := &p.demands[i]; e.Begin.From == e.Begin.To {
			marks = append(marks, e.From)
		}
	}
	tries := slices.Clone(marks)
	for i := range p.demands {
		if e := &p.demands[i]; e.For > 0 {
			for _, at := range marks {
				tries = append(tries, at-e.For, at+e.For)
			}
		}
	}
	tries = append(tries, d.From, d.Begin.From, d.Begin.To)
	tries = slices.DeleteFunc(tries, func(at time.Duration) bool { return at < d.Begin.From || at > d.Begin.To })
	slices.Sort(tries)
	return slices.Compact(tries)
}

// place tries all instants for the demands from one on.
func (p *placing) place(demand int) bool {
	if demand == len(p.demands) {
		p.left--
		return p.does()
	}
	for _, at := range p.tries[demand] {
		if p.left <= 0 {
			return false
		}
		if p.begins[demand] = at; p.place(demand + 1) {
			return true
		}
	}
	return false
}

// end is when a demand ends as the stages are placed.
func (p *placing) end(demand int) time.Duration {
	d := &p.demands[demand]
	end := d.To
	if d.For > 0 {
		end = p.begins[demand] + d.For
	}
	for n, k := range p.after[demand] {
		if n == 0 && d.For == 0 {
			end = matrix.Never
		}
		end = min(end, p.begins[k])
	}
	return end
}

// does reports whether the stages are placed in their order, and the output did what it then does.
func (p *placing) does() bool {
	cuts := []time.Duration{0}
	for i := range p.demands {
		if slices.ContainsFunc(p.after[i], func(k int) bool { return p.begins[k] < p.begins[i] }) {
			return false // stages begin in the order written
		}
		cuts = append(cuts, p.begins[i], p.end(i))
	}
	for i := range p.did {
		cuts = append(cuts, p.did[i].t2)
	}
	for _, at := range cuts {
		if at >= p.until {
			continue
		}
		state := term.Rest
		for i := range p.demands {
			if p.begins[i] <= at && at < p.end(i) {
				state = max(state, p.demands[i].State)
			}
		}
		if state.Physical() != demandedAt(p.did, at) {
			return false
		}
	}
	return true
}
