package site

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/proto/finding"
)

// keyed is one key of a mapping that is a field of its message.
type keyed struct {
	key, value *yaml.Node
	field      protoreflect.FieldDescriptor
}

// entry is a mapping with its keys resolved.
type entry struct {
	node    *yaml.Node
	fields  []keyed
	strange bool // an unknown key holds a map, and may have been meant as the kind
}

// keys resolves the keys of a mapping. Unknown, mistyped and duplicate keys are refused at the
// key; of a duplicate the first counts.
func (r *reader) keys(n *yaml.Node, md protoreflect.MessageDescriptor, path string) entry {
	e := entry{node: n}
	first := map[string]pos{}
	taken := map[protoreflect.Name]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if k := n.Content[i]; k.Kind == yaml.ScalarNode && md.Fields().ByName(protoreflect.Name(k.Value)) != nil {
			taken[protoreflect.Name(k.Value)] = true
		}
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		if !r.plainKey(key, path) {
			continue
		}
		if at, ok := first[key.Value]; ok {
			r.refuse(posOf(key), "key.duplicate", join(path, key.Value), fmt.Sprintf("the key %s is here twice", short(key.Value)),
				fmt.Sprintf("it stands in line %d already, with another value or the same: keep one", at.line))
			continue
		}
		first[key.Value] = posOf(key)
		fd := md.Fields().ByName(protoreflect.Name(key.Value))
		if fd == nil {
			if fd = r.unknownKey(key, value, md, path, taken); fd == nil {
				e.strange = e.strange || value.Kind == yaml.MappingNode
				continue
			}
			taken[fd.Name()] = true
		}
		e.fields = append(e.fields, keyed{key, value, fd})
	}
	return e
}

// plainKey refuses keys that are no plain words.
func (r *reader) plainKey(key *yaml.Node, path string) bool {
	at := join(path, short(key.Value))
	switch {
	case key.Kind == yaml.AliasNode || key.Anchor != "":
		r.refuse(posOf(key), "yaml.alias", at, "a key is a YAML alias or carries an anchor", "aliases and anchors are not used: write the key out")
	case key.Kind != yaml.ScalarNode:
		r.refuse(posOf(key), "key.unknown", at, "a key is "+readAs(key), "keys are plain words")
	case key.Tag == "!!merge":
		r.refuse(posOf(key), "yaml.merge", at, "`<<` is a YAML merge key", "merge keys are not used: write the keys out")
	case key.Style&yaml.TaggedStyle != 0:
		r.refuse(posOf(key), "yaml.tag", at, fmt.Sprintf("a key carries the YAML tag %s", short(key.Tag)), "tags are not used: write the bare key")
	default:
		return true
	}
	return false
}

// unknownKey refuses a key that the message does not have. It returns the field that was meant,
// if one that the map does not have yet is near enough, else nil.
func (r *reader) unknownKey(key, value *yaml.Node, md protoreflect.MessageDescriptor, path string, taken map[protoreflect.Name]bool) protoreflect.FieldDescriptor {
	meant, detail := nearestKey(key.Value, value, md, taken)
	if detail == "" {
		detail = strangeKey(key.Value, md)
	}
	r.refuse(posOf(key), keyCode(key.Value, meant), join(path, short(key.Value)), fmt.Sprintf("there is no key %q", short(key.Value)), detail)
	if meant != nil && taken[meant.Name()] {
		return nil
	}
	return meant
}

// keyCode tells a key in another case from an unknown one.
func keyCode(key string, meant protoreflect.FieldDescriptor) string {
	if meant != nil && letters(key) == letters(string(meant.Name())) {
		return "key.case"
	}
	return "key.unknown"
}

// nearestKey finds the field that a mistyped key was meant to be, and the sentence that says so.
// Fields that the map has already, or that cannot hold such a value, are not meant.
func nearestKey(key string, value *yaml.Node, md protoreflect.MessageDescriptor, taken map[protoreflect.Name]bool) (protoreflect.FieldDescriptor, string) {
	if fd := sameLetters(key, md); fd != nil {
		return fd, fmt.Sprintf("keys are lower-case words joined by underscores: write %s", fd.Name())
	}
	if fd := withUnit(key, md); fd != nil {
		return fd, fmt.Sprintf("did you mean %s? The unit stands at the end of the key", fd.Name())
	}
	if len(key) < 3 {
		return nil, ""
	}
	var names []string
	for i := range md.Fields().Len() {
		if fd := md.Fields().Get(i); !taken[fd.Name()] && couldHold(fd, value) {
			names = append(names, string(fd.Name()))
		}
	}
	if near, ok := finding.Nearest(key, names); ok {
		return md.Fields().ByName(protoreflect.Name(near)), fmt.Sprintf("did you mean %s?", near)
	}
	return nil, ""
}

// couldHold tells whether a node has the shape that a field wants.
func couldHold(fd protoreflect.FieldDescriptor, n *yaml.Node) bool {
	switch {
	case n.Kind == yaml.ScalarNode && n.Tag == "!!null" || n.Kind == yaml.AliasNode:
		return true
	case fd.IsList():
		return n.Kind == yaml.SequenceNode
	case fd.Kind() == protoreflect.MessageKind && fd.Message().FullName() != durationName:
		return n.Kind == yaml.MappingNode
	}
	return n.Kind == yaml.ScalarNode
}

// strangeKey says where a key that is near no other belongs, or which keys there are.
func strangeKey(key string, md protoreflect.MessageDescriptor) string {
	names := fieldNames(md)
	switch where := oneLevelIn(key, md); {
	case len(names) == 0:
		return "this entry takes no keys"
	case where != "":
		return "it belongs under " + where
	case strings.ContainsRune(key, '\u00a0'):
		return "a no-break space, as text programs write it, is no blank: type an ordinary one behind the colon"
	case digitsOnly(key):
		return "a comma ends the value before it: the decimal sign is a point, and a text with a comma needs quotes"
	}
	return "keys here: " + finding.Sample(names, 24)
}

// sameLetters finds the field that differs from key only in case, hyphens and underscores, such
// as cableM or cable-m for cable_m.
func sameLetters(key string, md protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	for i := range md.Fields().Len() {
		if fd := md.Fields().Get(i); letters(string(fd.Name())) == letters(key) {
			return fd
		}
	}
	return nil
}

// letters reduces a key to its letters and digits in lower case.
func letters(key string) string {
	return strings.ToLower(strings.NewReplacer("_", "", "-", "", " ", "").Replace(key))
}

// withUnit finds the one field that is key with a unit behind it, such as current_ma for current.
func withUnit(key string, md protoreflect.MessageDescriptor) protoreflect.FieldDescriptor {
	var found protoreflect.FieldDescriptor
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		name := string(fd.Name())
		if !strings.HasPrefix(name, key+"_") || ofUnit(strings.TrimPrefix(name, key)) == "" {
			continue
		}
		if found != nil {
			return nil
		}
		found = fd
	}
	return found
}

// oneLevelIn names the keys whose maps have key among theirs; empty if there is none.
func oneLevelIn(key string, md protoreflect.MessageDescriptor) string {
	var owners []string
	for i := range md.Fields().Len() {
		fd := md.Fields().Get(i)
		if fd.Kind() == protoreflect.MessageKind && fd.Message().Fields().ByName(protoreflect.Name(key)) != nil && fd.Message().FullName() != durationName {
			owners = append(owners, string(fd.Name()))
		}
	}
	if len(owners) == 0 || len(owners) > 4 {
		return ""
	}
	return oneOf(owners)
}

// choices holds rule A6: of a choice exactly one key, and for a device none only where an
// isolator stands alone.
func (r *reader) choices(e entry, md protoreflect.MessageDescriptor, path string) {
	for i := range md.Oneofs().Len() {
		od := md.Oneofs().Get(i)
		if od.IsSynthetic() {
			continue
		}
		var present []keyed
		for _, k := range e.fields {
			if k.field.ContainingOneof() == od {
				present = append(present, k)
			}
		}
		at := join(path, string(od.Name()))
		switch {
		case len(present) > 1:
			for _, second := range present[1:] {
				r.refuse(posOf(second.key), "kind.several", at,
					fmt.Sprintf("the entry says %s already and cannot say %s too", present[0].field.Name(), second.field.Name()),
					fmt.Sprintf("keep one of them; %s stands in line %d", present[0].field.Name(), present[0].key.Line))
			}
		case len(present) == 0 && e.strange:
			r.spoiled[at] = true
		case len(present) == 0 && md.FullName() == "loopdrill.v1.Device" && !e.has("isolator"):
			r.refuse(r.index.entry(path), "kind.missing", at, "this device has no kind",
				"write one of "+oneOf(append(members(od), "isolator"))+", each with a map: `smoke_detector: {}`")
		}
	}
}

// has tells whether a key is present.
func (e entry) has(name protoreflect.Name) bool {
	for _, k := range e.fields {
		if k.field.Name() == name {
			return true
		}
	}
	return false
}
