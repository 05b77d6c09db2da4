package term

import (
	"fmt"
	"math"
	"strconv"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/types"
)

// lower turns a checked expression into a Term, or reports a problem and returns a constant.
func (t *text) lower(e ast.Expr) *Term {
	if typ := t.typeOf(e.ID()); typ != nil && !typ.IsExactType(cel.BoolType) {
		t.refuse(t.start(e), "type", "a condition that is true or false must stand here, and this is "+plainType(cel.FormatCELType(typ)), t.compareHint(cel.FormatCELType(typ)))
		return False()
	}
	switch e.Kind() {
	case ast.CallKind:
		return t.lowerCall(e)
	case ast.SelectKind:
		return t.lowerProperty(e)
	case ast.LiteralKind:
		t.refuse(t.at(e), "subset", "`true` and `false` cannot be used in a condition", "a condition says something about the installation; leave out what never changes")
		return False()
	}
	t.refuse(t.start(e), "subset", "this form cannot be used in a condition", "what is allowed: names, && || ! == != < <= > >=, brackets and at_least(n, [..])")
	return False()
}

// lowerCall lowers operators, at_least and cause(..).
func (t *text) lowerCall(e ast.Expr) *Term {
	call := e.AsCall()
	switch call.FunctionName() {
	case "_&&_":
		return And(t.flat(e, "_&&_", nil)...)
	case "_||_":
		return Or(t.flat(e, "_||_", nil)...)
	case "!_":
		return Negate(t.lower(call.Args()[0]))
	case "at_least":
		return t.lowerAtLeast(e)
	case "cause":
		if index, ok := t.reference(e, false); ok {
			return Is(CauseTrue, index)
		}
		return False()
	}
	return t.lowerComparison(e)
}

// flat collects the operands of a chain of one operator.
func (t *text) flat(e ast.Expr, operator string, operands []*Term) []*Term {
	if e.Kind() != ast.CallKind || e.AsCall().FunctionName() != operator {
		return append(operands, t.lower(e))
	}
	for _, part := range e.AsCall().Args() {
		operands = t.flat(part, operator, operands)
	}
	return operands
}

// lowerAtLeast lowers at_least(n, [..]). Members must differ in meaning: a member twice would
// count one event as two.
func (t *text) lowerAtLeast(e ast.Expr) *Term {
	args := e.AsCall().Args()
	n, ok := number(args[0])
	if !ok {
		t.refuse(t.start(args[0]), "subset", "the number of at_least must be written out", "write at_least(2, [..])")
	}
	if args[1].Kind() != ast.ListKind {
		t.refuse(t.start(args[1]), "subset", "the members of at_least must be written out", "write at_least(2, [zone('hall').fire, zone('lobby').fire])")
		return False()
	}
	elements := args[1].AsList().Elements()
	members := make([]*Term, len(elements))
	seen := map[string]int{}
	for i, element := range elements {
		before := len(t.problems)
		members[i] = t.lower(element)
		key := members[i].key()
		if first, twice := seen[key]; twice && len(t.problems) == before && members[i].Op != Const {
			t.refuse(t.start(element), "member-twice", fmt.Sprintf("member %d of at_least says the same as member %d", i+1, first+1), "it would count one event as two; name each once")
		}
		if _, twice := seen[key]; !twice {
			seen[key] = i
		}
	}
	switch {
	case !ok:
		return False()
	case n > int64(len(members)):
		t.refuse(t.start(e), "never", fmt.Sprintf("at_least(%d, ..) of %d can never be true", n, len(members)), "ask for at most as many as there are members")
		return False()
	case n < 1:
		t.refuse(t.start(e), "always", fmt.Sprintf("at_least(%d, ..) is always true", n), "ask for at least 1")
		return False()
	}
	return Threshold(int(n), members)
}

// lowerComparison lowers ==, !=, <, <=, >, >= of a count, a state or a mode with a literal.
func (t *text) lowerComparison(e ast.Expr) *Term {
	operator, args := e.AsCall().FunctionName(), e.AsCall().Args()
	value, literal := args[0], args[1]
	if value.Kind() == ast.LiteralKind {
		value, literal, operator = literal, value, mirrored(operator)
	}
	if value.Kind() == ast.LiteralKind || literal.Kind() != ast.LiteralKind {
		t.refuse(t.at(e), "subset", "a comparison needs a count, state or mode on one side and a number or word on the other", "write output('HALL-SOUNDERS').commanded == 'evacuate' or zone('hall').devices_in_fire >= 2")
		return False()
	}
	if value.Kind() != ast.SelectKind {
		t.refuse(t.start(value), "subset", "only counts, states and modes can be compared", "")
		return False()
	}
	if n, ok := number(literal); ok {
		return t.lowerCount(e, value, operator, n)
	}
	word, _ := literal.AsLiteral().Value().(string)
	is := t.lowerWord(value, literal, word)
	if operator == "_!=_" {
		return Negate(is)
	}
	return is
}

// lowerCount lowers the comparison of a count with n.
func (t *text) lowerCount(e, value ast.Expr, operator string, n int64) *Term {
	members, ok := t.counted(value)
	if !ok {
		return False()
	}
	size := int64(len(members))
	n = max(-2, min(n, min(size, math.MaxInt32)+2)) // the same truth, and no overflow in n+1
	from := func(n int64) *Term { return Threshold(int(max(n, 0)), members) }
	var result *Term
	switch operator {
	case "_>=_":
		result = from(n)
	case "_>_":
		result = from(n + 1)
	case "_<_":
		result = Negate(from(n))
	case "_<=_":
		result = Negate(from(n + 1))
	default:
		result = exactly(n, size, from)
		if operator == "_!=_" {
			result = Negate(result)
		}
	}
	if result.Op == Const && !t.reader.world.Partial {
		verb := "can never be true"
		code := "never"
		if result.True {
			verb, code = "is always true", "always"
		}
		t.refuse(t.at(e), code, "this comparison "+verb, fmt.Sprintf("there are %d that could be counted", size))
	}
	return result
}

// exactly holds when n of size members do.
func exactly(n, size int64, from func(int64) *Term) *Term {
	switch {
	case n < 0 || n > size:
		return False()
	case n == 0:
		return Negate(from(1))
	case n == size:
		return from(n)
	}
	return And(from(n), Negate(from(n+1)))
}

// mirrored returns the operator that says the same with its sides exchanged.
func mirrored(operator string) string {
	switch operator {
	case "_<_":
		return "_>_"
	case "_<=_":
		return "_>=_"
	case "_>_":
		return "_<_"
	case "_>=_":
		return "_<=_"
	}
	return operator
}

// number returns the value of an integer literal.
func number(e ast.Expr) (int64, bool) {
	if e.Kind() != ast.LiteralKind {
		return 0, false
	}
	n, ok := e.AsLiteral().(types.Int)
	return int64(n), ok
}

// key returns a text that is equal for terms built alike.
func (t *Term) key() string { return string(t.appendKey(nil)) }

func (t *Term) appendKey(text []byte) []byte {
	switch t.Op {
	case Const:
		return strconv.AppendBool(text, t.True)
	case Leaf:
		for _, n := range []int32{int32(t.Fact.Kind), t.Fact.Index, t.Fact.Value} {
			text = append(strconv.AppendInt(text, int64(n), 10), '.')
		}
		return text
	case Not:
		return t.Args[0].appendKey(append(text, '!'))
	}
	text = append(strconv.AppendInt(text, int64(t.N), 10), '(')
	for _, arg := range t.Args {
		text = append(arg.appendKey(text), ',')
	}
	return append(text, ')')
}
