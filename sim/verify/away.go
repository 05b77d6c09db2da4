package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
)

// untilReset judges the time from silence to reset, in which the stimuli go away: whatever an output
// does then must lead to the state that is demanded, so that what a latched row or `until reset`
// demands stays without a gap, and nothing operates that no row asks for. That an
// output outlasts its row is not held against it: a cell cannot say how long it may (off-delay).
// It goes by what the panel demanded before reset, also where the command came through after it.
func (j *judgement) untilReset() {
	courses := j.w.v.m.Courses(truthSpans(j.w.truths(j.r, j.c, j.c.reset-1)))
	for i := range courses {
		if c := &courses[i]; !c.NotJudged && !j.failedAlready(int32(c.Output)) {
			j.awayCourse(c)
		}
	}
}

// awayCourse compares one output with its required course from silence to reset.
func (j *judgement) awayCourse(c *matrix.Course) {
	state := j.c.beforeReset[c.Output]
	var did []operation
	for _, op := range j.operations[c.Output] {
		if op.t2 >= j.c.reset {
			break
		}
		did = append(did, op)
		if op.t2 < j.c.silence {
			continue
		}
		state = op.state
		if want := afterSilence(c, j.c.silence, op.t2); want != state && !tolerated(c, state, op.t2) {
			j.away(c, want, op.t2, did)
			return
		}
	}
	at := j.c.reset - 1
	if want := afterSilence(c, j.c.silence, at); want > state && !tolerated(c, state, at) {
		j.away(c, want, at, did)
	}
}

// away reports an output that did not do as required from silence to reset.
func (j *judgement) away(c *matrix.Course, want term.State, at time.Duration, did []operation) {
	d := difference{verdict: wrongState, stage: "silence", output: int32(c.Output), at: at,
		required: want.String() + " until reset", observed: observedText(did)}
	if want == term.Rest {
		d.verdict, d.required = unexpected, "nothing more, from silence to reset"
	}
	if n := len(did); n > 0 {
		d.did = &did[n-1]
	}
	_, leaders := c.At(at)
	j.attribute(c, d, leaders)
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
