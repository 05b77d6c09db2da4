package site

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// validator is made once: compiling the schema's rules takes longer than reading a site.
var validator = sync.OnceValues(func() (protovalidate.Validator, error) {
	return protovalidate.New(protovalidate.WithMessages(&pb.Site{}, &pb.Scenario{}))
})

// validate applies the schema's rules and reports each broken one in the words of the file. One
// finding per path: the first broken rule is the one to put right first.
func (r *reader) validate(m proto.Message) {
	v, err := validator()
	if err != nil {
		panic(fmt.Sprintf("site: the rules in the schema do not compile: %v", err))
	}
	err = v.Validate(m)
	if err == nil {
		return
	}
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		panic(fmt.Sprintf("site: the rules in the schema cannot be evaluated: %v", err))
	}
	for _, violation := range broken.Violations {
		path := protovalidate.FieldPathString(violation.Proto.GetField())
		if r.isSpoiled(path) {
			continue
		}
		r.spoiled[path] = true
		r.violation(path, violation)
	}
}

// isSpoiled tells whether a problem stands at path or above it.
func (r *reader) isSpoiled(path string) bool {
	for ; path != ""; path = parent(path) {
		if r.spoiled[path] {
			return true
		}
	}
	return false
}

// violation turns one broken rule into a finding.
func (r *reader) violation(path string, v *protovalidate.Violation) {
	rule := v.Proto.GetRuleId()
	fd := v.FieldDescriptor
	if fd == nil && strings.HasSuffix(path, "]") { // an item of a list of texts: the validator names the list alone
		fd = r.fieldAt(path)
	}
	if fd == nil {
		r.missingKind(path)
		return
	}
	inItem := strings.HasSuffix(path, "]") && fd.IsList()
	name := called(fd, path)
	refuse := func(at pos, code, title, detail string) { r.refuse(at, code, path, title, detail) }
	at := r.index.find(path, 0)
	raw, _ := r.index.Raw(path)
	switch {
	case rule == "required" && !r.index.Has(path) && r.cut && parent(path) == "":
	case rule == "required" && !r.index.Has(path):
		refuse(r.index.entry(parent(path)), "value.missing", name+" is missing", "write "+missingAdvice(fd))
	case rule == "required":
		refuse(at, "value.empty", name+" is empty", "write "+wanted(fd, inItem))
	case len(vocabulary(fd)) > 0 && strings.HasSuffix(rule, ".in"):
		refuse(at, "value.word", fmt.Sprintf("%s cannot be %s", name, word(fd, raw)), wordAdvice(raw, fd))
	case rule == "string.pattern":
		refuse(at, "value.text", fmt.Sprintf("%s cannot be %q", name, short(raw)), patternAdvice(raw, fd))
	case rule == "string.max_len":
		refuse(at, "value.text", fmt.Sprintf("%s is %d characters long", name, utf8.RuneCountInString(raw)), "it has to be "+wanted(fd, inItem))
	case rule == "repeated.unique":
		r.repeated(path, v)
	case strings.HasPrefix(rule, "repeated."):
		refuse(at, "value.count", fmt.Sprintf("%s has %s", name, entries(v.FieldValue.List().Len())), countAdvice(fd))
	case strings.Contains(rule, ".gt") || strings.Contains(rule, ".lt"):
		refuse(at, "value.range", fmt.Sprintf("%s cannot be %s", name, short(raw)), "it has to be "+wanted(fd, inItem))
	default:
		refuse(at, "value.refused", fmt.Sprintf("%s cannot be %q", name, short(raw)), v.Proto.GetMessage())
	}
}

// missingKind reports an entry without the one key that says what it is.
func (r *reader) missingKind(path string) {
	title, choices := "this entry does not say what it is", ""
	if od := r.choice(path); od != nil {
		for i := range od.Fields().Len() {
			if r.index.Has(join(parent(path), string(od.Fields().Get(i).Name()))) {
				return // it says so, and its value is refused already
			}
		}
		choices = ": " + oneOf(members(od))
	}
	r.refuse(r.index.entry(parent(path)), "kind.missing", path, title, "exactly one key says so"+choices)
}

// choice finds the descriptor of the choice at a path such as steps[0].kind.
func (r *reader) choice(path string) protoreflect.OneofDescriptor {
	md, last := r.owner(path)
	if md == nil {
		return nil
	}
	return md.Oneofs().ByName(last)
}

// fieldAt finds the descriptor of the field at a path, of the list where it ends at an item.
func (r *reader) fieldAt(path string) protoreflect.FieldDescriptor {
	md, last := r.owner(path)
	if md == nil {
		return nil
	}
	return md.Fields().ByName(last)
}

// owner finds the message that a path's last step belongs to, and the name of that step; nil where
// the path leaves the schema.
func (r *reader) owner(path string) (protoreflect.MessageDescriptor, protoreflect.Name) {
	md := r.root
	steps := strings.Split(path, ".")
	for i := range steps {
		name, _, _ := strings.Cut(steps[i], "[")
		if i == len(steps)-1 {
			return md, protoreflect.Name(name)
		}
		fd := md.Fields().ByName(protoreflect.Name(name))
		if fd == nil || fd.Message() == nil {
			break
		}
		md = fd.Message()
	}
	return nil, ""
}

// missingAdvice shows the key to write, and what its value looks like.
func missingAdvice(fd protoreflect.FieldDescriptor) string {
	return fmt.Sprintf("`%s:` with %s", fd.Name(), wanted(fd, false))
}

// word quotes a word, and leaves a number bare.
func word(fd protoreflect.FieldDescriptor, raw string) string {
	if fd.Kind() == protoreflect.StringKind {
		return fmt.Sprintf("%q", short(raw))
	}
	return short(raw)
}

// wordAdvice lists the words, and the nearest.
func wordAdvice(raw string, fd protoreflect.FieldDescriptor) string {
	words := vocabulary(fd)
	near, ok := finding.Nearest(raw, words)
	ok = ok && !slices.Contains(words, "off") // a slip away from `off` is one away from `on` too, its contrary
	for _, w := range words {
		if letters(w) == letters(raw) {
			near, ok = w, true
		}
	}
	if meant := map[string]string{"no": "off", "false": "off", "yes": "on", "true": "on"}[letters(raw)]; meant != "" {
		near, ok = meant, slices.Contains(words, meant)
	}
	if ok && fd.Kind() == protoreflect.StringKind {
		return fmt.Sprintf("did you mean %s? It is one of: %s", near, oneOf(words))
	}
	return "it has to be " + oneOf(words)
}

// patternAdvice says what the text has to look like, and offers an id made out of it.
func patternAdvice(raw string, fd protoreflect.FieldDescriptor) string {
	advice := "it has to be " + wanted(fd, true)
	if !isID(fd) {
		return advice
	}
	slug := strings.Trim(strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z' || c >= '0' && c <= '9':
			return c
		case c >= 'A' && c <= 'Z':
			return c - 'A' + 'a'
		}
		return '-'
	}, raw), "-")
	if slug == "" || len(slug) > 40 {
		return advice
	}
	return advice + "; for instance " + slug
}

func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

// countAdvice says how many entries a list may have.
func countAdvice(fd protoreflect.FieldDescriptor) string {
	rules := rulesOf(fd, false).GetRepeated()
	switch {
	case rules.HasMinItems() && rules.HasMaxItems():
		return fmt.Sprintf("it has to have %d to %d", rules.GetMinItems(), rules.GetMaxItems())
	case rules.HasMinItems():
		return fmt.Sprintf("it has to have at least %d", rules.GetMinItems())
	}
	return fmt.Sprintf("it may have at most %d", rules.GetMaxItems())
}

// repeated points at each entry of a list that stands there already.
func (r *reader) repeated(path string, v *protovalidate.Violation) {
	first := map[string]int{}
	list := v.FieldValue.List()
	for i := range list.Len() {
		text := list.Get(i).String()
		if before, ok := first[text]; ok {
			r.refuse(r.index.find(item(path, i), 0), "value.twice", item(path, i),
				fmt.Sprintf("%q is in %s twice", short(text), v.FieldDescriptor.Name()),
				fmt.Sprintf("it is entry %d already: keep one", before+1))
			continue
		}
		first[text] = i
	}
}
