package diff

import (
	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
)

// function is a condition: equal functions have equal numbers.
type function = bdd.Node

const never = bdd.False

// functions are the conditions of both sites over common facts, limited to the combinations that can be
// (a panel is in one mode, a switch in one position).
type functions struct {
	*bdd.Space
	domain function
}

// newFunctions takes every fact that any condition will name, in the order of variables.
func newFunctions(facts []term.Fact) *functions {
	f := &functions{Space: bdd.New(bdd.DefaultLimit, facts...)}
	f.domain = f.Domain()
	return f
}

func (f *functions) of(t *term.Term) function       { return f.And(f.Term(t), f.domain) }
func (f *functions) without(a, b function) function { return f.Choose(b, never, a) }
func (f *functions) or(a, b function) function      { return f.Or(a, b) }
func (f *functions) and(a, b function) function     { return f.And(a, b) }
func (f *functions) differ(a, b function) function  { return f.Or(f.without(a, b), f.without(b, a)) }
func (f *functions) within(a, b function) bool      { return f.without(a, b) == never }
