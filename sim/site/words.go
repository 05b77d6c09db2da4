package site

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

const durationName protoreflect.FullName = "google.protobuf.Duration"

// rulesOf returns the rules that the schema states for a value of fd: those of its items if fd is
// a list and item is asked for. Never nil.
func rulesOf(fd protoreflect.FieldDescriptor, item bool) *validate.FieldRules {
	rules, _ := proto.GetExtension(fd.Options(), validate.E_Field).(*validate.FieldRules)
	if item && fd.IsList() {
		rules = rules.GetRepeated().GetItems()
	}
	if rules == nil {
		return &validate.FieldRules{}
	}
	return rules
}

// members names the keys of a choice.
func members(od protoreflect.OneofDescriptor) []string {
	if od == nil {
		return nil
	}
	names := make([]string, od.Fields().Len())
	for i := range names {
		names[i] = string(od.Fields().Get(i).Name())
	}
	return names
}

// vocabulary lists the allowed values of a text or number field; the empty word, which in the
// schema stands for an absent key, is not one of them.
func vocabulary(fd protoreflect.FieldDescriptor) []string {
	rules := rulesOf(fd, true)
	var words []string
	for _, w := range rules.GetString().GetIn() {
		if w != "" {
			words = append(words, w)
		}
	}
	for _, n := range rules.GetUint32().GetIn() {
		words = append(words, strconv.FormatUint(uint64(n), 10))
	}
	return words
}

// patternWords puts the schema's patterns into words. A test holds that every pattern is here.
var patternWords = map[string]string{
	`^[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?$`:    "an id: at most 40 lower-case letters, digits and hyphens, no hyphen at either end",
	`^([a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?)?$`: "an id: at most 40 lower-case letters, digits and hyphens, no hyphen at either end",
	`^[^\s/,]([^/,\n\r\t]{0,38}[^\s/,])?$`:    "a label: at most 40 printable characters, no slash, comma or line end, no blank at either end",
}

// isID tells whether the field holds an id.
func isID(fd protoreflect.FieldDescriptor) bool {
	return strings.HasPrefix(patternWords[rulesOf(fd, true).GetString().GetPattern()], "an id")
}

// wanted says what a value of fd has to look like; item asks for one item of a list.
func wanted(fd protoreflect.FieldDescriptor, item bool) string {
	if fd.IsList() && !item {
		return "a list, each item " + wanted(fd, true)
	}
	if words := vocabulary(fd); len(words) > 0 {
		return oneOf(words)
	}
	rules := rulesOf(fd, true)
	switch fd.Kind() {
	case protoreflect.BoolKind:
		return "true or false"
	case protoreflect.StringKind:
		if words, ok := patternWords[rules.GetString().GetPattern()]; ok {
			return words
		}
		if n := rules.GetString().GetMaxLen(); n > 0 {
			return fmt.Sprintf("a text of at most %d characters", n)
		}
		return "a text"
	case protoreflect.MessageKind:
		if fd.Message().FullName() == durationName {
			return "a duration such as 1m30s, 0.5s or 250ms" + bounds(rules, fd)
		}
		if fd.Message().Fields().Len() == 0 {
			return "a map without keys: {}"
		}
		return "a map with keys such as " + sampleKeys(fd.Message())
	case protoreflect.DoubleKind, protoreflect.FloatKind:
		return "a number" + ofUnit(string(fd.Name())) + bounds(rules, fd)
	default:
		return "a whole number" + ofUnit(string(fd.Name())) + bounds(rules, fd)
	}
}

// oneOf lists words as alternatives.
func oneOf(words []string) string {
	if len(words) == 1 {
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// sampleKeys names the first few keys of a message.
func sampleKeys(md protoreflect.MessageDescriptor) string {
	names := fieldNames(md)
	if len(names) > 5 {
		return strings.Join(names[:5], ", ")
	}
	return strings.Join(names, ", ")
}

// fieldNames lists the keys of a message in the order of the schema.
func fieldNames(md protoreflect.MessageDescriptor) []string {
	names := make([]string, md.Fields().Len())
	for i := range names {
		names[i] = string(md.Fields().Get(i).Name())
	}
	return names
}

// units are the endings of number keys, longest first.
var units = []struct{ ending, words string }{
	{"_pf_per_m", "picofarads per metre"}, {"_pct_per_m", "percent per metre"}, {"ohm_per_km", "ohms per kilometre"},
	{"_mm2", "square millimetres"}, {"_m2", "square metres"}, {"_ohm", "ohms"}, {"ohm", "ohms"}, {"_ma", "milliamperes"},
	{"_ah", "ampere-hours"}, {"_a", "amperes"}, {"_v", "volts"}, {"_w", "watts"}, {"_m", "metres"}, {"_c", "degrees Celsius"},
}

// ofUnit names the unit at the end of a key: " of metres"; empty if there is none.
func ofUnit(key string) string {
	for _, u := range units {
		if strings.HasSuffix(key, u.ending) {
			return " of " + u.words
		}
	}
	return ""
}

// bounds puts a field's range into words, such as ", more than 0 and at most 60".
func bounds(rules *validate.FieldRules, fd protoreflect.FieldDescriptor) string {
	var over any
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		over = rules.GetDouble()
	case protoreflect.Uint32Kind:
		over = rules.GetUint32()
	case protoreflect.MessageKind:
		over = rules.GetDuration()
	}
	m, ok := over.(proto.Message)
	if !ok || !m.ProtoReflect().IsValid() {
		return ""
	}
	low, lowOpen, hasLow := bound(m, "gt", "gte")
	high, highOpen, hasHigh := bound(m, "lt", "lte")
	switch {
	case !hasLow && !hasHigh:
		return ""
	case hasLow && hasHigh && !lowOpen && !highOpen:
		return fmt.Sprintf(", %s to %s", low, high)
	}
	var parts []string
	if hasLow {
		parts = append(parts, map[bool]string{true: "more than ", false: "at least "}[lowOpen]+low)
	}
	if hasHigh {
		parts = append(parts, map[bool]string{true: "less than ", false: "at most "}[highOpen]+high)
	}
	return ", " + strings.Join(parts, " and ")
}

// bound reads one end of a range out of a rule message: the value in words, and whether the end
// itself is excluded.
func bound(m proto.Message, open, closed protoreflect.Name) (words string, isOpen, ok bool) {
	fields := m.ProtoReflect().Descriptor().Fields()
	for _, name := range []protoreflect.Name{open, closed} {
		fd := fields.ByName(name)
		if fd == nil || !m.ProtoReflect().Has(fd) {
			continue
		}
		return valueWords(fd, m.ProtoReflect().Get(fd)), name == open, true
	}
	return "", false, false
}

// valueWords prints a number or a duration as a file would say it.
func valueWords(fd protoreflect.FieldDescriptor, v protoreflect.Value) string {
	switch fd.Kind() {
	case protoreflect.DoubleKind:
		return strconv.FormatFloat(v.Float(), 'f', -1, 64)
	case protoreflect.MessageKind:
		d := v.Message()
		seconds := d.Get(d.Descriptor().Fields().ByName("seconds")).Int()
		nanos := d.Get(d.Descriptor().Fields().ByName("nanos")).Int()
		return durationWords(time.Duration(seconds)*time.Second + time.Duration(nanos))
	default:
		return v.String()
	}
}

// durationWords prints a duration without zero parts: 24h, not 24h0m0s.
func durationWords(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	if s == "0s" {
		return "0"
	}
	return s
}
