package matrix

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"loopdrill.dev/loopdrill/logic/term"
)

func writeWays(out *strings.Builder, m *Matrix, i int, w *term.World) {
	ways, bad := m.Ways(i, w, nil)
	fmt.Fprintf(out, "row %d %s: %d ways\n", m.Rows[i].Number, m.Rows[i].Cause, len(ways))
	if bad != nil {
		fmt.Fprintf(out, "  %d:%d %s %s: %s\n    %s\n", bad.GetPosition().GetLine(), bad.GetPosition().GetColumn(), bad.GetPath(), bad.GetCode(), bad.GetTitle(), bad.GetDetail())
	}
	for _, way := range ways {
		out.WriteString(" ")
		for _, s := range way {
			fmt.Fprintf(out, " %s.%s", w.Points[s.Point].Label, s.Kind)
		}
		out.WriteString("\n")
	}
}

// mixedWorld has n points whose inputs go round through every kind.
func mixedWorld(n int) *term.World {
	w := &term.World{}
	inputs := []term.Input{term.Fire, term.Fire, term.Supervisory, term.Technical, term.Fire, term.Waterflow, term.ReleaseInput, term.NoInput}
	for i := range n {
		w.Points = append(w.Points, term.Point{Label: fmt.Sprintf("P-%d", i), Input: inputs[i%len(inputs)], Prealarm: i%4 == 0})
	}
	return w
}

// bruteForce tries every assignment of signals to the points, keeps those for which the
// condition holds, and of these the ones of which no smaller one holds. The definition itself.
func bruteForce(r *Row, w *term.World) []Way {
	options := make([][]SignalKind, len(w.Points))
	for i, p := range w.Points {
		options[i] = []SignalKind{0}
		if r.disables(int32(i), w) {
			continue
		}
		if p.Prealarm {
			options[i] = append(options[i], PrealarmSignal)
		}
		switch p.Input {
		case term.Fire, term.CallPoint, term.Waterflow:
			options[i] = append(options[i], FireSignal)
		case term.Supervisory:
			options[i] = append(options[i], SupervisorySignal)
		case term.Technical, term.ReleaseInput, term.HoldOff:
			options[i] = append(options[i], ActiveSignal)
		}
	}
	var holding [][]int
	choice := make([]int, len(w.Points))
	for {
		is := func(f term.Fact) bool {
			switch f.Kind {
			case term.DeviceFire, term.DeviceActive, term.DeviceSupervisory, term.DevicePrealarm:
				kind := options[f.Index][choice[f.Index]]
				return kind != 0 && Signal{int(f.Index), kind}.Makes(f, w)
			}
			return r.Holds(f, nil)
		}
		if r.When.Eval(is) {
			holding = append(holding, slices.Clone(choice))
		}
		i := 0
		for ; i < len(choice); i++ {
			if choice[i]++; choice[i] < len(options[i]) {
				break
			}
			choice[i] = 0
		}
		if i == len(choice) {
			break
		}
	}
	sum := func(a []int) (total int) {
		for _, o := range a {
			total += o
		}
		return total
	}
	slices.SortFunc(holding, func(a, b []int) int { return sum(a) - sum(b) })
	var minimal [][]int
	var ways []Way
	for _, a := range holding {
		if slices.ContainsFunc(minimal, func(b []int) bool {
			return !slices.ContainsFunc(span(0, len(b)), func(p int) bool { return b[p] > a[p] })
		}) {
			continue
		}
		minimal = append(minimal, a)
		way := Way{}
		for p, o := range a {
			if o > 0 {
				way = append(way, Signal{p, options[p][o]})
			}
		}
		ways = append(ways, way)
	}
	slices.SortFunc(ways, func(a, b Way) int {
		if len(a) != len(b) {
			return len(a) - len(b)
		}
		for i := range a {
			if a[i] != b[i] {
				return (a[i].Point-b[i].Point)*10 + int(a[i].Kind) - int(b[i].Kind)
			}
		}
		return 0
	})
	return ways
}

// drawTerm draws a condition; negation only where allowed.
func drawTerm(t *rapid.T, points, depth int, negation bool) *term.Term {
	if depth < 3 && rapid.IntRange(0, 19).Draw(t, "constant") == 0 {
		return &term.Term{True: rapid.Bool().Draw(t, "true")}
	}
	if depth == 0 || rapid.IntRange(0, 5).Draw(t, "leaf") == 0 {
		kinds := []term.Kind{term.DeviceFire, term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory, term.PanelMode, term.ControlOn}
		kind := rapid.SampledFrom(kinds).Draw(t, "kind")
		f := term.Fact{Kind: kind, Index: int32(rapid.IntRange(0, points-1).Draw(t, "point"))}
		switch kind {
		case term.PanelMode:
			f = term.Fact{Kind: kind, Value: f.Index % 2}
		case term.ControlOn:
			f.Index %= 2
		}
		return &term.Term{Op: term.Leaf, Fact: f}
	}
	if negation && rapid.IntRange(0, 4).Draw(t, "not") == 0 {
		return &term.Term{Op: term.Not, Args: []*term.Term{drawTerm(t, points, depth-1, true)}}
	}
	args := make([]*term.Term, rapid.IntRange(1, 5).Draw(t, "args"))
	for i := range args {
		args[i] = drawTerm(t, points, depth-1, negation)
	}
	return &term.Term{Op: term.AtLeast, N: rapid.IntRange(1, len(args)).Draw(t, "n"), Args: args}
}

// checkWays compares one drawn condition, and returns how many ways it has.
func checkWays(t *rapid.T, negation bool) int {
	w := mixedWorld(rapid.IntRange(1, 12).Draw(t, "points"))
	row := Row{Number: 2, Cause: "drawn", When: drawTerm(t, len(w.Points), 3, negation)}
	for p := range w.Points {
		if rapid.IntRange(0, 9).Draw(t, "disabled") == 0 {
			row.Given = append(row.Given, Setting{Kind: DisablePoint, Index: p})
		}
	}
	if rapid.Bool().Draw(t, "night") {
		row.Given = append(row.Given, Setting{Kind: SetMode, Value: term.Night})
	}
	m := &Matrix{Rows: []Row{row}}
	got, bad := m.Ways(0, w, nil)
	want := bruteForce(&row, w)
	switch {
	case len(want) == 0:
		if bad == nil || bad.GetCode() != "matrix.no-way" {
			t.Fatalf("impossible, yet %v, %v", got, bad)
		}
	case len(want[0]) == 0:
		if bad == nil || bad.GetCode() != "matrix.true-at-rest" {
			t.Fatalf("true at rest, yet %v, %v", got, bad)
		}
	case bad != nil:
		t.Fatalf("finding %v, want %v", bad, want)
	default:
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("ways differ (-every subset, +search):\n%s", diff)
		}
	}
	return len(want)
}

// checkWaysOften draws until enough of the conditions compared had more than one way: with negation
// few have, since much of what is drawn is true at rest.
func checkWaysOften(t *testing.T, negation bool) {
	const enough, draws = 50, 100 // conditions, and how often rapid's hundred are drawn for them
	several := 0
	for n := 0; several < enough; n++ {
		if n == draws {
			t.Fatalf("only %d conditions had more than one way, want %d: the comparison compares little", several, enough)
		}
		rapid.Check(t, func(t *rapid.T) {
			if checkWays(t, negation) > 1 {
				several++
			}
		})
	}
}

func TestWaysOfMonotoneConditionsAgainstEverySubset(t *testing.T) {
	checkWaysOften(t, false)
}

func TestWaysOfConditionsWithNegationAgainstEverySubset(t *testing.T) {
	checkWaysOften(t, true)
}

// The closed form must agree with the search wherever it claims to be exact.
func TestCountAgainstSearch(t *testing.T) {
	exact := 0
	rapid.Check(t, func(t *rapid.T) {
		w := mixedWorld(40)
		row := Row{When: drawTerm(t, len(w.Points), 2, false)}
		n := newNetwork(&row, w, nil)
		if n.nodes[n.root].op == constant {
			return
		}
		count, ok := n.count(n.root)
		if !ok {
			return
		}
		exact++
		s := newSearch(n)
		s.solve([]goal{{node: n.root, whole: true}})
		if got := len(s.minimal()); count.Int64() != int64(got) {
			t.Fatalf("closed form %v, search %d", count, got)
		}
	})
	if exact == 0 {
		t.Fatal("no condition drawn had a closed form: the comparison compared nothing")
	}
}

func fires(points ...int) []*term.Term {
	terms := make([]*term.Term, len(points))
	for i, p := range points {
		terms[i] = term.Is(term.DeviceFire, p)
	}
	return terms
}

func span(from, to int) []int {
	points := make([]int, 0, to-from)
	for p := from; p < to; p++ {
		points = append(points, p)
	}
	return points
}

// Large conditions: counts by combinatorics, n!/(k!(n-k)!).
func TestWaysOfLargeConditions(t *testing.T) {
	w := &term.World{Points: make([]term.Point, 2500)}
	for i := range w.Points {
		w.Points[i].Input = term.Fire
	}
	all := fires(span(0, 2500)...)
	for _, c := range []struct {
		name  string
		when  *term.Term
		ways  int    // 0 = too many
		title string // part of the finding
	}{
		{"one of 2500", term.Or(all...), 2500, ""},
		{"all of 2500", term.And(all...), 1, ""},
		{"2 of 200 = 19,900", term.Threshold(2, all[:200]), 19_900, ""},
		{"2 of 201 = 20,100", term.Threshold(2, all[:201]), 0, "has 20100 ways"},
		{"2 of 2500 = 3,123,750", term.Threshold(2, all), 0, "has 3123750 ways"},
		{"2 of either half of 2500 = 780,625 x 780,625", term.And(term.Threshold(2, all[:1250]), term.Threshold(2, all[1250:])), 0, "has 609375390625 ways"},
		{"2 of 300, two of them named: one way", term.And(term.Threshold(2, all[:300]), all[3], all[7]), 1, ""},
		{"two areas with 290 of 310 in common: 290 + 10 x 10", term.And(term.Or(all[:300]...), term.Or(all[10:310]...)), 390, ""},
		{"one of 300 absorbs any three", term.Or(term.Threshold(3, all[:300]), term.Or(all[:300]...)), 300, ""},
		{"2 of 150 and 1 of the same = 11,175", term.And(term.Threshold(2, all[:150]), term.Or(all[:150]...)), 11_175, ""},
		{"2 of 250 and 1 of the same = 31,125", term.And(term.Threshold(2, all[:250]), term.Or(all[:250]...)), 0, "has 31125 ways"},
		{"3 of 2500 and 1 of the same", term.And(term.Threshold(3, all), term.Or(all...)), 0, "has more ways than"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := &Matrix{Rows: []Row{{Number: 7, Cause: "large", When: c.when}}}
			ways, bad := m.Ways(0, w, nil)
			if len(ways) != c.ways {
				t.Errorf("%d ways, want %d (%v)", len(ways), c.ways, bad)
			}
			if (bad == nil) != (c.title == "") || !strings.Contains(bad.GetTitle(), c.title) {
				t.Errorf("finding %v, want %q", bad, c.title)
			}
		})
	}
}
