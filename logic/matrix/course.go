package matrix

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// Course is the required course of one output in one run: at each instant the strongest state
// among the demands of all true rows, none = at rest.
type Course struct {
	Output      int
	NotJudged   bool // a true row says `any` (rule J15)
	Demands     []Demand
	Transitions []Transition // in order of At; the first leaves rest
	segments    []segment
}

// Transition is a change of state that is required. State and From are what the output is: a
// demand `off` is Rest.
type Transition struct {
	At          time.Duration // with every `after` kept to the letter: the programmed instant, t2
	Allowed     Span          // closed: from the earliest to the latest instant that tolerances allow
	From, State term.State
	// Begun are the demands (indices into Demands) that begin to be the strongest here: they
	// carry decision, delay and `within`. Where it is empty, a weaker demand that stood already,
	// or rest, shows because Ended ended.
	Begun []int
	// Ended are the demands that were the strongest until here: ended, or outranked.
	Ended []int
}

// segment is a time in which the same demands are the strongest.
type segment struct {
	Span
	demand  term.State // Rest for none
	leaders []int
}

// settle computes what follows from Demands.
func (c *Course) settle() {
	var cuts []time.Duration
	for i := range c.Demands {
		cuts = append(cuts, c.Demands[i].From)
		if c.Demands[i].To != Never {
			cuts = append(cuts, c.Demands[i].To)
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	before := segment{}
	for i, from := range cuts {
		to := Never
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		s := segment{Span: Span{from, to}}
		s.demand, s.leaders = c.strongest(from)
		for _, d := range s.leaders {
			c.Demands[d].Leads = true
		}
		c.segments = append(c.segments, s)
		if s.demand.Physical() != before.demand.Physical() {
			c.Transitions = append(c.Transitions, c.transition(&before, &s))
		}
		before = s
	}
}

// strongest returns the strongest state demanded at an instant, and by whom.
func (c *Course) strongest(at time.Duration) (state term.State, leaders []int) {
	for i := range c.Demands {
		d := &c.Demands[i]
		switch {
		case at < d.From || at >= d.To || d.State < state:
		case d.State == state:
			leaders = append(leaders, i)
		default:
			state, leaders = d.State, []int{i}
		}
	}
	return state, leaders
}

func (c *Course) transition(before, after *segment) Transition {
	t := Transition{At: after.From, From: before.demand.Physical(), State: after.demand.Physical(), Ended: before.leaders}
	for _, d := range after.leaders {
		if c.Demands[d].From == t.At {
			t.Begun = append(t.Begun, d)
		}
	}
	if after.demand > before.demand {
		t.Allowed = c.rise(after.demand, t.At)
	} else {
		t.Allowed = c.fall(before, after)
	}
	if n := len(c.Transitions); n > 0 {
		t.Allowed.From = max(t.Allowed.From, c.Transitions[n-1].Allowed.From)
	}
	return t
}

// rise returns when a state may begin that demands begin at the instant at: several of one
// state act as the earliest of them, so the bounds are the least of their bounds.
func (c *Course) rise(state term.State, at time.Duration) Span {
	allowed := Span{Never, Never}
	for i := range c.Demands {
		if d := &c.Demands[i]; d.State == state && d.From >= at {
			allowed.From = min(allowed.From, d.Begin.From)
			allowed.To = min(allowed.To, d.Begin.To)
		}
	}
	return allowed
}

// fall returns when the state of a segment may end: several demands act as the last of them. What shows then has
// begun.
func (c *Course) fall(before, after *segment) Span {
	var allowed Span
	for _, i := range before.leaders {
		allowed.From = max(allowed.From, c.Demands[i].End.From)
		allowed.To = max(allowed.To, c.Demands[i].End.To)
	}
	begun := Never
	for _, i := range after.leaders {
		begun = min(begun, c.Demands[i].Begin.From)
	}
	if len(after.leaders) > 0 {
		allowed.From = max(allowed.From, begun)
	}
	return allowed
}

// At returns the state the output must be in at an instant, and the demands (indices into
// Demands) that are the strongest then.
func (c *Course) At(at time.Duration) (state term.State, leaders []int) {
	s := c.segmentAt(at)
	return s.demand.Physical(), s.leaders
}

// Silenced returns the state the output must be in if silence is operated at an instant and no
// later stage comes due: what is demanded through demands that are not silenceable. Of equal
// demands one that is not silenceable is enough to hold the state (rule J4).
func (c *Course) Silenced(at time.Duration) term.State {
	state := term.Rest
	for i := range c.Demands {
		if d := &c.Demands[i]; !d.Silenceable && at >= d.From && at < d.To {
			state = max(state, d.State)
		}
	}
	return state.Physical()
}

// Within returns the longest time from t1 + After to operation that the transition's new
// demands name, the strictest of them, and whether one of them leaves it to the site's target.
func (t *Transition) Within(c *Course) (within time.Duration, target bool) {
	for _, d := range t.Begun {
		switch w := c.Demands[d].Within; {
		case w == 0:
			target = true
		case within == 0 || w < within:
			within = w
		}
	}
	return within, target
}

// Leads reports whether a cell's demand is ever among the strongest; otherwise another row
// covers it in this run (rule J16).
func (c *Course) Leads(row, cell int) bool {
	return slices.ContainsFunc(c.Demands, func(d Demand) bool { return d.Row == row && d.Cell == cell && d.Leads })
}

func (c *Course) segmentAt(at time.Duration) segment {
	for _, s := range c.segments {
		if at >= s.From && at < s.To {
			return s
		}
	}
	return segment{}
}
