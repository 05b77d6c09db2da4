// Package bdd decides questions about conditions: can this ever be true, is it always, do these
// two say the same, and what would make it so.
//
// What it models. Binary decision diagrams, reduced and ordered (Bryant 1986): each condition is a
// Node, built once, so that two conditions that say the same are the same Node. A variable is one fact
// of package term; facts with a value (the mode, the position of a switch, the state an output is
// commanded to) share variables, and Domain says which of their combinations can be.
//
// What it leaves out. Time, and what a combination of facts takes to come about: every combination that
// the domain allows counts as possible. The order of variables is the caller's, or that of first
// use; a poor one makes diagrams large, never wrong.
//
// Invariants. A Space has at most its limit of nodes. When an operation needs more, Err says so from
// then on and every result is False: whoever asks a question looks at Err before believing the answer.
//
// Validated by exhaustive enumeration of up to 16 facts on random conditions, and against a SAT
// library on larger ones.
package bdd

import (
	"fmt"
	"math"

	"loopdrill.dev/loopdrill/logic/term"
)

// DefaultLimit is a number of nodes that a site of 10 loops x 250 devices stays far below.
const DefaultLimit = 2_000_000

// Node is a condition in a Space. Two of one Space are equal where they say the same.
type Node int32

// The constants.
const (
	False Node = 0
	True  Node = 1
)

// vertex is one test: of the variable at a level, high where it is true. Constants stand below all.
type vertex struct {
	level     int32
	low, high Node
}

// Space holds conditions over one order of variables.
type Space struct {
	limit    int
	vertices []vertex
	unique   map[vertex]Node
	chosen   map[[3]Node]Node
	within   map[[2]Node]bool
	order    []term.Fact          // level -> the fact
	levels   map[term.Fact]int32  // the reverse
	meanings map[term.Fact]Node   // of facts that are no variables
	terms    map[*term.Term]Node  // terms are shared and never changed
	values   map[term.Fact][]Node // variables that exclude each other, by fact without its value
	groups   []term.Fact          // the keys of values in order of first use
	over     bool
}

// stepsPerNode bounds what is remembered of the steps that lead to no new node.
const stepsPerNode = 4

// constantLevel is below every variable.
const constantLevel = math.MaxInt32

// New makes an empty space of at most limit nodes. Facts of order become variables in this order; any
// other fact becomes one behind them where it is first used.
func New(limit int, order ...term.Fact) *Space {
	s := &Space{
		limit: limit, unique: map[vertex]Node{}, chosen: map[[3]Node]Node{}, within: map[[2]Node]bool{}, levels: map[term.Fact]int32{},
		meanings: map[term.Fact]Node{}, terms: map[*term.Term]Node{}, values: map[term.Fact][]Node{},
	}
	s.vertices = append(s.vertices, vertex{constantLevel, False, False}, vertex{constantLevel, True, True})
	for _, f := range order {
		s.Fact(f)
	}
	return s
}

// Err tells that the limit was reached, and names it.
func (s *Space) Err() error {
	if s.over {
		return fmt.Errorf("a decision takes more than %d nodes of its diagram, or as many steps", s.limit)
	}
	return nil
}

// node returns the one node with this test.
func (s *Space) node(level int32, low, high Node) Node {
	if low == high {
		return low
	}
	v := vertex{level, low, high}
	if n, ok := s.unique[v]; ok {
		return n
	}
	if s.over || len(s.vertices) >= s.limit {
		s.over = true
		return False
	}
	n := Node(len(s.vertices))
	s.vertices = append(s.vertices, v)
	s.unique[v] = n
	return n
}

// Choose is `if c then high else low`.
func (s *Space) Choose(c, high, low Node) Node {
	switch {
	case s.over:
		return False
	case c == True || high == low:
		return high
	case c == False:
		return low
	case high == True && low == False:
		return c
	}
	key := [3]Node{c, high, low}
	if n, ok := s.chosen[key]; ok {
		return n
	}
	level := min(s.vertices[c].level, s.vertices[high].level, s.vertices[low].level)
	c0, c1 := s.split(c, level)
	h0, h1 := s.split(high, level)
	l0, l1 := s.split(low, level)
	n := s.node(level, s.Choose(c0, h0, l0), s.Choose(c1, h1, l1))
	if len(s.chosen) >= stepsPerNode*s.limit {
		s.over = true
		return False
	}
	if !s.over {
		s.chosen[key] = n
	}
	return n
}

// split returns n with the variable of the level false, and true.
func (s *Space) split(n Node, level int32) (low, high Node) {
	if v := s.vertices[n]; v.level == level {
		return v.low, v.high
	}
	return n, n
}

// Not negates.
func (s *Space) Not(n Node) Node { return s.Choose(n, False, True) }

// And holds when all of them do.
func (s *Space) And(nodes ...Node) Node { return s.AtLeast(len(nodes), nodes) }

// Or holds when one of them does.
func (s *Space) Or(nodes ...Node) Node { return s.AtLeast(1, nodes) }
