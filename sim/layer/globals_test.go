package layer

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"maps"
	"testing"
)

// shared lists the pointer types that a package may keep in a variable, because nothing can be
// changed through them.
var shared = []string{"*regexp.Regexp"}

// writes finds every place that changes a package variable, or could. Keys are import path, dot,
// name.
func writes(s *source) map[string]token.Position {
	found := map[string]token.Position{}
	for _, file := range s.files {
		ast.Inspect(file, func(node ast.Node) bool {
			for _, target := range s.changed(node) {
				if v := s.rootVariable(target); v != nil {
					found[v.Pkg().Path()+"."+v.Name()] = s.fset.Position(target.Pos())
				}
			}
			return true
		})
	}
	return found
}

// changed lists what a node assigns to, or takes the address of: assignment, ++, range into
// a variable, &, delete, clear, copy, a method with a pointer receiver.
func (s *source) changed(node ast.Node) []ast.Expr {
	switch n := node.(type) {
	case *ast.AssignStmt:
		return n.Lhs
	case *ast.IncDecStmt:
		return []ast.Expr{n.X}
	case *ast.RangeStmt:
		if n.Tok == token.ASSIGN {
			return []ast.Expr{n.Key, n.Value}
		}
	case *ast.UnaryExpr:
		if n.Op == token.AND {
			return []ast.Expr{n.X}
		}
	case *ast.CallExpr:
		if name, ok := n.Fun.(*ast.Ident); ok && (name.Name == "delete" || name.Name == "clear" || name.Name == "copy") {
			return n.Args[:1]
		}
	case *ast.SelectorExpr:
		if s.takesAddress(n) {
			return []ast.Expr{n.X}
		}
	}
	return nil
}

// takesAddress says whether a method selection passes the address of what stands before the dot.
func (s *source) takesAddress(selector *ast.SelectorExpr) bool {
	selection := s.info.Selections[selector]
	if selection == nil || selection.Kind() != types.MethodVal {
		return false
	}
	_, byPointer := selection.Obj().Type().(*types.Signature).Recv().Type().(*types.Pointer)
	_, isPointer := selection.Recv().Underlying().(*types.Pointer)
	return byPointer && !isPointer
}

// rootVariable returns the package variable that an expression reads through, or nil.
func (s *source) rootVariable(expr ast.Expr) *types.Var {
	for {
		switch e := expr.(type) {
		case *ast.ParenExpr:
			expr = e.X
		case *ast.IndexExpr:
			expr = e.X
		case *ast.StarExpr:
			expr = e.X
		case *ast.SliceExpr:
			expr = e.X
		case *ast.SelectorExpr:
			if ident, ok := e.X.(*ast.Ident); ok {
				if _, qualified := s.info.Uses[ident].(*types.PkgName); qualified {
					return packageVariable(s.info.Uses[e.Sel])
				}
			}
			expr = e.X
		case *ast.Ident:
			return packageVariable(s.info.Uses[e])
		default:
			return nil
		}
	}
}

func packageVariable(object types.Object) *types.Var {
	v, ok := object.(*types.Var)
	if !ok || v.Pkg() == nil || v.Parent() != v.Pkg().Scope() {
		return nil
	}
	return v
}

// globals finds package variables that are not constant: written somewhere, or holding something
// that can be changed through them.
func globals(s *source, written map[string]token.Position) []problem {
	var found []problem
	for ident, object := range s.info.Defs {
		if object == nil || ident.Name == "_" {
			continue
		}
		v := packageVariable(object)
		if v == nil {
			continue
		}
		if at, ok := written[v.Pkg().Path()+"."+v.Name()]; ok {
			found = append(found, s.problem(ident.Pos(), fmt.Sprintf("package variable %s is written, or its address taken, at %s:%d", v.Name(), at.Filename, at.Line),
				"keep it in the running state; a constant table is filled by its initialiser and never written"))
			continue
		}
		if why := changeable(v.Type()); why != "" {
			found = append(found, s.problem(ident.Pos(), "package variable "+v.Name()+" "+why,
				"make it in the constructor and keep it in the compiled value"))
		}
	}
	return found
}

// changeable says why a variable of this type is not constant even if it is never written.
func changeable(t types.Type) string {
	if types.Identical(t, types.Universe.Lookup("error").Type()) {
		return ""
	}
	switch t.Underlying().(type) {
	case *types.Pointer:
		for _, name := range shared {
			if types.TypeString(t, nil) == name {
				return ""
			}
		}
		return "is a pointer, and what it points to can change"
	case *types.Interface:
		return "is an interface, and what it holds can change"
	case *types.Chan:
		return "is a channel"
	}
	return ""
}

func TestPureLayersHaveNoGlobals(t *testing.T) {
	all, err := sources()
	if err != nil {
		t.Fatal(err)
	}
	written := map[string]token.Position{}
	for _, s := range all {
		maps.Copy(written, writes(s))
	}
	var found []problem
	for _, s := range all {
		if isPure(s.path) {
			found = append(found, globals(s, written)...)
		}
	}
	report(t, found)
}

func TestGlobalsAreFound(t *testing.T) {
	rule := func(s *source) []problem { return globals(s, writes(s)) }
	expect(t, rule, "loop", `package loop
import (
	"errors"
	"fmt"
	"regexp"
)
type box struct{ n int; list [3]int }
func (b *box) add()    { b.n++ }
func (b box) get() int { return b.n }
var (
	errClosed = errors.New("closed")
	_ fmt.Stringer = nil
	table  = map[string]int{"a": 1}
	sizes  = [...]float64{1, 2}
	plain  = box{}
	word   = regexp.MustCompile("a")
	twice  = func(n int) int { return 2 * n }
	zero   box
	count  int                 // want
	filled = map[string]int{}  // want
	array  [3]int              // want
	alias  [3]int              // want
	inside = box{}             // want
	called = box{}             // want
	handed = 1                 // want
	gone   = map[string]int{}  // want
	ranged int                 // want
	copied = []int{1}          // want
	held   = &box{}            // want
	any1   any = 1             // want
	pipe   chan int            // want
	errNow = errors.New("now") // want
)
func init() { filled["x"] = 1 }
func f() {
	count++
	array[1] = 2
	copy(alias[:], array[:])
	inside.list[0] = 1
	called.add()
	p := &handed
	*p = 2
	delete(gone, "x")
	for ranged = range 3 {
	}
	copy(copied, copied)
	errNow = errClosed
	_, _, _, _, _ = table["a"], sizes[0], plain.get(), word.MatchString("a"), twice(zero.n)
	local := [3]int{}
	local[0] = 1
	_ = local[:]
	table := map[string]int{}
	table["b"] = 2
	_, _, _ = held, any1, pipe
}
`)
}

// TestWritesAcrossPackages shows that a write from another package is attributed to the owner.
func TestWritesAcrossPackages(t *testing.T) {
	s := small(t, "sim", "package sim\nimport \"os\"\nfunc f() { os.Args[0] = \"\" }\n")
	if at, ok := writes(s)["os.Args"]; !ok || at.Line != 3 {
		t.Errorf("the write to os.Args in line 3 is not found: %v", writes(s))
	}
}
