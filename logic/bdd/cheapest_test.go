package bdd

import (
	"math/rand/v2"
	"slices"
	"testing"

	"loopdrill.dev/loopdrill/logic/term"
)

// anyTerm is a random condition over so many facts.
func anyTerm(r *rand.Rand, facts, depth int) *term.Term {
	if depth == 0 || r.IntN(4) == 0 {
		return term.Is(term.DeviceFire, r.IntN(facts))
	}
	args := make([]*term.Term, 2+r.IntN(3))
	for i := range args {
		args[i] = anyTerm(r, facts, depth-1)
	}
	if r.IntN(4) == 0 {
		return term.Negate(args[0])
	}
	return term.Threshold(1+r.IntN(len(args)), args)
}

// TestCheapest: the combination of least cost costs what the cheapest of all combinations does, each evaluated by
// itself, and makes the condition true; and a fact raises it if and only if some combination says so.
func TestCheapest(t *testing.T) {
	const facts = 7
	for seed := range uint64(500) {
		r := rand.New(rand.NewPCG(seed, 0))
		cond := anyTerm(r, facts, 4)
		var costs [facts][2]int64
		for i := range costs {
			costs[i][r.IntN(2)] = r.Int64N(5) // one of the two is how it is at rest, and costs nothing
		}
		cost := func(f term.Fact, on bool) int64 {
			if on {
				return costs[f.Index][1]
			}
			return costs[f.Index][0]
		}
		holds := func(n int) bool {
			return cond.Eval(func(f term.Fact) bool { return n>>f.Index&1 == 1 })
		}
		least, raised := int64(-1), map[int32]bool{}
		for n := range 1 << facts {
			sum := int64(0)
			for i := range facts {
				sum += costs[i][n>>i&1]
				if n>>i&1 == 1 && holds(n) && !holds(n&^(1<<i)) {
					raised[int32(i)] = true
				}
			}
			if holds(n) && (least < 0 || sum < least) {
				least = sum
			}
		}
		s := New(DefaultLimit)
		node := s.Term(cond)
		way, ok := s.Cheapest(node, cost)
		if ok != (least >= 0) {
			t.Fatalf("seed %d: found %v, want %v", seed, ok, least >= 0)
		}
		sum, at := int64(0), 0
		for i := range facts { // what is left out stands as it is at rest
			if costs[i][1] == 0 && costs[i][0] > 0 {
				at |= 1 << i
			}
		}
		for _, set := range way {
			sum += cost(set.Fact, set.On)
			if at &^= 1 << set.Fact.Index; set.On {
				at |= 1 << set.Fact.Index
			}
		}
		if ok && (sum != least || !holds(at)) {
			t.Fatalf("seed %d: a combination of cost %d that makes it %v, want %d", seed, sum, holds(at), least)
		}
		got := s.Raises(node)
		if len(got) != len(raised) || slices.ContainsFunc(got, func(f term.Fact) bool { return !raised[f.Index] }) {
			t.Fatalf("seed %d: raised by %v, want %v", seed, got, raised)
		}
	}
}
