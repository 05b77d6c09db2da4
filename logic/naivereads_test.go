package logic

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// Which outputs' commanded states conditions of the twin depend on.

// reads reports whether some condition reads the commanded state of the output.
func (n *naive) reads(o int) bool {
	reads := func(t *term.Term) bool { return n.matters(t, o) }
	return slices.ContainsFunc(n.causes, reads) || slices.ContainsFunc(n.guards, func(five [5]*term.Term) bool { return slices.ContainsFunc(five[:], reads) })
}

// matters reports whether the commanded state of the output can make a difference to the term.
func (n *naive) matters(t *term.Term, o int) bool {
	if never, always := n.constant(t); never || always {
		return false
	}
	if t.Op == term.Leaf {
		return t.Fact.Kind == term.OutputCommanded && int(t.Fact.Index) == o
	}
	return slices.ContainsFunc(t.Args, func(arg *term.Term) bool { return n.matters(arg, o) })
}

// constant reports whether a term is false, or true, whatever the facts.
func (n *naive) constant(t *term.Term) (never, always bool) {
	switch t.Op {
	case term.Const:
		return !t.True, t.True
	case term.Leaf:
		if t.Fact.Kind == term.CauseTrue {
			return n.constant(n.causes[t.Fact.Index])
		}
		return false, false
	case term.Not:
		never, always = n.constant(t.Args[0])
		return always, never
	}
	least, most := 0, 0
	for _, arg := range t.Args {
		never, always := n.constant(arg)
		if always {
			least++
		}
		if !never {
			most++
		}
	}
	return most < t.N, least >= t.N
}
