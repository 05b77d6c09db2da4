package bdd

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// Implies tells whether b holds wherever a does. It adds no node, but takes steps, which are bounded too: past the limit it
// is false, and Err says so.
func (s *Space) Implies(a, b Node) bool {
	switch {
	case a == False || b == True || a == b:
		return true
	case a == True || b == False:
		return false
	}
	key := [2]Node{a, b}
	if known, ok := s.within[key]; ok {
		return known
	}
	if s.over || len(s.within) >= s.limit {
		s.over = true
		return false
	}
	level := min(s.vertices[a].level, s.vertices[b].level)
	a0, a1 := s.split(a, level)
	b0, b1 := s.split(b, level)
	holds := s.Implies(a0, b0) && s.Implies(a1, b1)
	if !s.over {
		s.within[key] = holds
	}
	return holds
}

// Witness returns a combination that makes n true, with as few facts as can be: the facts that must
// hold, in the order of variables. Every other variable does not. False: nothing makes it true.
func (s *Space) Witness(n Node) ([]term.Fact, bool) {
	if n == False {
		return nil, false
	}
	const unreachable = int32(1) << 30
	reached := s.below(n)
	least := map[Node]int32{False: unreachable, True: 0} // facts that must hold from here on
	for _, m := range reached {
		v := s.vertices[m]
		least[m] = min(least[v.low], least[v.high]+1)
	}
	var facts []term.Fact
	for n != True {
		v := s.vertices[n]
		if least[v.low] < least[v.high]+1 { // of equals the one with the first fact
			n = v.low
			continue
		}
		facts = append(facts, s.order[v.level])
		n = v.high
	}
	return facts, true
}

// below lists the tests that n consists of, each after those it leads to: nodes are numbered so.
func (s *Space) below(n Node) []Node {
	seen := map[Node]bool{}
	stack, list := []Node{n}, []Node(nil)
	for len(stack) > 0 {
		m := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if m <= True || seen[m] {
			continue
		}
		seen[m] = true
		list = append(list, m)
		stack = append(stack, s.vertices[m].low, s.vertices[m].high)
	}
	slices.Sort(list)
	return list
}

// Support lists the facts that n depends on, in the order of variables.
func (s *Space) Support(n Node) []term.Fact {
	var levels []int32
	for _, m := range s.below(n) {
		levels = append(levels, s.vertices[m].level)
	}
	slices.Sort(levels)
	var facts []term.Fact
	for _, level := range slices.Compact(levels) {
		facts = append(facts, s.order[level])
	}
	return facts
}

// Variables lists all facts that are variables, in their order.
func (s *Space) Variables() []term.Fact { return slices.Clone(s.order) }

// Eval tells whether n holds where exactly the facts that `is` names do.
func (s *Space) Eval(n Node, is func(term.Fact) bool) bool {
	for n > True {
		v := s.vertices[n]
		if is(s.order[v.level]) {
			n = v.high
		} else {
			n = v.low
		}
	}
	return n == True
}

// Assume is n where the facts of `holds` are so and those of `fails` are not.
func (s *Space) Assume(n Node, is func(term.Fact) (holds, known bool)) Node {
	done := map[Node]Node{False: False, True: True}
	for _, m := range s.below(n) {
		v := s.vertices[m]
		if holds, known := is(s.order[v.level]); known {
			done[m] = done[v.low]
			if holds {
				done[m] = done[v.high]
			}
			continue
		}
		done[m] = s.node(v.level, done[v.low], done[v.high])
	}
	return done[n]
}
