package bdd

import (
	"math"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// Setting is a fact with the value that a combination gives it.
type Setting struct {
	Fact term.Fact
	On   bool
}

// Cheapest returns a combination that makes n true at the least sum of costs, in the order of variables;
// false where nothing does. cost is what it takes for a fact to hold or not to hold, from 0 up and the sum
// of all below 2^62; a fact that the answer leaves out is free, and costs nothing either way. Of equal sums
// the one in which the earlier facts hold is taken.
func (s *Space) Cheapest(n Node, cost func(f term.Fact, on bool) int64) ([]Setting, bool) {
	if n == False {
		return nil, false
	}
	const unreachable = int64(math.MaxInt64 / 2)
	least := map[Node]int64{False: unreachable, True: 0}
	for _, m := range s.below(n) {
		v := s.vertices[m]
		f := s.order[v.level]
		least[m] = min(unreachable, least[v.low]+cost(f, false), least[v.high]+cost(f, true))
	}
	var way []Setting
	for n != True {
		v := s.vertices[n]
		f := s.order[v.level]
		on := least[v.high]+cost(f, true) <= least[v.low]+cost(f, false)
		way = append(way, Setting{f, on})
		if n = v.low; on {
			n = v.high
		}
	}
	return slices.Clip(way), true
}

// Raises lists the facts whose coming true can make n true where it was not, all else as it was; in the order
// of variables.
func (s *Space) Raises(n Node) []term.Fact {
	var facts []term.Fact
	seen := map[int32]bool{}
	for _, m := range s.below(n) {
		if v := s.vertices[m]; !seen[v.level] && !s.Implies(v.high, v.low) {
			seen[v.level] = true
			facts = append(facts, s.order[v.level])
		}
	}
	slices.SortFunc(facts, func(a, b term.Fact) int { return int(s.levels[a]) - int(s.levels[b]) })
	return facts
}
