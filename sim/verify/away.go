package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim/drill"
)

// untilReset judges the time from silence to reset, in which the stimuli go away: what a latched
// row or `until reset` demands stays without a gap, what a row demanded that is over ends with it,
// or as long after it as `hold` says, and nothing operates that no row asks for. It goes by what
// the panel demanded before reset, also where the command came through after it.
func (j *judgement) untilReset() {
	j.later = j.w.truths(j.r, j.c, j.c.reset-1)
	courses := j.w.v.m.Courses(truthSpans(j.later))
	for i := range courses {
		if c := &courses[i]; !c.NotJudged && !j.failedAlready(int32(c.Output)) && !j.operated(int32(c.Output)) {
			j.awayCourse(c)
		}
	}
}

// awayCourse compares one output with its required course from silence to reset.
func (j *judgement) awayCourse(c *matrix.Course) {
	did := j.until(c.Output, j.c.reset)
	if at, differs := firstAway(c, did, j.c.silence, j.c.reset); differs {
		j.away(c, at, did)
		return
	}
	if at, more := moreChanges(c, did, j.c.silence, j.c.reset); more {
		j.away(c, at, did)
		return
	}
	for i := range did {
		if did[i].t2 < j.c.silence {
			continue
		}
		if t, ok := changeOf(c, &did[i]); ok {
			if slow := j.fallInTime(c, t, &did[i], j.later); len(slow) > 0 {
				j.attribute(c, difference{verdict: late, stage: "silence", output: int32(c.Output), at: t.At, did: &did[i],
					required: t.State.String() + " at " + drill.Seconds(t.At), observed: observedText(did)}, slow)
				return
			}
		}
	}
}

// until is what an output did that the panel demanded before an instant.
func (j *judgement) until(output int, limit time.Duration) []operation {
	all := j.operations[output]
	for i := range all {
		if all[i].t2 >= limit {
			return all[:i]
		}
	}
	return all
}

// firstAway finds the first instant from silence to reset at which an output was not demanded
// into the state that it must be in: it looks whenever the output does something, and as soon as
// a change that is required is overdue.
func firstAway(c *matrix.Course, did []operation, silence, reset time.Duration) (at time.Duration, differs bool) {
	instants := []time.Duration{reset - 1}
	for i := range did {
		instants = append(instants, did[i].t2)
	}
	for i := range c.Demands {
		d := &c.Demands[i]
		if d.Begin.To < reset {
			instants = append(instants, d.Begin.To+1)
		}
		if d.End.To < reset {
			instants = append(instants, d.End.To+1)
		}
	}
	slices.Sort(instants)
	for _, at := range slices.Compact(instants) {
		if at < silence || at >= reset {
			continue
		}
		state := demandedAt(did, at)
		if afterSilence(c, silence, at) != state && !tolerated(c, state, at) {
			return at, true
		}
	}
	return 0, false
}

// moreChanges finds the first change from silence to reset that is one more than the course has: a tolerance lets a
// change come earlier or later, and not twice.
func moreChanges(c *matrix.Course, did []operation, silence, reset time.Duration) (at time.Duration, more bool) {
	instants := []time.Duration{silence}
	for i := range c.Demands {
		instants = append(instants, c.Demands[i].From, c.Demands[i].To)
	}
	slices.Sort(instants)
	state, _ := c.At(silence - 1)
	left := 0
	for _, at := range instants {
		if at < silence || at >= reset {
			continue
		}
		if want := afterSilence(c, silence, at); want != state {
			state = want
			left++
		}
	}
	for i := range did {
		if did[i].t2 < silence || did[i].state == demandedAt(did[:i], did[i].t2) {
			continue
		}
		if left--; left < 0 {
			return did[i].t2, true
		}
	}
	return 0, false
}

// away reports an output that is not in the required state at an instant from silence to reset.
func (j *judgement) away(c *matrix.Course, at time.Duration, did []operation) {
	want := afterSilence(c, j.c.silence, at)
	d := difference{verdict: wrongState, stage: "silence", output: int32(c.Output), at: at, observed: observedText(did)}
	_, answer := c.At(at)
	n := slices.IndexFunc(did, func(op operation) bool { return op.t2 == at })
	if n >= 0 {
		d.did, d.observed = &did[n], observedText(did[:n+1])
		d.required = want.String() + " until " + j.endOf(c, want, at)
		switch next, ok := nextChange(c, at); {
		case want == term.Rest:
			d.verdict, d.required = unexpected, "nothing more, from silence to reset"
		case ok && next.At < j.c.reset && next.State == did[n].state:
			d.verdict, answer = early, responsible(next)
		}
		j.attribute(c, d, answer)
		return
	}
	if len(did) > 0 {
		d.did = &did[len(did)-1]
	}
	due := dueBefore(c, at)
	d.required = want.String() + " at " + drill.Seconds(due)
	switch state := demandedAt(did, at); {
	case slices.ContainsFunc(did, func(op operation) bool { return op.t2 > at && op.state == want }):
		d.verdict = late
	case state == term.Rest:
		d.verdict = missing
	case want == term.Rest:
		d.verdict = staysOn
	}
	if want < demandedAt(did, at) { // those that have ended answer for what stays
		_, answer = c.At(due - 1)
	}
	j.attribute(c, d, answer)
}

// endOf says how long an output must stay as it is required to be at an instant.
func (j *judgement) endOf(c *matrix.Course, want term.State, at time.Duration) string {
	if next, ok := nextChange(c, at); ok && next.At < j.c.reset && next.From == want {
		return drill.Seconds(next.At)
	}
	return "reset"
}

// nextChange is the first change that is required after an instant.
func nextChange(c *matrix.Course, at time.Duration) (*matrix.Transition, bool) {
	for i := range c.Transitions {
		if c.Transitions[i].At > at {
			return &c.Transitions[i], true
		}
	}
	return nil, false
}

// dueBefore is the last instant before another at which a demand began or ended.
func dueBefore(c *matrix.Course, at time.Duration) time.Duration {
	var due time.Duration
	for i := range c.Demands {
		for _, cut := range []time.Duration{c.Demands[i].From, c.Demands[i].To} {
			if cut < at {
				due = max(due, cut)
			}
		}
	}
	return due
}

// changeOf is the required change that an operation is.
func changeOf(c *matrix.Course, op *operation) (*matrix.Transition, bool) {
	for i := range c.Transitions {
		if t := &c.Transitions[i]; t.State == op.state && t.Allowed.From <= op.t2 && op.t2 <= t.Allowed.To {
			return t, true
		}
	}
	return nil, false
}

// fallInTime returns the demands that ended and permit less time to follow than the output took:
// what a cell permits from the decision to operation it permits from the end to rest.
func (j *judgement) fallInTime(c *matrix.Course, t *matrix.Transition, op *operation, truths []truth) (slow []int) {
	if len(t.Begun) > 0 {
		return nil
	}
	for _, i := range t.Ended {
		d := &c.Demands[i]
		within := d.Within
		if within == 0 {
			within = j.w.v.target(truthIn(truths, int32(d.Row)))
		}
		if op.t4-op.t2 > within {
			slow = append(slow, i)
		}
	}
	return slow
}

// afterSilence is the state an output must be in at an instant if silence was operated at silence:
// silenceable demands count only where they are stronger than all such demands were then (rule
// J4: a later, stronger stage sounds again).
func afterSilence(c *matrix.Course, silence, at time.Duration) term.State {
	state, noted := term.Rest, term.Rest
	for i := range c.Demands {
		if d := &c.Demands[i]; d.Silenceable && silence >= d.From && silence < d.To {
			noted = max(noted, d.State)
		}
	}
	for i := range c.Demands {
		if d := &c.Demands[i]; at >= d.From && at < d.To && (!d.Silenceable || d.State > noted) {
			state = max(state, d.State)
		}
	}
	return state.Physical()
}

// tolerated reports whether the tolerance of a required change, into the state or out of it, lets
// the output be in that state at an instant.
func tolerated(c *matrix.Course, state term.State, at time.Duration) bool {
	return slices.ContainsFunc(c.Transitions, func(t matrix.Transition) bool {
		return (t.State == state || t.From == state) && t.Allowed.From <= at && at <= t.Allowed.To
	})
}
