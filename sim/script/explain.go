package script

import (
	"cmp"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// failure is an expectation that failed, waiting for its reason.
type failure struct {
	report  *pb.ExpectationReport
	when    *term.Term
	verdict verdict
}

// blameLimit is the greatest number of parts of a condition that are worth telling.
const blameLimit = 4

// explain plays the scenario again, up to the instant at which each failed condition is looked
// at, and adds which parts of the condition are to blame, and what last happened to them.
func (r *playing) explain(failures []failure) {
	if len(failures) == 0 {
		return
	}
	again, err := r.s.start()
	if err != nil {
		return // the first run would not have begun either
	}
	slices.SortStableFunc(failures, func(a, b failure) int { return cmp.Compare(a.verdict.look, b.verdict.look) })
	for _, f := range failures {
		if err := again.RunUntil(f.verdict.look); err != nil {
			return // the run ended early, which is the scenario's own reason
		}
		parts := blame(f.when, f.verdict.was, again.Fact)
		if words := r.blameText(parts); words != "" {
			f.report.Got += " (" + words + ")"
		}
		facts := make([]term.Fact, len(parts))
		for i, p := range parts {
			facts[i] = p.fact
		}
		f.report.Chain = r.chain(r.d.LastAbout(facts, f.verdict.look))
	}
}

// part is one fact of a condition and what it was.
type part struct {
	fact  term.Fact
	holds bool
}

// blame lists the facts that make a condition what it is: of an `and` that is false the false
// ones, of an `or` that is true the true ones; each once, in the order of the text.
func blame(t *term.Term, was bool, is func(term.Fact) bool) []part {
	var parts []part
	var walk func(t *term.Term, was bool)
	walk = func(t *term.Term, was bool) {
		switch t.Op {
		case term.Leaf:
			if p := (part{t.Fact, was}); is(t.Fact) == was && !slices.Contains(parts, p) {
				parts = append(parts, p)
			}
		case term.Not:
			walk(t.Args[0], !was)
		case term.AtLeast:
			for _, arg := range t.Args {
				if arg.Eval(is) == was {
					walk(arg, was)
				}
			}
		}
	}
	walk(t, was)
	return parts
}

// blameText tells the parts, where they are few enough to help.
func (r *playing) blameText(parts []part) string {
	if len(parts) > blameLimit {
		return ""
	}
	words := make([]string, len(parts))
	for i, p := range parts {
		words[i] = r.s.plan.DescribeFact(p.fact, p.holds)
	}
	return strings.Join(words, ", ")
}

// chain describes the events that led to an event; 0 has none.
func (r *playing) chain(event uint64) []*pb.ChainLink {
	var links []*pb.ChainLink
	for _, n := range r.d.Chain(event) {
		e := r.d.Log().Event(n)
		links = append(links, &pb.ChainLink{AtS: inSeconds(e.At), What: r.s.plan.Describe(e)})
	}
	return links
}

func stateWord(value int64) string { return term.State(value).String() }
