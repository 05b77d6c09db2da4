package site

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// reader reads one file's node tree into a message, guided by the message's descriptor.
//
// It goes on after a problem: a value that cannot be read stays unset and its path is spoiled, so
// that its absence is not reported as a second problem. A mistyped key with one near neighbour is
// read as that neighbour, for the same reason.
type reader struct {
	file     string
	index    *Index
	findings []*pb.Finding
	spoiled  map[string]bool // paths at or below which the schema's rules are not judged
	root     protoreflect.MessageDescriptor
	cut      bool // more of the file stands behind its document: keys of the root may be there
}

// plainRoot refuses a file whose root is an alias, tagged or null.
func (r *reader) plainRoot(n *yaml.Node) bool {
	switch {
	case n.Style&yaml.TaggedStyle != 0 || n.Anchor != "":
		r.refuse(posOf(n), "yaml.tag", "", "the file begins with a YAML tag or anchor", "tags and anchors are not used: take it out")
	case n.Kind == yaml.ScalarNode && n.Tag == "!!null":
		r.refuse(pos{1, 1}, "file.empty", "", "the file is empty", "`loopdrill new` writes one to start from")
	default:
		return true
	}
	return false
}

// refuse records a problem at a place, and spoils the path.
func (r *reader) refuse(p pos, code, path, title, detail string) {
	r.spoiled[path] = true
	r.findings = append(r.findings, p.at(r.file, finding.Refuse(code, path, title, detail)))
}

// join appends a key to a path.
func join(path string, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// item appends an index to a path.
func item(path string, i int) string { return path + "[" + strconv.Itoa(i) + "]" }

// message reads a mapping into m. The node is known not to be an alias, tagged or null.
func (r *reader) message(n *yaml.Node, m protoreflect.Message, path, name string) {
	if n.Kind != yaml.MappingNode {
		r.refuse(posOf(n), "value.type", path, fmt.Sprintf("%s is %s", name, readAs(n)), mapAdvice(n, name, m.Descriptor()))
		return
	}
	entry := r.keys(n, m.Descriptor(), path)
	for _, e := range entry.fields {
		at := join(path, string(e.field.Name()))
		r.index.put(at, place{key: posOf(e.key), node: e.value, keyed: true})
		r.field(e.value, m, e.field, at)
	}
	r.choices(entry, m.Descriptor(), path)
}

// mapAdvice says how a map is written.
func mapAdvice(n *yaml.Node, name string, md protoreflect.MessageDescriptor) string {
	switch {
	case md.Fields().Len() == 0:
		return fmt.Sprintf("write `%s: {}`", name)
	case n.Tag == "!!bool":
		return fmt.Sprintf("write `%s: {}`, or a map with keys such as %s", name, sampleKeys(md))
	case n.Kind == yaml.ScalarNode && n.Tag == "!!str" && md.Fields().Len() == 1 && md.Fields().Get(0).Kind() == protoreflect.StringKind && !md.Fields().Get(0).IsList():
		return fmt.Sprintf("write `%s: {%s: %s}`", name, md.Fields().Get(0).Name(), short(n.Value))
	}
	return fmt.Sprintf("write a map with keys such as %s", sampleKeys(md))
}

// field reads the value of one key into m.
func (r *reader) field(n *yaml.Node, m protoreflect.Message, fd protoreflect.FieldDescriptor, path string) {
	if !r.plainNode(n, fd, path) {
		return
	}
	name := string(fd.Name())
	switch {
	case fd.IsList():
		r.list(n, m, fd, path)
	case fd.Kind() == protoreflect.MessageKind && fd.Message().FullName() != durationName:
		if on, ok := boolForMap(n, fd); ok {
			if on {
				m.Mutable(fd)
			}
			return
		}
		r.message(n, m.Mutable(fd).Message(), path, name)
	default:
		if v, ok := r.scalar(n, fd, path); ok {
			m.Set(fd, v)
		}
	}
}

// isolatorName is the one message for which a file may write true or false: `isolator: true`
// beside a kind reads as `isolator: {}`.
const isolatorName protoreflect.FullName = "loopdrill.v1.Isolator"

func boolForMap(n *yaml.Node, fd protoreflect.FieldDescriptor) (on, ok bool) {
	if fd.Message().FullName() != isolatorName || n.Kind != yaml.ScalarNode || n.Style != 0 {
		return false, false
	}
	return n.Value == "true", n.Value == "true" || n.Value == "false"
}

// list reads a sequence into a repeated field.
func (r *reader) list(n *yaml.Node, m protoreflect.Message, fd protoreflect.FieldDescriptor, path string) {
	name := string(fd.Name())
	if n.Kind != yaml.SequenceNode {
		detail := "a list is written with `- ` before each entry, or in brackets"
		if n.Kind == yaml.ScalarNode && fd.Kind() != protoreflect.MessageKind {
			detail = fmt.Sprintf("write `%s: [%s]`", name, short(n.Value))
		}
		r.refuse(posOf(n), "value.type", path, fmt.Sprintf("%s is %s, and has to be a list", name, readAs(n)), detail)
		return
	}
	list := m.Mutable(fd).List()
	for i, child := range n.Content {
		at := item(path, i)
		r.index.put(at, place{key: posOf(child), node: child})
		ok := r.plainNode(child, fd, at)
		switch {
		case fd.Kind() == protoreflect.MessageKind:
			// An entry that cannot be read keeps its place, so that paths stay right.
			entry := list.AppendMutable().Message()
			if ok {
				r.message(child, entry, at, "this entry of "+name)
			}
		case ok:
			v, read := r.scalar(child, fd, at)
			if !read {
				v = list.NewElement()
			}
			list.Append(v)
		default:
			list.Append(list.NewElement())
		}
	}
}

// plainNode refuses what the decoder would resolve in silence: aliases, anchors, tags and null.
func (r *reader) plainNode(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) bool {
	name := called(fd, path)
	switch {
	case n.Kind == yaml.AliasNode:
		r.refuse(posOf(n), "yaml.alias", path, fmt.Sprintf("%s is the YAML alias *%s", name, n.Value),
			"aliases are not used: write the value out, or put the text in quotes")
		return false
	case n.Anchor != "":
		r.refuse(posOf(n), "yaml.anchor", path, fmt.Sprintf("&%s begins a YAML anchor", n.Anchor),
			"anchors are not used: take it out, or put the text in quotes")
		return false
	case n.Style&yaml.TaggedStyle != 0:
		r.tagged(n, fd, path)
		return false
	case n.Kind == yaml.ScalarNode && n.Tag == "!!null":
		r.null(n, fd, path)
		return false
	}
	return true
}

// tagged explains a YAML tag; where a text is wanted it was an unquoted `!`, unless it is one of
// YAML's own tags.
func (r *reader) tagged(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) {
	if fd.Kind() != protoreflect.StringKind || n.Kind != yaml.ScalarNode || ownTag.MatchString(n.Tag) {
		r.refuse(posOf(n), "yaml.tag", path, fmt.Sprintf("%s carries the YAML tag %s", called(fd, path), short(n.Tag)), "tags are not used: write the bare value")
		return
	}
	text := n.Tag
	if n.Value != "" {
		text += " " + n.Value
	}
	r.refuse(posOf(n), "yaml.tag", path,
		fmt.Sprintf("an unquoted `!` begins a YAML tag: %s would have vanished from %s", short(n.Tag), fd.Name()),
		"put the whole text in double quotes: "+quoteOutside(text))
}

var ownTag = regexp.MustCompile(`^!!(str|int|float|bool|null|map|seq|binary|timestamp|set|omap)$`)

// called names a field, or one entry of it.
func called(fd protoreflect.FieldDescriptor, path string) string {
	if fd.IsList() && strings.HasSuffix(path, "]") {
		return "this entry of " + string(fd.Name())
	}
	return string(fd.Name())
}

// quoteOutside writes an expression in double quotes, with single quotes inside where it can.
func quoteOutside(text string) string {
	out := []rune{'"'}
	for _, c := range text {
		switch c {
		case '"':
			c = '\''
		case '\\':
			out = append(out, '\\')
		}
		out = append(out, c)
	}
	return string(append(out, '"'))
}

// null explains a key without a value.
func (r *reader) null(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) {
	name, isItem := called(fd, path), strings.HasSuffix(path, "]")
	title := name + " has no value"
	if n.Value != "" {
		title = fmt.Sprintf("%s is null (%s)", name, n.Value)
	}
	var detail string
	switch {
	case fd.IsList() && !isItem:
		detail = "write a list, each entry " + wanted(fd, true) + orLeaveOut(fd, isItem)
	case fd.Kind() == protoreflect.MessageKind && fd.Message().FullName() != durationName && !isItem:
		detail = fmt.Sprintf("write `%s: {}`", fd.Name())
		if fd.Message().Fields().Len() > 0 {
			detail += " if every default is right"
		}
	case fd.Kind() == protoreflect.StringKind && n.Value != "":
		detail = fmt.Sprintf("if the text %s is meant, write it in quotes", n.Value)
	default:
		detail = "write " + wanted(fd, isItem) + orLeaveOut(fd, isItem)
	}
	r.refuse(posOf(n), "value.null", path, title, detail)
}

// orLeaveOut offers to leave a key or an entry out, where the schema does not require it.
func orLeaveOut(fd protoreflect.FieldDescriptor, isItem bool) string {
	switch {
	case isItem:
		return ", or leave the entry out"
	case rulesOf(fd, false).GetRequired():
		return ""
	}
	return ", or leave the key out"
}

// readAs says what a node is, in words.
func readAs(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a map"
	case yaml.SequenceNode:
		return "a list"
	}
	if n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
		return "the quoted text " + strconv.Quote(short(n.Value))
	}
	switch n.Tag {
	case "!!int", "!!float":
		return "the number " + short(n.Value)
	case "!!bool":
		return n.Value
	}
	return "the text " + strconv.Quote(short(n.Value))
}

// short cuts a long text for a message.
func short(text string) string {
	runes := []rune(text)
	if len(runes) > 60 {
		return string(runes[:57]) + "..."
	}
	return text
}
