package bdd

import (
	"cmp"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// AtLeast holds when at least n of nodes do.
func (s *Space) AtLeast(n int, nodes []Node) Node {
	switch {
	case s.over || n > len(nodes):
		return False
	case n <= 0:
		return True
	}
	// From the last variable up: each step then adds on top of what is built.
	sorted := slices.Clone(nodes)
	slices.SortStableFunc(sorted, func(a, b Node) int { return cmp.Compare(s.vertices[b].level, s.vertices[a].level) })
	// need[k] holds when at least k of those gone through do.
	need := make([]Node, n+1)
	need[0] = True
	left := len(sorted)
	for _, node := range sorted {
		left--
		for k := n; k >= max(1, n-left); k-- { // what fewer could not reach n any more is not asked for
			need[k] = s.Choose(node, need[k-1], need[k])
		}
	}
	return need[n]
}

// Define gives a fact a meaning in place of a variable, such as a cause its condition. It must come
// before the fact's first use.
func (s *Space) Define(f term.Fact, meaning Node) { s.meanings[f] = meaning }

// Fact returns the condition that a fact holds.
func (s *Space) Fact(f term.Fact) Node {
	if n, ok := s.meanings[f]; ok {
		return n
	}
	if !valued(f.Kind) {
		return s.variable(f)
	}
	key := term.Fact{Kind: f.Kind, Index: f.Index}
	if f.Value == resting {
		// At rest is: none of the others. All of them must be variables first.
		var others []Node
		for _, v := range otherValues(key.Kind) {
			others = append(others, s.Fact(term.Fact{Kind: key.Kind, Index: key.Index, Value: v}))
		}
		return s.Not(s.Or(others...))
	}
	if _, known := s.levels[f]; !known {
		if len(s.values[key]) == 0 {
			s.groups = append(s.groups, key)
		}
		s.values[key] = append(s.values[key], s.variable(f))
	}
	return s.variable(f)
}

// variable returns the node of a fact's own variable.
func (s *Space) variable(f term.Fact) Node {
	level, ok := s.levels[f]
	if !ok {
		level = int32(len(s.order))
		s.levels[f] = level
		s.order = append(s.order, f)
	}
	return s.node(level, False, True)
}

// resting is the value that a fact of several values has when none of the others holds: day, auto, at rest.
const resting int32 = 0

// valued tells a kind of several values from one that is just so or not.
func valued(k term.Kind) bool {
	return k == term.PanelMode || k == term.OverrideAt || k == term.OutputCommanded
}

// otherValues are the values beside the resting one.
func otherValues(k term.Kind) []int32 {
	switch k {
	case term.PanelMode:
		return []int32{term.Night}
	case term.OverrideAt:
		return []int32{term.SwitchedOn, term.SwitchedOff}
	}
	return []int32{int32(term.On), int32(term.Alert), int32(term.Evacuate), int32(term.Release)}
}

// Domain is which combinations of the variables used so far can be: of the values of one thing at
// most one.
func (s *Space) Domain() Node {
	domain := True
	for _, key := range s.groups {
		if values := s.values[key]; len(values) > 1 {
			domain = s.And(domain, s.Not(s.AtLeast(2, values)))
		}
	}
	return domain
}

// Term returns the node of a condition. Facts of causes need their Define.
func (s *Space) Term(t *term.Term) Node {
	if n, ok := s.terms[t]; ok {
		return n
	}
	n := s.build(t)
	if !s.over {
		s.terms[t] = n
	}
	return n
}

func (s *Space) build(t *term.Term) Node {
	switch t.Op {
	case term.Leaf:
		return s.Fact(t.Fact)
	case term.Not:
		return s.Not(s.Term(t.Args[0]))
	case term.AtLeast:
		nodes := make([]Node, len(t.Args))
		for i, arg := range t.Args {
			nodes[i] = s.Term(arg)
		}
		return s.AtLeast(t.N, nodes)
	}
	if t.True {
		return True
	}
	return False
}
