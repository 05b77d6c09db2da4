package matrix

import (
	"math/big"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// network is a condition with every fact resolved: negations pushed down to the signals, facts
// that are constant in the row's runs folded away. What is left is literals under thresholds.
type network struct {
	world  *term.World
	row    *Row
	rest   func(term.Fact) bool
	nodes  []node
	root   int32
	points []int32 // variable -> point, ascending
}

type op uint8

const (
	constant  op = iota // value
	literal             // variable at level or above; if negative, below it
	threshold           // at least need of kids
)

type node struct {
	op       op
	value    bool
	negative bool
	variable int32
	level    level
	need     int32
	kids     []int32 // smallest least first: sets found early cut off larger ones
	least    int     // signals that a satisfying set has at least, if the kids share none
}

func newNetwork(row *Row, w *term.World, rest func(term.Fact) bool) *network {
	n := &network{world: w, row: row, rest: rest}
	row.When.Each(func(f term.Fact) {
		if _, ok := n.signal(f); ok {
			n.points = append(n.points, f.Index)
		}
	})
	slices.Sort(n.points)
	n.points = slices.Compact(n.points)
	n.nodes = []node{{op: constant}, {op: constant, value: true}}
	n.root = n.build(row.When, false, make(map[signed]int32))
	return n
}

// signed is a term or its negation. Terms are shared, so each becomes one node.
type signed struct {
	term     *term.Term
	negative bool
}

const (
	falseNode int32 = 0
	trueNode  int32 = 1
)

func truth(value bool) int32 {
	if value {
		return trueNode
	}
	return falseNode
}

func (n *network) build(t *term.Term, negative bool, done map[signed]int32) int32 {
	key := signed{t, negative}
	if at, ok := done[key]; ok {
		return at
	}
	var at int32
	switch t.Op {
	case term.Const:
		at = truth(t.True != negative)
	case term.Leaf:
		at = n.leaf(t.Fact, negative)
	case term.Not:
		at = n.build(t.Args[0], !negative, done)
	case term.AtLeast:
		need := t.N
		if negative { // not at least n of m = at least m-n+1 of them not
			need = len(t.Args) - t.N + 1
		}
		kids := make([]int32, len(t.Args))
		for i, arg := range t.Args {
			kids[i] = n.build(arg, negative, done)
		}
		at = n.threshold(need, kids)
	}
	done[key] = at
	return at
}

// signal returns the level that a fact needs; ok is false for a fact that no signal changes.
func (n *network) signal(f term.Fact) (need level, ok bool) {
	need, ok = needs(f, n.world)
	if !ok || need == quiet || n.row.disables(f.Index, n.world) {
		return quiet, false
	}
	return need, true
}

func (n *network) leaf(f term.Fact, negative bool) int32 {
	need, ok := n.signal(f)
	if !ok {
		_, device := needs(f, n.world)
		return truth(!device && n.row.Holds(f, n.rest) != negative || device && negative)
	}
	variable, _ := slices.BinarySearch(n.points, f.Index)
	least := 1
	if negative {
		least = 0
	}
	return n.add(node{op: literal, negative: negative, variable: int32(variable), level: need, least: least})
}

func (n *network) threshold(need int, kids []int32) int32 {
	open := kids[:0]
	for _, kid := range kids {
		switch kid {
		case trueNode:
			need--
		case falseNode:
		default:
			open = append(open, kid)
		}
	}
	switch {
	case need <= 0:
		return trueNode
	case need > len(open):
		return falseNode
	case len(open) == 1:
		return open[0]
	}
	slices.SortStableFunc(open, func(a, b int32) int { return n.nodes[a].least - n.nodes[b].least })
	least := 0
	for _, kid := range open[:need] {
		least += n.nodes[kid].least
	}
	return n.add(node{op: threshold, need: int32(need), kids: open, least: least})
}

func (n *network) add(nd node) int32 {
	n.nodes = append(n.nodes, nd)
	return int32(len(n.nodes) - 1)
}

// satisfied reports whether a node holds while nothing signals.
func (n *network) satisfied(at int32) bool {
	nd := &n.nodes[at]
	switch nd.op {
	case constant:
		return nd.value
	case literal:
		return nd.negative
	}
	count := int32(0)
	for _, kid := range nd.kids {
		if n.satisfied(kid) {
			count++
		}
	}
	return count >= nd.need
}

// count returns how many minimal sets a node has, in closed form. It is exact where no signal
// occurs twice and none is negated: then no set of one kid contains a set of another, and at
// least k of kids with c1, c2 .. sets each have as many as the k-th elementary symmetric
// polynomial of c1, c2 .. says. Elsewhere ok is false.
func (n *network) count(at int32) (count *big.Int, ok bool) {
	return n.countOnce(at, make([]bool, len(n.points)))
}

func (n *network) countOnce(at int32, seen []bool) (*big.Int, bool) {
	nd := &n.nodes[at]
	if nd.op == literal {
		if nd.negative || seen[nd.variable] {
			return nil, false
		}
		seen[nd.variable] = true
		return big.NewInt(1), true
	}
	// polynomial[k] counts the sets that make k of the kids so far true.
	polynomial := make([]*big.Int, nd.need+1)
	for k := range polynomial {
		polynomial[k] = new(big.Int)
	}
	polynomial[0].SetInt64(1)
	product := new(big.Int)
	for _, kid := range nd.kids {
		count, ok := n.countOnce(kid, seen)
		if !ok {
			return nil, false
		}
		for k := len(polynomial) - 1; k > 0; k-- {
			polynomial[k].Add(polynomial[k], product.Mul(polynomial[k-1], count))
		}
	}
	return polynomial[nd.need], true
}
