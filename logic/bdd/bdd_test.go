package bdd

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"github.com/crillab/gophersat/solver"

	"loopdrill.dev/loopdrill/logic/term"
)

// random makes conditions over a number of device facts, the mode and one override.
type random struct {
	*rand.Rand
	facts []term.Fact
	made  []*term.Term // shared parts
}

func newRandom(seed uint64, points int) *random {
	r := &random{Rand: rand.New(rand.NewPCG(seed, 1))}
	for i := range points {
		r.facts = append(r.facts, term.Fact{Kind: term.DeviceFire, Index: int32(i)})
	}
	r.facts = append(r.facts, term.Fact{Kind: term.PanelMode, Value: term.Day}, term.Fact{Kind: term.PanelMode, Value: term.Night},
		term.Fact{Kind: term.OverrideAt, Value: term.Auto}, term.Fact{Kind: term.OverrideAt, Value: term.SwitchedOn}, term.Fact{Kind: term.OverrideAt, Value: term.SwitchedOff})
	return r
}

func (r *random) term(depth int) *term.Term {
	switch {
	case len(r.made) > 0 && r.IntN(6) == 0:
		return r.made[r.IntN(len(r.made))]
	case depth == 0 || r.IntN(5) == 0:
		return &term.Term{Op: term.Leaf, Fact: r.facts[r.IntN(len(r.facts))]}
	case r.IntN(4) == 0:
		return term.Negate(r.term(depth - 1))
	}
	args := make([]*term.Term, 1+r.IntN(4))
	for i := range args {
		args[i] = r.term(depth - 1)
	}
	t := term.Threshold(1+r.IntN(len(args)), args)
	r.made = append(r.made, t)
	return t
}

// holds tells of one combination, written in bits, which facts hold: one bit for each point, one for night, two
// for the switch, whose fourth combination is none.
func holds(bits uint32, points int) (is func(term.Fact) bool, possible bool) {
	position := int32(bits>>(points+1)) & 3
	return func(f term.Fact) bool {
		switch f.Kind {
		case term.PanelMode:
			return int32(bits>>points)&1 == f.Value
		case term.OverrideAt:
			return position == f.Value
		}
		return bits>>f.Index&1 == 1
	}, position < 3
}

// Every answer against trying all combinations of up to 16 variables: truth, how many, whether any,
// whether two conditions say the same, and what is left when some facts are known.
func TestAgainstEnumeration(t *testing.T) {
	for seed := range uint64(300) {
		points := 3 + int(seed)%11 // and 3 variables more
		if testing.Short() {
			points = 3 + int(seed)%6
		}
		r := newRandom(seed, points)
		s := New(1<<16, r.facts...)
		a, b := r.term(4), r.term(4)
		na, nb, domain := s.Term(a), s.Term(b), s.Domain()
		same, both, count := true, false, 0
		fixed := s.Assume(na, func(f term.Fact) (bool, bool) { return f.Index%2 == 0, f.Kind == term.DeviceFire && f.Index < 2 })
		for bits := range uint32(1) << (points + 3) {
			is, possible := holds(bits, points)
			if !possible {
				continue
			}
			va, vb := a.Eval(is), b.Eval(is)
			if s.Eval(na, is) != va || s.Eval(nb, is) != vb || !s.Eval(domain, is) {
				t.Fatalf("seed %d, bits %b: not as evaluated", seed, bits)
			}
			if bits&3 == 1 && s.Eval(fixed, is) != va { // point 0 in fire, point 1 not
				t.Fatalf("seed %d, bits %b: not as assumed", seed, bits)
			}
			same, both = same && va == vb, both || va && vb
			if va {
				count++
			}
		}
		if s.Err() != nil {
			t.Fatal(s.Err())
		}
		ad, bd := s.And(na, domain), s.And(nb, domain)
		if (ad == bd) != same || (s.Implies(ad, bd) && s.Implies(bd, ad)) != same || s.Implies(ad, s.Not(bd)) == both || (s.And(ad, bd) != False) != both || combinations(s, ad).Cmp(big.NewInt(int64(count))) != 0 {
			t.Fatalf("seed %d: same %v, both %v, count %v: want %v, %v, %d", seed, ad == bd, s.And(ad, bd) != False, combinations(s, ad), same, both, count)
		}
		checkWitness(t, s, ad, func(is func(term.Fact) bool) bool { return a.Eval(is) })
	}
}

// checkWitness holds a witness to the condition itself, and takes no fact of it away in vain: of a witness
// with as few facts as can be, none with one fact less is one.
func checkWitness(t *testing.T, s *Space, n Node, eval func(is func(term.Fact) bool) bool) {
	t.Helper()
	facts, ok := s.Witness(n)
	if ok != (n != False) {
		t.Fatal("a witness of what cannot be, or none of what can")
	}
	for without := -1; ok && without < len(facts); without++ {
		is := func(f term.Fact) bool {
			if valued(f.Kind) && f.Value == resting {
				for i, g := range facts {
					if i != without && g.Kind == f.Kind && g.Index == f.Index {
						return false
					}
				}
				return true
			}
			for i, g := range facts {
				if i != without && g == f {
					return true
				}
			}
			return false
		}
		if eval(is) != (without < 0) {
			t.Fatalf("witness %v without number %d: not as said", facts, without)
		}
	}
}

// satisfiable asks the SAT library whether all conditions hold in some combination. A gate is true where,
// of each set of members too large to be missed, one holds, and false where of each set large enough one fails
// (Tseitin, with thresholds written out).
func satisfiable(conditions ...*term.Term) bool {
	vars, gates := map[term.Fact]int{}, map[*term.Term]int{}
	var clauses [][]int
	next := 0
	fresh := func() int { next++; return next }
	value := func(f term.Fact) int {
		if vars[f] == 0 {
			vars[f] = fresh()
		}
		return vars[f]
	}
	exactlyOne := func(facts ...term.Fact) {
		var all []int
		for i, f := range facts {
			for _, g := range facts[:i] {
				clauses = append(clauses, []int{-value(f), -value(g)})
			}
			all = append(all, value(f))
		}
		clauses = append(clauses, all)
	}
	exactlyOne(term.Fact{Kind: term.PanelMode, Value: term.Day}, term.Fact{Kind: term.PanelMode, Value: term.Night})
	exactlyOne(term.Fact{Kind: term.OverrideAt, Value: term.Auto}, term.Fact{Kind: term.OverrideAt, Value: term.SwitchedOn}, term.Fact{Kind: term.OverrideAt, Value: term.SwitchedOff})
	var lit func(t *term.Term) int
	lit = func(t *term.Term) int {
		switch {
		case t.Op == term.Leaf:
			return value(t.Fact)
		case t.Op == term.Not:
			return -lit(t.Args[0])
		case gates[t] != 0:
			return gates[t]
		}
		g, m := fresh(), len(t.Args)
		gates[t] = g
		members := make([]int, m)
		for i, arg := range t.Args {
			members[i] = lit(arg)
		}
		for set := range 1 << m {
			one, other := []int{-g}, []int{g}
			for i, member := range members {
				if set>>i&1 == 1 {
					one, other = append(one, member), append(other, -member)
				}
			}
			if len(one)-1 == m-t.N+1 {
				clauses = append(clauses, one)
			}
			if len(other)-1 == t.N {
				clauses = append(clauses, other)
			}
		}
		return g
	}
	for _, c := range conditions {
		clauses = append(clauses, []int{lit(c)})
	}
	return solver.New(solver.ParseSlice(clauses)).Solve() == solver.Sat
}

// Larger conditions against the SAT library (github.com/crillab/gophersat): can both be, can one without the
// other, do they say the same.
func TestAgainstSAT(t *testing.T) {
	seeds := uint64(120)
	if testing.Short() {
		seeds = 20
	}
	sat, unsat := 0, 0
	for seed := range seeds {
		r := newRandom(seed, 20+int(seed)%60)
		s := New(1<<20, r.facts...)
		var terms []*term.Term
		for range 6 {
			terms = append(terms, r.term(4))
		}
		for i, a := range terms {
			for _, b := range terms[:i] {
				na, nb := s.Term(a), s.Term(b)
				domain := s.Domain()
				for _, q := range []struct {
					got   bool
					terms []*term.Term
				}{
					{s.And(na, nb, domain) != False, []*term.Term{a, b}},
					{s.And(na, s.Not(nb), domain) != False, []*term.Term{a, term.Negate(b)}},
					{s.And(s.Not(na), nb, domain) != False, []*term.Term{term.Negate(a), b}},
				} {
					if s.Err() != nil {
						t.Fatal(seed, s.Err())
					}
					if want := satisfiable(q.terms...); want != q.got {
						t.Fatalf("seed %d: %v, the library says %v", seed, q.got, want)
					}
					if q.got {
						sat++
					} else {
						unsat++
					}
				}
			}
		}
	}
	if sat == 0 || unsat == 0 {
		t.Fatalf("%d can be, %d cannot: the questions are too easy", sat, unsat)
	}
}

// The limit is told, and then nothing is claimed.
func TestLimit(t *testing.T) {
	s := New(40)
	var pairs []*term.Term
	for i := range 20 { // the worst order of variables for a sum of products
		pairs = append(pairs, term.And(term.Is(term.DeviceFire, i), term.Is(term.DeviceFire, i+20)))
	}
	for i := range 20 {
		s.Fact(term.Fact{Kind: term.DeviceFire, Index: int32(i)})
	}
	if n := s.Term(term.Or(pairs...)); n != False || s.Err() == nil || s.Err().Error() != "a decision takes more than 40 nodes of its diagram, or as many steps" {
		t.Errorf("%v %v", n, s.Err())
	}
	if len(s.vertices) > 40 {
		t.Errorf("%d nodes", len(s.vertices))
	}
	if s.Implies(s.Fact(term.Fact{Kind: term.DeviceFire}), False) {
		t.Error("something is claimed past the limit")
	}
}

// Counts over thousands of devices stay small: what `panel.fire`, and two in fire of 2,500, need.
func TestCounts(t *testing.T) {
	s := New(20_000)
	var all []*term.Term
	for i := range 2500 {
		all = append(all, term.Is(term.DeviceFire, i))
	}
	one, two := s.Term(term.Threshold(1, all)), s.Term(term.Threshold(2, all))
	if s.Err() != nil || !s.Implies(two, one) || s.Implies(one, two) {
		t.Errorf("%v, %d nodes", s.Err(), len(s.vertices))
	}
	// C(2500, 0) + C(2500, 1) combinations have fewer than two.
	if got := combinations(s, s.Not(two)); got.Cmp(big.NewInt(2501)) != 0 {
		t.Errorf("%v combinations", got)
	}
}

// combinations is how many combinations of all variables make n true.
func combinations(s *Space, n Node) *big.Int {
	variables := int32(len(s.order))
	level := func(m Node) int32 { return min(s.vertices[m].level, variables) }
	// counts are over the variables from a node's own level down.
	counts := map[Node]*big.Int{False: new(big.Int), True: big.NewInt(1)}
	for _, m := range s.below(n) {
		v, sum := s.vertices[m], new(big.Int)
		for _, to := range []Node{v.low, v.high} {
			sum.Add(sum, new(big.Int).Lsh(counts[to], uint(level(to)-v.level-1)))
		}
		counts[m] = sum
	}
	return new(big.Int).Lsh(counts[n], uint(level(n)))
}
