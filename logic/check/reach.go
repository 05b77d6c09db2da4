package check

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// causes finds those that can never be true, and those that never cease to be. What folds to a constant
// because nothing can give a signal is reported by the compiler.
func (j *judge) causes() {
	for i := range j.Causes {
		_, constant := folded(j.Terms, i, map[int]bool{})
		node := j.Space.And(j.Causes[i], j.Domain)
		switch {
		case constant:
		case j.never(node):
			detail := "no combination of what the panel knows makes it true"
			if core := j.core(j.Terms[i]); core != "" {
				detail += ": " + core + " exclude each other"
			}
			j.add(finding.Warn("program.cause-unreachable", causePath(i), fmt.Sprintf("cause %q can never be true", j.cause(i)), detail), commonPractice)
		case j.never(j.Space.And(j.Space.Not(j.Causes[i]), j.Domain)):
			j.add(finding.Warn("program.cause-always", causePath(i), fmt.Sprintf("cause %q can never be false", j.cause(i)),
				"every combination of what the panel knows makes it true: what it operates has no rest"), commonPractice)
		}
	}
}

// folded is the value of a cause whose condition is constant by the way it is built.
func folded(terms []*term.Term, cause int, open map[int]bool) (value, constant bool) {
	var fold func(t *term.Term) (value, constant bool)
	fold = func(t *term.Term) (bool, bool) {
		switch t.Op {
		case term.Const:
			return t.True, true
		case term.Leaf:
			if t.Fact.Kind == term.CauseTrue && !open[int(t.Fact.Index)] {
				return folded(terms, int(t.Fact.Index), open)
			}
			return false, false
		case term.Not:
			v, ok := fold(t.Args[0])
			return !v, ok
		}
		yes, free := 0, 0
		for _, arg := range t.Args {
			v, ok := fold(arg)
			switch {
			case !ok:
				free++
			case v:
				yes++
			}
		}
		return yes >= t.N, yes >= t.N || yes+free < t.N
	}
	open[cause] = true
	defer delete(open, cause)
	return fold(terms[cause])
}

// core names the parts of an `and` that already exclude each other, none of which could be left out; empty
// where they are not plain enough to be named.
func (j *judge) core(t *term.Term) string {
	if t.Op != term.AtLeast || t.N != len(t.Args) {
		return ""
	}
	parts := t.Args
	meet := func(parts []*term.Term) bool {
		node := j.Domain
		for _, p := range parts {
			node = j.Space.And(node, j.Space.Term(p))
		}
		return node != bdd.False
	}
	for i := 0; i < len(parts); {
		rest := append(append([]*term.Term(nil), parts[:i]...), parts[i+1:]...)
		if meet(rest) {
			i++
			continue
		}
		parts = rest
	}
	var words []string
	for _, p := range parts {
		var word string
		switch {
		case p.Op == term.Leaf && p.Fact.Kind == term.CauseTrue:
			word = fmt.Sprintf("cause %q", j.cause(int(p.Fact.Index)))
		case p.Op == term.Leaf:
			word = j.word(p.Fact)
		case p.Op == term.Not && p.Args[0].Op == term.Leaf && p.Args[0].Fact.Kind != term.CauseTrue:
			word = "not " + j.word(p.Args[0].Fact)
		default:
			facts, _ := j.Space.Witness(j.Space.And(j.Space.Term(p), j.Domain))
			word = "what " + j.Words(facts) + " makes true"
			if len(facts) == 0 {
				return ""
			}
		}
		words = append(words, word)
	}
	return strings.Join(words, " and ")
}

// actions finds actions that can never act although their causes can be true: `unless` is true whenever
// the cause is, or the delay can never end.
func (j *judge) actions() {
	dead := make([]string, len(j.beside)) // why each pair so far can never act
	live := make([]bool, len(j.beside))
	for i := range j.Pairs {
		p := &j.Pairs[i]
		if p.Action < 0 || live[p.Action] {
			continue
		}
		cause := j.Space.And(j.Causes[p.Cause], j.Domain)
		if j.never(cause) {
			continue // reported of the cause
		}
		why := j.prevented(p, cause)
		if why == "" {
			live[p.Action] = true
			continue
		}
		if dead[p.Action] == "" {
			dead[p.Action] = why
		}
	}
	for action, key := range dead {
		if key == "" || live[action] {
			continue
		}
		remedy := map[string]string{
			"unless":        "`unless` is true whenever a cause of the action is: what it should inhibit is probably something else",
			"cancel_when":   "`cancel_when` is true whenever a cause of the action is, so that its delay ends without effect",
			"pause_while":   "`pause_while` is true whenever a cause of the action is, so that its delay stands still",
			"restart_while": "`restart_while` is true whenever a cause of the action is, so that its delay never runs",
		}[key]
		j.add(finding.Warn("program.action-unreachable", actionPath(action)+"."+key, fmt.Sprintf("action %d can never act", action+1), remedy), commonPractice)
	}
}

// prevented is the key of the condition that keeps a pair from ever acting; empty if none does. A pulse
// or an off-delay outlasts the cause, and then `unless` may be false.
func (j *judge) prevented(p *Pair, cause bdd.Node) string {
	outlasts := p.For > 0 || p.Hold > 0
	switch {
	case !outlasts && j.Space.Implies(cause, p.unless), outlasts && j.Space.Implies(j.Domain, p.unless):
		return "unless"
	case p.After == 0 || p.hurry != bdd.False:
		return ""
	case j.Space.Implies(cause, p.cancel):
		return "cancel_when"
	case j.Space.Implies(cause, p.pause):
		return "pause_while"
	case j.Space.Implies(cause, p.restart):
		return "restart_while"
	}
	return ""
}
