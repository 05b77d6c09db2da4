package term

import (
	"regexp"
	"strings"
	"unicode"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"

	"loopdrill.dev/loopdrill/proto/finding"
)

// syntax turns the parser's messages into plain words. Only the first place is told.
func (t *text) syntax(errors []*cel.Error) {
	first := errors[0]
	for _, e := range errors[1:] {
		if t.offset(e) < t.offset(first) {
			first = e
		}
	}
	at, message := t.offset(first), strings.ReplaceAll(first.Message, loopAlias, "loop")
	if strings.TrimSpace(string(t.src)) == "" {
		t.refuse(0, "syntax", "the condition is empty", "write what must be true, such as \"zone('hall').fire\"")
		return
	}
	if word, ok := strings.CutPrefix(message, "reserved identifier: "); ok {
		t.unknownName(at, word)
		return
	}
	title, detail := "the condition cannot be read from here on", "conditions are built from names, &&, ||, !, brackets and comparisons"
	switch got := quotedPart(message); {
	case strings.Contains(message, "recursion limit"):
		title, detail = "the condition is nested too deeply", "take brackets away, or give parts of it names as causes of their own"
	case strings.Contains(message, "input '<EOF>'") || strings.Contains(message, "at '<EOF>'"):
		title, detail = "the condition ends too early", "something is missing at the end: a condition, or a closing bracket"
	case strings.HasPrefix(message, "Syntax error: token recognition error") && (strings.HasPrefix(got, "'") || strings.HasPrefix(got, `"`)):
		title, detail = "the quote that opens here is never closed", "ids and words stand in single quotes: zone('hall')"
	case got != "":
		title = "`" + got + "` cannot stand here"
		if before := t.wordBefore(at); before == "not" {
			got = before
		}
		if meant, ok := meantOperator(got); ok {
			detail = "did you mean `" + meant + "`?"
		} else if strings.ContainsAny(got, "\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb") {
			detail = "it is a quote as text programs write it: type straight ones, double around the whole condition, single around each id"
		}
	}
	t.refuse(at, "syntax", title, detail)
}

// quotedPart returns what stands between the first quote of a parser's message and the quote
// that ends it.
func quotedPart(message string) string {
	for _, form := range []string{`token recognition error at: '((?s).*)'$`, `(?:mismatched|extraneous) input '((?s).*?)' expecting`, `no viable alternative at input '((?s).*)'`, `missing .* at '((?s).*)'`} {
		if m := regexp.MustCompile(form).FindStringSubmatch(message); m != nil {
			return strings.TrimSpace(m[1])
		}
	}
	return ""
}

// wordBefore returns the word that ends before the offset, blanks skipped.
func (t *text) wordBefore(at int) string {
	for at > 0 && unicode.IsSpace(t.src[at-1]) {
		at--
	}
	end := at
	for at > 0 && isWord(t.src[at-1]) {
		at--
	}
	return string(t.src[at:end])
}

// meantOperator returns the operator that people write otherwise.
func meantOperator(got string) (string, bool) {
	switch strings.ToLower(strings.TrimSpace(got)) {
	case "and", "&":
		return "&&", true
	case "or", "|":
		return "||", true
	case "not":
		return "!", true
	case "=", "is", "equals":
		return "==", true
	case "<>":
		return "!=", true
	}
	return "", false
}

// mistyped turns one message of the type-checker into plain words.
func (t *text) mistyped(e *cel.Error, root ast.Expr) {
	at, message := t.offset(e), strings.ReplaceAll(e.Message, loopAlias, "loop")
	node := find(root, e.ExprID)
	form := func(pattern string) []string { return regexp.MustCompile(pattern).FindStringSubmatch(message) }
	if m := form(`^undeclared reference to '([^']*)'`); m != nil {
		t.undeclared(at, m[1], node)
		return
	}
	if m := form(`^undefined field '([^']*)'`); m != nil {
		t.undefinedField(at, m[1], node)
		return
	}
	if m := form(`^found no matching overload for '([^']*)' applied to '\((.*)\)'`); m != nil {
		t.wrongArguments(at, m[1], m[2], node)
		return
	}
	if m := form(`^expected type '([^']*)' but found '([^']*)'`); m != nil {
		t.refuse(at, "type", "a condition that is true or false must stand here, and this is "+plainType(m[2]), t.compareHint(m[2]))
		return
	}
	if m := form(`^type '([^']*)' does not support field selection`); m != nil {
		t.refuse(at, "type", "nothing can follow here: what stands before the dot is already "+plainType(m[1]), "take the part from this dot on away")
		return
	}
	t.refuse(at, "type", "the condition does not fit together here", message)
}

// undeclared explains a name or an operator that conditions do not have.
func (t *text) undeclared(at int, word string, node ast.Expr) {
	symbol := strings.Trim(strings.TrimPrefix(word, "@"), "_")
	switch {
	case word == "_?_:_":
		t.refuse(at, "subset", "`? :` cannot be used in a condition", "write it with &&, || and !")
	case word == "_[_]":
		t.refuse(at, "subset", "`[..]` cannot be used here", "lists stand only in at_least(n, [..])")
	case word == "-_":
		t.refuse(at, "subset", "`-` cannot be used in a condition", "counts are compared with whole numbers")
	case strings.HasPrefix(word, "_") && strings.HasSuffix(word, "_") || word == "@in":
		t.refuse(at, "subset", "`"+symbol+"` cannot be used in a condition", "what is allowed: && || ! == != < <= > >=, brackets and at_least(n, [..])")
	default:
		if node != nil && node.Kind() == ast.CallKind {
			if node.AsCall().IsMemberFunction() {
				t.refuse(at, "subset", "`."+word+"(..)` cannot be used in a condition", "a name is followed by one property without brackets, such as zone('hall').fire")
				return
			}
			at = t.callStart(node)
		}
		if word == "panel" {
			t.refuse(at, "type", "`panel` takes no brackets", "write panel.fire")
			return
		}
		if word == "at_least" {
			t.refuse(at, "type", "at_least takes a whole number and a list of conditions", "write at_least(2, [zone('hall').fire, zone('lobby').fire])")
			return
		}
		if meant, ok := meantOperator(word); ok {
			t.refuse(at, "syntax", "`"+word+"` is no operator of conditions", "did you mean `"+meant+"`?")
			return
		}
		for _, n := range t.reader.names {
			if n.name == word {
				t.refuse(at, "type", "`"+word+"` needs an id in brackets", "write "+sample(n))
				return
			}
		}
		t.unknownName(at, word)
	}
}

// undefinedField explains a property that a name does not have.
func (t *text) undefinedField(at int, word string, node ast.Expr) {
	if node == nil || node.Kind() != ast.SelectKind {
		t.refuse(at, "unknown", "there is no property `"+word+"`", "")
		return
	}
	n, ok := t.nameOf(node.AsSelect().Operand())
	if !ok {
		t.refuse(at, "unknown", "there is no property `"+word+"` here", "")
		return
	}
	known := fieldNames(n.fields)
	detail := "known: " + finding.Sample(known, len(known))
	if near, found := finding.Nearest(word, known); found {
		detail = "did you mean `." + near + "`?"
	}
	t.refuse(t.fieldStart(node), "unknown", "`"+n.name+"` has no property `"+word+"`", detail)
}

// wrongArguments explains an operator or a name whose arguments have the wrong types.
func (t *text) wrongArguments(at int, called, arguments string, node ast.Expr) {
	switch called {
	case "_&&_", "_||_", "!_":
		for got := range strings.SplitSeq(arguments, ", ") {
			if got != "bool" {
				t.refuse(at, "type", "`"+strings.Trim(called, "_")+"` takes conditions that are true or false, and here stands "+plainType(got), t.compareHint(got))
				return
			}
		}
	case "_==_", "_!=_", "_<_", "_<=_", "_>_", "_>=_":
		detail := "a count is compared with a whole number; a state or mode with a word in single quotes, by == or !="
		if strings.Contains(arguments, "bool") {
			detail = "a condition that is true or false stands alone, or with ! before it"
		}
		t.refuse(at, "type", "`"+strings.Trim(called, "_")+"` cannot compare "+plainTypes(arguments), detail)
		return
	case "at_least":
		t.refuse(t.callStart(node), "type", "at_least takes a whole number and a list of conditions", "write at_least(2, [zone('hall').fire, zone('lobby').fire])")
		return
	}
	for _, n := range t.reader.names {
		if n.name == called && node != nil {
			t.refuse(t.callStart(node), "type", "`"+called+"` takes one id, and here stands "+plainTypes(arguments), "write "+sample(n))
			return
		}
	}
	t.refuse(at, "type", "`"+called+"` does not take "+plainTypes(arguments), "")
}

// sample shows how a name is written.
func sample(n name) string {
	text := n.name + "('id')"
	switch {
	case n.of == nil:
		text = n.name
	case n.of.IsExactType(cel.IntType):
		text = n.name + "(1)"
	}
	if len(n.fields) > 0 {
		text += "." + n.fields[0].name
	}
	return text
}

// plainType names a CEL type in words.
func plainType(celType string) string {
	switch celType {
	case "bool":
		return "a condition (true or false)"
	case "int":
		return "a count or whole number"
	case "string":
		return "a word"
	case "uint":
		return "an unsigned number"
	case "double":
		return "a decimal number"
	case "null":
		return "null"
	}
	if n, ok := strings.CutPrefix(celType, "a "); ok {
		return n + "(..) without a property"
	}
	if strings.HasPrefix(celType, "list") {
		return "a list"
	}
	return celType
}

// plainTypes names several types.
func plainTypes(arguments string) string {
	if arguments == "" {
		return "nothing"
	}
	parts := strings.Split(arguments, ", ")
	for i := range parts {
		parts[i] = plainType(parts[i])
	}
	return strings.Join(parts, " and ")
}

// compareHint says how a value of the type becomes a condition.
func (t *text) compareHint(celType string) string {
	switch celType {
	case "int":
		return "compare the count with a whole number, such as >= 2"
	case "string":
		return "compare the word, such as == 'evacuate'"
	}
	for _, n := range t.reader.names {
		if celType == "a "+n.name && len(n.fields) > 0 {
			return "add a property, such as ." + n.fields[0].name
		}
	}
	return "conditions come from properties such as zone('hall').fire"
}

// offset returns the place of a CEL message in characters from the start of the text.
func (t *text) offset(e *cel.Error) int {
	start := 0
	for line := e.Location.Line(); line > 1 && start < len(t.src); start++ {
		if t.src[start] == '\n' {
			line--
		}
	}
	return max(0, min(start+max(0, e.Location.Column()), len(t.src)))
}
