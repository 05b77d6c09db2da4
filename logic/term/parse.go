package term

import (
	"cmp"
	"slices"
	"unicode"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"

	"loopdrill.dev/loopdrill/proto/finding"
)

// Problem is one thing wrong with the text of a condition.
type Problem struct {
	// Offset of the place in the text, in characters from 0.
	Offset int
	// Code is stable and dotted, such as `condition.syntax`.
	Code string
	// Title is one line that says what is so; Detail what would be right.
	Title, Detail string
}

// Reader reads conditions over one World. It keeps what several conditions share; use one
// Reader for all conditions of a file, from one goroutine at a time.
type Reader struct {
	world *World
	names []name
	env   *cel.Env
	// shared holds the terms of whole names, such as `panel.fire`, made once.
	shared map[string]*Term
}

// NewReader returns a Reader over w.
func NewReader(w *World) *Reader {
	names := vocabulary()
	env, err := declarations(names)
	if err != nil {
		panic("term: the declarations do not depend on any input, and yet: " + err.Error())
	}
	return &Reader{world: w, names: names, env: env, shared: map[string]*Term{}}
}

// Parse reads one condition. It returns the Term and no problem, or nil and every problem that
// was found, in the order of the text. Where the text cannot be parsed only the first place is
// reported, because what follows it is guesswork.
func Parse(src string, w *World, scope Scope) (*Term, []Problem) {
	return NewReader(w).Parse(src, scope)
}

// Parse reads one condition: see the function Parse.
func (r *Reader) Parse(src string, scope Scope) (*Term, []Problem) {
	t := &text{reader: r, scope: scope, src: []rune(src)}
	readable, ok := t.withoutReserved()
	if !ok {
		return nil, t.problems
	}
	parsed, issues := r.env.Parse(string(readable))
	if issues.Err() != nil {
		t.syntax(issues.Errors())
		return nil, t.sorted()
	}
	t.info = parsed.NativeRep().SourceInfo()
	root := parsed.NativeRep().Expr()
	t.references(root)
	checked, issues := r.env.Check(parsed)
	if issues.Err() != nil {
		for _, e := range issues.Errors() {
			if at := t.offset(e); !slices.ContainsFunc(t.unread, func(s span) bool { return s.from <= at && at < s.to }) {
				t.mistyped(e, root)
			}
		}
		return nil, t.sorted()
	}
	t.info = checked.NativeRep().SourceInfo()
	t.typeOf = checked.NativeRep().GetType
	lowered := t.lower(checked.NativeRep().Expr())
	if len(t.problems) > 0 {
		return nil, t.sorted()
	}
	return lowered, nil
}

// text is one condition while it is read.
type text struct {
	reader   *Reader
	scope    Scope
	src      []rune
	info     *ast.SourceInfo
	typeOf   func(id int64) *cel.Type
	problems []Problem
	unread   []span // what stands in the place of ids, and is refused as a whole
}

// span is a part of the text, in characters; its end is open.
type span struct{ from, to int }

// refuse records a problem.
func (t *text) refuse(offset int, code, title, detail string) {
	offset = max(0, min(offset, len(t.src)))
	p := Problem{Offset: offset, Code: "condition." + code, Title: title, Detail: detail}
	if !slices.Contains(t.problems, p) {
		t.problems = append(t.problems, p)
	}
}

// sorted returns the problems in the order of the text.
func (t *text) sorted() []Problem {
	slices.SortStableFunc(t.problems, func(a, b Problem) int { return cmp.Compare(a.Offset, b.Offset) })
	return t.problems
}

// withoutReserved returns the text with the name `loop`, which CEL reserves, replaced by an
// alias of the same length, outside quotes and comments. It refuses a text that uses the alias.
func (t *text) withoutReserved() ([]rune, bool) {
	out := slices.Clone(t.src)
	for i := 0; i < len(out); {
		switch {
		case out[i] == '\'' || out[i] == '"':
			i = closing(out, i)
		case out[i] == '/' && i+1 < len(out) && out[i+1] == '/':
			for i < len(out) && out[i] != '\n' {
				i++
			}
		case isWord(out[i]):
			end := i
			for end < len(out) && isWord(out[end]) {
				end++
			}
			switch word := string(out[i:end]); {
			case word == loopAlias:
				t.unknownName(i, word)
				return nil, false
			case word == "loop" && !t.afterDot(i):
				copy(out[i:end], []rune(loopAlias))
			}
			i = end
		default:
			i++
		}
	}
	return out, true
}

// closing returns the index after the string literal that opens at i, or the end of the text.
func closing(src []rune, i int) int {
	quote := src[i]
	for i++; i < len(src); i++ {
		switch src[i] {
		case '\\':
			i++
		case quote:
			return i + 1
		}
	}
	return len(src)
}

// afterDot reports whether the last character before i that is not blank is a dot.
func (t *text) afterDot(i int) bool {
	for i--; i >= 0 && unicode.IsSpace(t.src[i]); i-- {
	}
	return i >= 0 && t.src[i] == '.'
}

// isWord reports whether c can be part of an identifier.
func isWord(c rune) bool { return c == '_' || unicode.IsLetter(c) || unicode.IsDigit(c) }

// unknownName refuses a name that conditions do not have.
func (t *text) unknownName(offset int, word string) {
	known := []string{"at_least"}
	for _, n := range t.reader.names {
		known = append(known, n.name)
	}
	detail := "conditions start from " + finding.Sample(known[1:], len(known)) + "; at_least(n, [..]) counts them; ids and words stand in single quotes"
	if near, ok := finding.Nearest(word, known); ok {
		detail = "did you mean `" + near + "`?"
	}
	t.refuse(offset, "unknown", "conditions have no name `"+word+"`", detail)
}
