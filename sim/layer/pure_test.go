package layer

import (
	"go/ast"
	"go/token"
	"go/types"
	"slices"
	"strings"
	"testing"
)

// clocks are the names of package time that read or wait for the wall clock. Durations, and
// arithmetic on them, are welcome everywhere.
var clocks = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Timer", "Ticker"}

// clockAndOutput finds uses of the wall clock and of the process's standard output.
func clockAndOutput(s *source) []problem {
	var found []problem
	for ident, object := range s.info.Uses {
		if _, builtin := object.(*types.Builtin); builtin && (object.Name() == "print" || object.Name() == "println") {
			found = append(found, s.problem(ident.Pos(), object.Name()+" writes to standard error", "return the value or emit an event"))
		}
		if object.Pkg() == nil || object.Parent() != object.Pkg().Scope() {
			continue
		}
		switch path, name := object.Pkg().Path(), object.Name(); {
		case path == "time" && slices.Contains(clocks, name):
			found = append(found, s.problem(ident.Pos(), "time."+name+" is the wall clock",
				"take the instant as a parameter (time.Duration since the start) and answer when to be asked next"))
		case path == "fmt" && strings.HasPrefix(name, "Print"):
			found = append(found, s.problem(ident.Pos(), "fmt."+name+" writes to standard output", "return the value or emit an event"))
		}
	}
	return found
}

// threads finds goroutines and channels.
func threads(s *source) []problem {
	var found []problem
	add := func(node ast.Node, what string) {
		found = append(found, s.problem(node.Pos(), what,
			"a drill and all below it run in one thread, step by step; concurrency lives in sim/service and sim/verify"))
	}
	for _, file := range s.files {
		ast.Inspect(file, func(node ast.Node) bool {
			switch n := node.(type) {
			case *ast.GoStmt:
				add(n, "starts a goroutine")
			case *ast.SelectStmt:
				add(n, "selects on channels")
			case *ast.SendStmt:
				add(n, "sends on a channel")
			case *ast.ChanType:
				add(n, "uses a channel type")
			case *ast.UnaryExpr:
				if n.Op == token.ARROW {
					add(n, "receives from a channel")
				}
			case *ast.RangeStmt:
				if _, channel := s.info.TypeOf(n.X).Underlying().(*types.Chan); channel {
					add(n, "ranges over a channel")
				}
			}
			return true
		})
	}
	return found
}

// orderShows marks the line of a range over a map whose order cannot reach any result.
const orderShows = "// order does not show: "

// mapOrder finds iteration in the random order of a map: range over a map, and the iterators of
// package maps unless they are sorted on the spot.
func mapOrder(s *source) []problem {
	var found []problem
	for _, file := range s.files {
		reasons := map[int]bool{}
		for _, group := range file.Comments {
			for _, comment := range group.List {
				reason, marked := strings.CutPrefix(comment.Text, orderShows)
				if marked && strings.TrimSpace(reason) != "" {
					reasons[s.fset.Position(comment.Pos()).Line] = true
				}
			}
		}
		add := func(node ast.Node, what string) {
			if !reasons[s.fset.Position(node.Pos()).Line] {
				found = append(found, s.problem(node.Pos(), what,
					"use a slice or sorted keys, or end this line with `"+orderShows+"REASON`"))
			}
		}
		ast.PreorderStack(file, nil, func(node ast.Node, stack []ast.Node) bool {
			switch n := node.(type) {
			case *ast.RangeStmt:
				if isMap(s.info.TypeOf(n.X)) {
					add(n, "ranges over a map")
				}
			case *ast.CallExpr:
				if s.callee(n, "maps", "Keys", "Values", "All") && !s.sortedHere(stack) {
					add(n, "takes a map's entries in random order")
				}
			}
			return true
		})
	}
	return found
}

// isMap holds for maps and for a type parameter that stands for one.
func isMap(t types.Type) bool {
	constraint, generic := t.Underlying().(*types.Interface)
	if _, parameter := t.(*types.TypeParam); !parameter || !generic {
		_, ok := t.Underlying().(*types.Map)
		return ok
	}
	for embedded := range constraint.EmbeddedTypes() {
		union, ok := embedded.(*types.Union)
		if !ok {
			if isMap(embedded) {
				return true
			}
			continue
		}
		for term := range union.Terms() {
			if isMap(term.Type()) {
				return true
			}
		}
	}
	return false
}

// callee says whether a call goes to one of the named functions of a package.
func (s *source) callee(call *ast.CallExpr, path string, names ...string) bool {
	fun := call.Fun
	if index, ok := fun.(*ast.IndexExpr); ok {
		fun = index.X
	}
	selector, ok := fun.(*ast.SelectorExpr)
	if !ok {
		return false
	}
	object := s.info.Uses[selector.Sel]
	return object != nil && object.Pkg() != nil && object.Pkg().Path() == path && slices.Contains(names, object.Name())
}

func (s *source) sortedHere(stack []ast.Node) bool {
	outer, ok := stack[len(stack)-1].(*ast.CallExpr)
	return ok && s.callee(outer, "slices", "Sorted", "SortedFunc")
}

// repeatable is what holds in every package that decides a log.
func repeatable(s *source) []problem {
	return slices.Concat(clockAndOutput(s), threads(s), mapOrder(s))
}

func TestDrillsAreRepeatable(t *testing.T) {
	all, err := sources()
	if err != nil {
		t.Fatal(err)
	}
	var found []problem
	for _, s := range all {
		if decidesLogs(s.path) {
			found = append(found, repeatable(s)...)
		}
	}
	report(t, found)
}

func TestClockAndOutputAreFound(t *testing.T) {
	expect(t, clockAndOutput, "loop", `package loop
import (
	"fmt"
	clock "time"
)
func f(d clock.Duration) string {
	_ = clock.Now() // want
	_ = clock.Since(clock.Time{}) // want
	clock.Sleep(d) // want
	<-clock.After(d) // want
	_ = clock.Tick // want
	var t *clock.Timer // want
	_ = t
	clock.AfterFunc(d, func() {}) // want
	_ = clock.NewTicker(d) // want
	fmt.Println(d) // want
	println("x") // want
	_ = d.Round(clock.Second)
	_, _ = clock.ParseDuration("1s")
	return fmt.Sprint(d)
}
`)
	expect(t, clockAndOutput, "loop", `package loop
import . "time"
type own struct{}
func (own) Now() int { return 0 }
func f(o own) { _ = Now(); _ = o } // want
func g(o own) { _ = o.Now() }
`)
}

func TestThreadsAreFound(t *testing.T) {
	expect(t, threads, "sim", `package sim
func f(g func()) {
	go g() // want
	c := make(chan int) // want
	c <- 1 // want
	_ = <-c // want
	select {} // want
	for range c { // want
	}
	for range 3 {
		g()
	}
}
`)
}

func TestMapOrderIsFound(t *testing.T) {
	expect(t, mapOrder, "logic", `package logic
import (
	"maps"
	"slices"
)
type table map[string]int
func f(m map[string]int, n table, s []int) (sum int) {
	for k := range m { // want
		_ = k
	}
	for range n { // want
	}
	for _, v := range m { // order does not show: a sum of integers
		sum += v
	}
	for range m { /* want */ // order does not show:
	}
	for range s {
	}
	_ = slices.Collect(maps.Keys(m)) // want
	for range maps.All(m) { // want
	}
	_ = slices.Sorted(maps.Keys(m))
	_ = maps.Clone(m)
	return sum
}
func g[M ~map[K]V, K comparable, V any](m M) {
	for range m { // want
	}
}
func h[S ~[]V, V any](s S) {
	for range s {
	}
}
`)
}
