package matrix

import (
	"cmp"
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// MaxWays is how many ways a row may have. Beyond it the row is refused: a matrix of which only a
// part was tried must not look verified.
const MaxWays = 20_000

// Ways returns every smallest set of device signals that makes the row's condition true while no
// other device signals: the condition holds for the set and for no smaller one. A signal is
// smaller than another on the same point as a pre-alarm is smaller than a fire. Ways are ordered
// by size, then by point, then by kind. It is exact for every condition; a negated signal means
// 'not stimulated'.
//
// Facts that are no device signals are constants: what `given` sets, else rest (AtRest if nil).
// Points disabled by `given` give no signal. In place of ways the finding says why the row
// cannot be judged: it is impossible, true without any signal, or has more than MaxWays. It is
// of severity error and lacks only the file.
func (m *Matrix) Ways(row int, w *term.World, rest func(term.Fact) bool) ([]Way, *pb.Finding) {
	r := &m.Rows[row]
	if r.When == nil {
		panic(fmt.Sprintf("matrix: row %d was refused by Parse and has no condition", r.Number))
	}
	n := newNetwork(r, w, rest)
	root := n.root
	switch {
	case n.nodes[root].op == constant && !n.nodes[root].value:
		return nil, r.errored("matrix.no-way", "no device signal can make the row true",
			"the points it names cannot give these signals, or what `given` sets keeps it false: correct the condition or the setting")
	case n.satisfied(root):
		return nil, r.errored("matrix.true-at-rest", "the row is true without any signal",
			"a row is judged from a quiescent panel, by what its signals change: join the condition by && to the signal it waits for")
	}
	if count, ok := n.count(root); ok && !count.IsInt64() || ok && count.Int64() > MaxWays {
		return nil, r.tooMany(fmt.Sprintf("%v ways", count))
	}
	s := newSearch(n)
	s.solve([]goal{{node: root, whole: true}})
	if s.exhausted {
		return nil, r.tooMany(fmt.Sprintf("more ways than %d steps or %d candidates can find", maxSteps, maxCandidates))
	}
	minimal := s.minimal()
	switch {
	case len(minimal) > MaxWays:
		return nil, r.tooMany(fmt.Sprintf("%d ways", len(minimal)))
	case len(minimal) == 0:
		return nil, r.errored("matrix.no-way", "no device signal can make the row true",
			"it asks for a signal and for its absence at once, or for more devices than can signal: correct the condition or what `given` sets")
	}
	return n.ways(minimal), nil
}

func (r *Row) errored(code, title, detail string) *pb.Finding {
	at := Place{Row: r.Number, Line: r.Line, Column: r.Column}
	f := finding.Error(code, at.cell(), fmt.Sprintf("row %d, %q: %s", r.Number, r.Cause, title), detail)
	f.Position = at.proto()
	return f
}

func (r *Row) tooMany(count string) *pb.Finding {
	return r.errored("matrix.too-many-ways", fmt.Sprintf("the condition has %s, the limit is %d", count, MaxWays),
		"write it over fewer devices: several rows, each over one place or group, judge the same")
}

// ways turns minimal sets into ways, in their order.
func (n *network) ways(minimal []candidate) []Way {
	ways := make([]Way, len(minimal))
	for i, c := range minimal {
		way := make(Way, len(c))
		for j, item := range c {
			way[j] = signalAt(int(n.points[item.variable]), item.level, n.world)
		}
		ways[i] = way
	}
	slices.SortFunc(ways, func(a, b Way) int {
		if c := cmp.Compare(len(a), len(b)); c != 0 {
			return c
		}
		return slices.CompareFunc(a, b, func(x, y Signal) int {
			return cmp.Or(cmp.Compare(x.Point, y.Point), cmp.Compare(x.Kind, y.Kind))
		})
	})
	return ways
}
