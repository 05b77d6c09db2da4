package term

import (
	"unicode"

	"cel.dev/cel-go/common/ast"
)

// children lists the direct parts of an expression in the order of the text.
func children(e ast.Expr) []ast.Expr {
	switch e.Kind() {
	case ast.CallKind:
		call := e.AsCall()
		if call.IsMemberFunction() {
			return append([]ast.Expr{call.Target()}, call.Args()...)
		}
		return call.Args()
	case ast.SelectKind:
		return []ast.Expr{e.AsSelect().Operand()}
	case ast.ListKind:
		return e.AsList().Elements()
	case ast.StructKind:
		var parts []ast.Expr
		for _, entry := range e.AsStruct().Fields() {
			parts = append(parts, entry.AsStructField().Value())
		}
		return parts
	case ast.MapKind:
		var parts []ast.Expr
		for _, entry := range e.AsMap().Entries() {
			parts = append(parts, entry.AsMapEntry().Key(), entry.AsMapEntry().Value())
		}
		return parts
	}
	return nil
}

// find returns the part of root with the id, or nil.
func find(root ast.Expr, id int64) ast.Expr {
	if root.ID() == id {
		return root
	}
	for _, part := range children(root) {
		if found := find(part, id); found != nil {
			return found
		}
	}
	return nil
}

// at returns where CEL says that the part stands: the operator of a binary one, the bracket of a
// call, the dot of a property.
func (t *text) at(e ast.Expr) int {
	r, ok := t.info.GetOffsetRange(e.ID())
	if !ok {
		return 0
	}
	return max(0, min(int(r.Start), len(t.src)))
}

// start returns where the text of the part begins.
func (t *text) start(e ast.Expr) int {
	start := t.at(e)
	if e.Kind() == ast.CallKind && !e.AsCall().IsMemberFunction() && start < len(t.src) && t.src[start] == '(' {
		return t.callStart(e)
	}
	for _, part := range children(e) {
		start = min(start, t.start(part))
	}
	return start
}

// callStart returns where the name before the bracket of a call begins.
func (t *text) callStart(e ast.Expr) int {
	i := t.at(e)
	for i > 0 && unicode.IsSpace(t.src[i-1]) {
		i--
	}
	for i > 0 && isWord(t.src[i-1]) {
		i--
	}
	return i
}

// fieldStart returns where the property after the dot begins.
func (t *text) fieldStart(e ast.Expr) int {
	i := t.at(e)
	if i < len(t.src) && t.src[i] == '.' {
		i++
	}
	for i < len(t.src) && unicode.IsSpace(t.src[i]) {
		i++
	}
	return i
}

// nameOf returns the name that an expression such as zone('hall') or panel starts from.
func (t *text) nameOf(e ast.Expr) (name, bool) {
	word := ""
	switch {
	case e.Kind() == ast.IdentKind:
		word = e.AsIdent()
	case e.Kind() == ast.CallKind && !e.AsCall().IsMemberFunction():
		word = e.AsCall().FunctionName()
	}
	if word == loopAlias {
		word = "loop"
	}
	for _, n := range t.reader.names {
		if n.name == word && (n.of == nil) == (e.Kind() == ast.IdentKind) {
			return n, true
		}
	}
	return name{}, false
}
