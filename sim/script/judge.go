package script

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/sim/drill"
)

// verdict is what a trace shows about an expectation.
type verdict struct {
	passed bool
	at     time.Duration // when it was decided
	// Of a failure: the instant to look at for the reason, and what the condition was then.
	look time.Duration
	was  bool
	// In words.
	expected, got string
}

// judge judges an expectation over the whole run, which lasted until end.
func (e *expectation) judge(t *trace, end time.Duration) verdict {
	switch e.form {
	case at:
		return e.judgeAt(t, end)
	case by:
		return e.judgeBy(t, end)
	case since:
		return e.judgeSince(t, end)
	case never:
		return e.judgeWhole(t, false)
	case always:
		return e.judgeWhole(t, true)
	}
	return e.judgeOnce(t, end)
}

func (e *expectation) judgeAt(t *trace, end time.Duration) verdict {
	v := verdict{passed: t.is(e.to), at: e.to, look: e.to, expected: "true at " + drill.Seconds(e.to)}
	v.got = "false then"
	if !e.moment { // between the instants of the log its history is not known
		v.got += "; " + t.history(e.to, end)
	}
	return v
}

func (e *expectation) judgeBy(t *trace, end time.Duration) verdict {
	v := verdict{at: e.to, look: e.to, expected: fmt.Sprintf("true at %s, and false at some earlier instant", drill.Seconds(e.to))}
	_, was := t.first(false, 0, e.to)
	switch {
	case !t.is(e.to):
		v.got = "false then; " + t.history(e.to, end)
	case !was:
		v.was = true
		v.got = "true all the time from 0 s: nothing made it so"
	default:
		v.passed = true
	}
	return v
}

// judgeSince asks for the first instant, from the step on, at which the condition is true; it
// must not have been true when the step came.
func (e *expectation) judgeSince(t *trace, end time.Duration) verdict {
	v := verdict{at: e.to, look: e.to, expected: fmt.Sprintf("becomes true within %s of step %s at %s: by %s, and false before",
		drill.Seconds(e.to-e.from), e.step, drill.Seconds(e.from), drill.Seconds(e.to))}
	rise, rises := t.first(true, e.from, end)
	switch {
	case t.justBefore(e.from):
		v.at, v.look, v.was = e.from, max(0, e.from-1), true
		v.got = "already true when the step came"
	case !rises:
		v.got = "never true after the step"
	case rise > e.to:
		v.look, v.was = rise, true
		v.got = fmt.Sprintf("true only at %s: after %s, %s too late", drill.Seconds(rise), drill.Seconds(rise-e.from), drill.Seconds(rise-e.to))
	default:
		v.passed, v.at = true, rise
	}
	return v
}

// judgeWhole judges never and always: one truth all through the closed interval.
func (e *expectation) judgeWhole(t *trace, want bool) verdict {
	v := verdict{expected: fmt.Sprintf("%t from %s to %s, both included", want, drill.Seconds(e.from), drill.Seconds(e.to))}
	broken, is := t.first(!want, e.from, e.to)
	if !is {
		v.passed, v.at = true, e.to
		return v
	}
	v.at, v.look, v.was = broken, broken, !want
	if want {
		v.got = "false at " + drill.Seconds(broken)
		if back, again := t.first(true, broken, e.to); again {
			v.got += ", true again at " + drill.Seconds(back)
		}
		return v
	}
	v.got = "true " + spansText(t.spans(e.from, e.to))
	return v
}

func (e *expectation) judgeOnce(t *trace, end time.Duration) verdict {
	v := verdict{at: e.to, look: e.to, expected: fmt.Sprintf("true in one unbroken span from %s to %s", drill.Seconds(e.from), drill.Seconds(e.to))}
	switch all := t.spans(e.from, e.to); len(all) {
	case 1:
		v.passed = true
	case 0:
		v.got = "never true in it; " + t.history(e.to, end)
	default:
		v.at, v.look, v.was = all[1].from, all[1].from, true
		v.got = fmt.Sprintf("true %d times: %s", len(all), spansText(all))
	}
	return v
}

// history says, of a condition that is false at an instant, when it was true instead.
func (t *trace) history(at, end time.Duration) string {
	text := "never true before"
	if past := t.spans(0, at); len(past) > 0 {
		text = "last true until " + drill.Seconds(past[len(past)-1].to)
	}
	if rise, ok := t.first(true, at, end); ok {
		return text + ", true at " + drill.Seconds(rise)
	}
	return text + ", nor later in the run"
}
