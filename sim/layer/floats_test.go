package layer

import (
	"go/ast"
	"go/token"
	"go/types"
	"slices"
	"testing"
)

// exact lists the functions of package math whose result IEEE 754 fixes to the last bit, so that
// every machine gives the same. All others may differ between machines or releases.
var exact = []string{
	"Abs", "Ceil", "Copysign", "Float32bits", "Float32frombits", "Float64bits", "Float64frombits", "Floor", "Inf", "IsInf", "IsNaN",
	"Max", "Min", "NaN", "Round", "RoundToEven", "Signbit", "Sqrt", "Trunc",
}

// floats finds products that a compiler may fuse with a later addition, and inexact functions.
//
// A compiler may compute x*y + z with one rounding instead of two, across statements too; only
// a conversion prevents it (Go language specification, Floating-point operators). The Go compiler
// does so for arm64, also through struct fields and inlined calls. So every product is wrapped on
// the spot, except where no addition can follow: inside another product or quotient, in
// a comparison, in a conversion to an integer.
func floats(s *source) []problem {
	var found []problem
	for ident, object := range s.info.Uses {
		_, function := object.(*types.Func)
		if function && object.Pkg() != nil && object.Pkg().Path() == "math" && !slices.Contains(exact, object.Name()) {
			found = append(found, s.problem(ident.Pos(), "math."+object.Name()+" is not the same to the last bit on every machine",
				"use + - * / and math.Sqrt, or a table computed once"))
		}
	}
	for _, file := range s.files {
		ast.PreorderStack(file, nil, func(node ast.Node, stack []ast.Node) bool {
			switch n := node.(type) {
			case *ast.BinaryExpr:
				if n.Op == token.MUL && s.isFloat(n) && !s.wrapped(stack) {
					found = append(found, s.problem(n.OpPos, "a float product may be fused with an addition on some machines", "write float64(a * b)"))
				}
			case *ast.AssignStmt:
				if n.Tok == token.MUL_ASSIGN && s.isFloat(n.Lhs[0]) {
					found = append(found, s.problem(n.TokPos, "*= on a float may be fused with a later addition on some machines", "write a = float64(a * b)"))
				}
			}
			return true
		})
	}
	return found
}

// wrapped says whether the node below this stack stands where it is rounded, or where nothing can
// be added to it.
func (s *source) wrapped(stack []ast.Node) bool {
	for _, node := range slices.Backward(stack) {
		switch parent := node.(type) {
		case *ast.ParenExpr:
			continue
		case *ast.UnaryExpr:
			continue // a sign does not round
		case *ast.BinaryExpr:
			return parent.Op != token.ADD && parent.Op != token.SUB
		case *ast.CallExpr:
			return s.info.Types[parent.Fun].IsType()
		}
		return false
	}
	return false
}

// isFloat holds for floats, complex numbers and whatever a type parameter may stand for, unless
// the value is a constant, which the compiler computes exactly.
func (s *source) isFloat(expr ast.Expr) bool {
	tv := s.info.Types[expr]
	if tv.Value != nil {
		return false
	}
	if _, generic := tv.Type.(*types.TypeParam); generic {
		return true
	}
	basic, ok := tv.Type.Underlying().(*types.Basic)
	return ok && basic.Info()&(types.IsFloat|types.IsComplex) != 0
}

func TestModelsRoundEveryProduct(t *testing.T) {
	all, err := sources()
	if err != nil {
		t.Fatal(err)
	}
	var found []problem
	for _, s := range all {
		if layerOf(s.path) == "loop" {
			found = append(found, floats(s)...)
		}
	}
	report(t, found)
}

func TestFusedProductsAreFound(t *testing.T) {
	expect(t, floats, "loop/wire", `package wire
import "math"
type volt float64
type pair struct{ x, y float64 }
const k = 2.0 * 3.0
func f(a, b, c float64, v volt, n int) float64 {
	_ = a*b + c // want
	_ = c - a*b // want
	_ = c + -(a*b) // want
	c += a * b // want
	p := a * b // want
	a *= b // want
	_ = pair{x: a * b} // want
	_ = max(a*b, 0) // want
	_ = math.Sqrt(a*b) // want
	_ = v*v + 1 // want
	_ = a*a/b + c
	_ = float64(a*b) + c
	_ = float64(a*b*c) + c
	_ = volt(v*v) + 1
	_ = float64(-(a * b)) + c
	_ = a*b < c
	_ = int64(a * b)
	_ = k*2.0 + c
	_ = n*n + 1
	n *= 2
	_ = math.Pow(a, b) // want
	_ = math.Log10(a) // want
	_ = math.FMA(a, b, c) // want
	g := math.Exp // want
	_ = g
	_ = math.Sqrt(a) + math.Abs(b) + math.Pi
	_ = p
	return a * b // want
}
func g[T float64 | int](a, b T) T { return a*b + 1 } // want
`)
}
