package matrix

import (
	"cmp"
	"slices"
)

// Bounds of the search, so that no condition can keep the bench busy for ever. Where the ways
// are few and each signal occurs a few times, neither is ever near.
const (
	maxSteps      = 300_000_000 // nodes looked at
	maxCandidates = 400_000     // sets found before the larger of two is dropped
)

// search finds minimal sets by branching: to satisfy `at least k of these` it takes each open
// member in turn as the first that holds, and looks only behind it for the others. So each set
// is built from one end, a conjunct that earlier choices already satisfy costs nothing, and a
// branch ends as soon as it contains a set already found.
//
// Each variable lies between lo, what the choices so far signal, and hi, what a negated signal
// still allows. Every satisfying set stays within the bounds of some branch, and lo satisfies
// the condition at the end of each, so the minimal ones are all found.
type search struct {
	*network
	lo, hi    []level
	trail     []bound
	found     []candidate
	first     [][]int32 // variable -> candidates that begin with it
	steps     int
	exhausted bool
}

// bound remembers lo and hi of a variable before a choice.
type bound struct {
	variable int32
	lo, hi   level
}

// item is one variable of a set, at the level it needs.
type item struct {
	variable int32
	level    level
}

// candidate is a satisfying set, by variable.
type candidate []item

// goal is something still to be satisfied: at least need of the node's kids behind the first
// `from`. A whole goal is the node itself.
type goal struct {
	node  int32
	from  int32
	need  int32
	whole bool
}

type truthValue uint8

const (
	open truthValue = iota // depends on choices to come
	no
	yes
)

func newSearch(n *network) *search {
	s := &search{network: n, lo: make([]level, len(n.points)), hi: make([]level, len(n.points)), first: make([][]int32, len(n.points))}
	for v := range s.hi {
		s.hi[v] = alarmL
	}
	return s
}

// value judges a node by the bounds.
func (s *search) value(at int32) truthValue {
	s.steps++
	nd := &s.nodes[at]
	if nd.op == literal {
		switch reached, ruledOut := s.lo[nd.variable] >= nd.level, s.hi[nd.variable] < nd.level; {
		case reached && !nd.negative, ruledOut && nd.negative:
			return yes
		case reached || ruledOut:
			return no
		}
		return open
	}
	holding, possible := int32(0), int32(len(nd.kids))
	for _, kid := range nd.kids {
		switch s.value(kid) {
		case yes:
			holding++
		case no:
			possible--
		}
		if holding >= nd.need {
			return yes
		}
		if possible < nd.need {
			return no
		}
	}
	return open
}

// solve finds every set that satisfies the goals within the bounds.
func (s *search) solve(goals []goal) {
	mark := len(s.trail)
	defer s.undo(mark)
	goals, ok := s.propagate(goals)
	switch {
	case !ok || s.exhausted || s.covered():
		return
	case len(goals) == 0:
		s.emit()
		return
	}
	chosen := s.narrowest(goals)
	g := goals[chosen]
	kids := s.nodes[g.node].kids
	held := int32(0)
	for i := g.from; i < int32(len(kids)) && !s.exhausted; i++ {
		switch s.value(kids[i]) {
		case yes:
			held++
		case open:
			next := append(make([]goal, 0, len(goals)+1), goals[:chosen]...)
			next = append(next, goals[chosen+1:]...)
			next = append(next, goal{node: kids[i], whole: true})
			if need := g.need - held - 1; need > 0 {
				next = append(next, goal{node: g.node, from: i + 1, need: need})
			}
			s.solve(next)
		}
	}
}

// propagate drops satisfied goals and makes forced choices until none is left. It reports false
// when some goal cannot be satisfied any more.
func (s *search) propagate(goals []goal) (left []goal, ok bool) {
	for {
		left = make([]goal, 0, len(goals))
		forced := false
		for _, g := range goals {
			g, literals, ok := s.unfold(g)
			if !ok {
				return nil, false
			}
			forced = forced || literals
			if g.need <= 0 {
				continue
			}
			kids := s.nodes[g.node].kids[g.from:]
			holding, possible := s.tally(kids)
			switch {
			case holding >= g.need:
			case possible < g.need:
				return nil, false
			case possible == g.need:
				forced = true
				for _, kid := range kids {
					if s.value(kid) == open {
						left = append(left, goal{node: kid, whole: true})
					}
				}
			default:
				left = append(left, g)
			}
		}
		if s.steps > maxSteps {
			s.exhausted = true
		}
		if !forced || s.exhausted {
			return left, true
		}
		goals = left
	}
}

// unfold turns a whole goal into a goal over its node's kids; a literal is chosen at once, and
// nothing of it is left to need.
func (s *search) unfold(g goal) (unfolded goal, chosen, ok bool) {
	nd := &s.nodes[g.node]
	switch {
	case !g.whole:
		return g, false, true
	case nd.op == literal:
		return goal{}, true, s.choose(nd)
	}
	return goal{node: g.node, need: nd.need}, false, true
}

func (s *search) tally(kids []int32) (holding, possible int32) {
	for _, kid := range kids {
		switch s.value(kid) {
		case yes:
			holding++
			possible++
		case open:
			possible++
		}
	}
	return holding, possible
}

// choose makes a literal hold, and reports false if the bounds do not allow it.
func (s *search) choose(nd *node) bool {
	v := nd.variable
	lo, hi := s.lo[v], s.hi[v]
	if nd.negative {
		hi = min(hi, nd.level-1)
	} else {
		lo = max(lo, nd.level)
	}
	if lo > hi {
		return false
	}
	s.trail = append(s.trail, bound{v, s.lo[v], s.hi[v]})
	s.lo[v], s.hi[v] = lo, hi
	return true
}

func (s *search) undo(mark int) {
	for i := len(s.trail) - 1; i >= mark; i-- {
		b := s.trail[i]
		s.lo[b.variable], s.hi[b.variable] = b.lo, b.hi
	}
	s.trail = s.trail[:mark]
}

// narrowest returns the goal with the fewest members to choose from.
func (s *search) narrowest(goals []goal) int {
	best, fewest := 0, int32(0)
	for i, g := range goals {
		holding, possible := s.tally(s.nodes[g.node].kids[g.from:])
		if choices := possible - holding; i == 0 || choices < fewest {
			best, fewest = i, choices
		}
	}
	return best
}

// covered reports whether the choices so far contain a set already found: nothing that follows
// from them could be minimal.
func (s *search) covered() bool {
	for _, b := range s.trail {
		if s.lo[b.variable] == quiet {
			continue
		}
		for _, i := range s.first[b.variable] {
			s.steps += len(s.found[i])
			if s.found[i].within(s.lo) {
				return true
			}
		}
	}
	return false
}

func (c candidate) within(lo []level) bool {
	for _, it := range c {
		if lo[it.variable] < it.level {
			return false
		}
	}
	return true
}

func (s *search) emit() {
	if len(s.found) == maxCandidates {
		s.exhausted = true
		return
	}
	var c candidate
	for _, b := range s.trail {
		if s.lo[b.variable] > quiet {
			c = append(c, item{b.variable, s.lo[b.variable]})
		}
	}
	slices.SortFunc(c, func(a, b item) int { return cmp.Compare(a.variable, b.variable) })
	c = slices.Compact(c) // a variable chosen twice stands on the trail twice
	s.first[c[0].variable] = append(s.first[c[0].variable], int32(len(s.found)))
	s.found = append(s.found, c)
}

// minimal drops every set that contains another.
func (s *search) minimal() []candidate {
	weight := func(c candidate) (sum int) {
		for _, it := range c {
			sum += int(it.level)
		}
		return sum
	}
	// A set that contains another is heavier, so whatever could drop it is kept before it.
	slices.SortStableFunc(s.found, func(a, b candidate) int { return cmp.Compare(weight(a), weight(b)) })
	first := make([][]candidate, len(s.points))
	lo := make([]level, len(s.points))
	var kept []candidate
	for _, c := range s.found {
		for _, it := range c {
			lo[it.variable] = it.level
		}
		contains := slices.ContainsFunc(c, func(it item) bool {
			return slices.ContainsFunc(first[it.variable], func(k candidate) bool { return k.within(lo) })
		})
		for _, it := range c {
			lo[it.variable] = quiet
		}
		if !contains {
			first[c[0].variable] = append(first[c[0].variable], c)
			kept = append(kept, c)
		}
	}
	return kept
}
