package script

import (
	"fmt"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// form is how an expectation speaks of time and truth.
type form uint8

const (
	at     form = iota + 1 // true at `to`, after all its phases
	by                     // true at `to`, false at some earlier instant of the run
	since                  // false just before `from`, becomes true not later than `to`
	never                  // false all through [from, to]
	always                 // true all through [from, to]
	once                   // true in exactly one unbroken span of [from, to]
)

// expectation is one statement about the run.
type expectation struct {
	path     string
	form     form
	from, to time.Duration
	step     string // since
	claim    string // the condition's text
	when     *term.Term
	note     string
	moment   bool // speaks of what sounds at one moment, between events too
}

// text is the expectation as one line.
func (e *expectation) text() string {
	claim := strings.Join(strings.Fields(e.claim), " ")
	switch e.form {
	case at:
		return fmt.Sprintf("at %s: %s", drill.Seconds(e.to), claim)
	case by:
		return fmt.Sprintf("by %s: %s", drill.Seconds(e.to), claim)
	case since:
		return fmt.Sprintf("since %s within %s: %s", e.step, drill.Seconds(e.to-e.from), claim)
	}
	return fmt.Sprintf("from %s to %s %s: %s", drill.Seconds(e.from), drill.Seconds(e.to), intervalWords[e.form], claim)
}

// intervalWords are the claims that go with an interval.
var intervalWords = map[form]string{never: "never", always: "always", once: "once"}

// expectation compiles one expectation: its time form, its claim, its condition.
func (c *compiler) expectation(path string, m *pb.Expectation) {
	e := expectation{path: path, note: m.GetNote()}
	timed := c.time(path, m, &e)
	claimed := c.claim(path, m, &e)
	if e.when != nil {
		c.name(e.when)
	}
	if timed && claimed && c.audible(path, &e) {
		c.s.end = max(c.s.end, e.to)
		c.s.expect = append(c.s.expect, e)
	}
}

// time reads the time form. It reports whether there is exactly one, complete and possible.
func (c *compiler) time(path string, m *pb.Expectation, e *expectation) bool {
	given := timeForms(m)
	const forms = "give exactly one of `at`, `by`, `since` with `within`, and `from` with `to`"
	switch {
	case len(given) == 0:
		c.refuse("time-missing", path, "the expectation names no time", forms)
	case len(given) > 1:
		c.refuse("time-twice", path, "the expectation names its time in more than one way: "+strings.Join(given, ", "), forms)
	case m.GetAt() != nil:
		e.form, e.to = at, m.GetAt().AsDuration()
		return true
	case m.GetBy() != nil:
		e.form, e.to = by, m.GetBy().AsDuration()
		if e.to == 0 {
			c.refuse("by-zero", path+".by", "nothing comes before 0 s", "`by` asks for a condition that was false at some earlier instant: write `at: 0s`, or a later time")
		}
		return e.to > 0
	case given[0] == "since":
		return c.since(path, m, e)
	default:
		return c.interval(path, m, e)
	}
	return false
}

// timeForms lists the time forms of which any part is given.
func timeForms(m *pb.Expectation) []string {
	var given []string
	add := func(is bool, word string) {
		if is {
			given = append(given, word)
		}
	}
	add(m.GetAt() != nil, "at")
	add(m.GetBy() != nil, "by")
	add(m.GetSince() != "" || m.GetWithin() != nil, "since")
	add(m.GetFrom() != nil || m.GetTo() != nil, "from")
	return given
}

func (c *compiler) since(path string, m *pb.Expectation, e *expectation) bool {
	switch i, ok := c.steps[m.GetSince()]; {
	case m.GetSince() == "":
		c.refuse("since-missing", path+".within", "`within` counts from nothing", "add `since` with the id of a step, or write `by` with a time from the start of the run")
	case m.GetWithin() == nil:
		c.refuse("within-missing", path+".since", "`since` sets no limit", "add `within`: the longest time after the step")
	case !ok:
		c.found = append(c.found, dangling(path+".since", m.GetSince(), c.ids))
	default:
		e.form, e.step, e.from = since, m.GetSince(), c.s.acts[i].At
		e.to = e.from + m.GetWithin().AsDuration()
		return true
	}
	return false
}

func (c *compiler) interval(path string, m *pb.Expectation, e *expectation) bool {
	switch {
	case m.GetFrom() == nil:
		c.refuse("from-missing", path+".to", "`to` has no `from`", "add `from`; an interval may begin at 0s")
	case m.GetTo() == nil:
		c.refuse("to-missing", path+".from", "`from` has no `to`", "add `to`: the run ends at the latest time that the scenario names")
	case m.GetFrom().AsDuration() > m.GetTo().AsDuration():
		c.refuse("interval-backwards", path+".to", fmt.Sprintf("the interval ends at %s, before it begins at %s", drill.Seconds(m.GetTo().AsDuration()), drill.Seconds(m.GetFrom().AsDuration())), "`to` is an instant of the run, not a length")
	default:
		e.from, e.to = m.GetFrom().AsDuration(), m.GetTo().AsDuration()
		return true
	}
	return false
}

// claim reads the claim and its condition. It reports whether there is exactly one that goes
// with the time form.
func (c *compiler) claim(path string, m *pb.Expectation, e *expectation) bool {
	var given []string
	for _, k := range []struct {
		word, text string
		form       form
	}{{"that", m.GetThat(), 0}, {"never", m.GetNever(), never}, {"always", m.GetAlways(), always}, {"once", m.GetOnce(), once}} {
		if k.text == "" {
			continue
		}
		given = append(given, k.word)
		c.condition(path+"."+k.word, k.text, e)
		if k.form != 0 && e.form == 0 {
			e.form = k.form
		} else if len(timeForms(m)) == 1 && (k.form != 0) != (timeForms(m)[0] == "from") {
			c.mismatch(path+"."+k.word, k.word)
			return false
		}
	}
	const claims = "give one of `that` (with `at`, `by` or `since`), `never`, `always` and `once` (with `from` and `to`)"
	switch len(given) {
	case 0:
		c.refuse("claim-missing", path, "the expectation claims nothing", claims)
	case 1:
		return e.when != nil
	default:
		c.refuse("claim-twice", path, "the expectation makes more than one claim: "+strings.Join(given, ", "), claims)
	}
	return false
}

func (c *compiler) mismatch(path, word string) {
	if word == "that" {
		c.refuse("claim-form", path, "`that` does not say when in the interval", "with `from` and `to` write `always`, `never` or `once`")
		return
	}
	c.refuse("claim-form", path, "`"+word+"` needs an interval", "give `from` and `to`; with `at`, `by` or `since` the claim is `that`")
}

// condition reads a condition; what it claims is kept where it has no problems.
func (c *compiler) condition(path, text string, e *expectation) {
	when, problems := c.reader.Parse(text, term.Expectation)
	for _, p := range problems {
		f := finding.Refuse(p.Code, path, p.Title, p.Detail)
		f.Offset = int32(p.Offset)
		c.found = append(c.found, f)
	}
	e.claim, e.when = text, when
}

// audible checks what a condition says about sound. A cadence changes what is heard without an event,
// so what sounds at one moment can only be asked of one instant.
func (c *compiler) audible(path string, e *expectation) bool {
	found := len(c.found)
	where := path + "." + e.claimWord()
	e.when.Each(func(f term.Fact) {
		switch {
		case f.Kind == term.LoadSounding && !c.plan.In.Loads[f.Index].Sounder:
			c.refuse("load-mute", where, fmt.Sprintf("%s makes no sound", c.plan.In.Loads[f.Index].Label), "ask for load(..).on, or name a sounder")
		case f.Kind == term.OutputCadence && !c.plan.In.Outputs[f.Index].Sounder:
			c.refuse("output-mute", where, fmt.Sprintf("%s has no sounders", c.plan.In.Outputs[f.Index].Label), "ask for output(..).state")
		case f.Kind == term.LoadSounding && e.form != at:
			c.refuse("moment", where, fmt.Sprintf("what %s sounds changes within its cadence, and does not say how it goes on", c.plan.In.Loads[f.Index].Label),
				"write `at` with one instant, or ask for output(..).cadence and load(..).on, which hold for longer")
		}
		e.moment = e.moment || f.Kind == term.LoadSounding
	})
	return len(c.found) == found
}

// claimWord is the key of the claim.
func (e *expectation) claimWord() string {
	if word, ok := intervalWords[e.form]; ok {
		return word
	}
	return "that"
}

// name notes the outputs whose state, command or load stands in a condition. A fault does not
// name its output: `panel.fault` speaks of them all, and says nothing about what they do.
func (c *compiler) name(t *term.Term) {
	t.Each(func(f term.Fact) {
		o := f.Index
		switch f.Kind {
		case term.OutputState, term.OutputCommanded, term.OutputCadence:
		case term.LoadOn, term.LoadSounding:
			if o = c.plan.In.Loads[f.Index].Output; o < 0 {
				return
			}
		default:
			return
		}
		c.s.named[o] = true
	})
}
