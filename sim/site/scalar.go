package site

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
)

const quoted = yaml.SingleQuotedStyle | yaml.DoubleQuotedStyle | yaml.LiteralStyle | yaml.FoldedStyle

// scalar reads one value of fd. On false a problem was recorded.
func (r *reader) scalar(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	if n.Kind != yaml.ScalarNode {
		return r.wrongType(n, fd, path, "")
	}
	switch fd.Kind() {
	case protoreflect.StringKind:
		return r.text(n, fd, path)
	case protoreflect.BoolKind:
		return r.boolean(n, fd, path)
	case protoreflect.DoubleKind:
		return r.number(n, fd, path)
	case protoreflect.Uint32Kind:
		return r.whole(n, fd, path, 32)
	case protoreflect.Uint64Kind:
		return r.whole(n, fd, path, 64)
	case protoreflect.MessageKind:
		return r.duration(n, fd, path)
	}
	panic(fmt.Sprintf("site: the schema has a field of kind %v (%s), which no file can hold", fd.Kind(), fd.FullName()))
}

// wrongType says what was read and what is wanted; hint, if any, says how to put it right.
func (r *reader) wrongType(n *yaml.Node, fd protoreflect.FieldDescriptor, path, hint string) (protoreflect.Value, bool) {
	return r.wrong(n, "value.type", fd, path, hint)
}

func (r *reader) wrong(n *yaml.Node, code string, fd protoreflect.FieldDescriptor, path, hint string) (protoreflect.Value, bool) {
	detail := "it has to be " + wanted(fd, true)
	if hint != "" {
		detail = hint + "; " + detail
	}
	r.refuse(posOf(n), code, path, fmt.Sprintf("%s is %s", called(fd, path), readAs(n)), detail)
	return protoreflect.Value{}, false
}

// text reads a string: any scalar, exactly as it is written.
func (r *reader) text(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	if n.Value == "" {
		r.refuse(posOf(n), "value.empty", path, called(fd, path)+" is empty", "write "+wanted(fd, true)+orLeaveOut(fd, strings.HasSuffix(path, "]")))
		return protoreflect.Value{}, false
	}
	for i, c := range []rune(n.Value) {
		if c != '\n' && c != '\t' && !unicode.IsGraphic(c) {
			r.refuse(posOf(n), "value.text", path, fmt.Sprintf("%s holds the character U+%04X, which cannot be printed", fd.Name(), c),
				fmt.Sprintf("take out character %d of the text", i+1))
			return protoreflect.Value{}, false
		}
	}
	return protoreflect.ValueOfString(n.Value), true
}

// boolean reads true or false; the other words of older YAML are words.
func (r *reader) boolean(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	word := strings.ToLower(n.Value)
	switch {
	case n.Style&quoted != 0 && (word == "true" || word == "false"):
		return r.wrongType(n, fd, path, "take the quotes away")
	case n.Value == "true" || n.Value == "false":
		return protoreflect.ValueOfBool(n.Value == "true"), true
	}
	switch word {
	case "yes", "on", "true", "y", "1":
		return r.wrongType(n, fd, path, "write true")
	case "no", "off", "false", "n", "0":
		return r.wrongType(n, fd, path, "write false")
	}
	return r.wrongType(n, fd, path, "")
}

var (
	decimal      = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)
	wholeNumber  = regexp.MustCompile(`^-?(0|[1-9][0-9]*)$`)
	withLetters  = regexp.MustCompile(`^(-?[0-9]+(?:\.[0-9]+)?) ?[a-zA-Z%µΩ°²/]+$`)
	wholeTail    = regexp.MustCompile(`^-?[0-9]+\.0+$`)
	decimalComma = regexp.MustCompile(`^-?[0-9]+,[0-9]+$`)
	negativeZero = regexp.MustCompile(`^-0(\.0+)?([eE].*)?$`)
	leadingZero  = regexp.MustCompile(`^[-+]?0[0-9]`)
	otherBase    = regexp.MustCompile(`^[-+]?0[xXoObB][0-9a-fA-F_]+$`)
	notANumber   = regexp.MustCompile(`^[-+]?\.?(?i:nan|inf|infinity)$`)
)

// number reads a decimal number; it is finite and zero has no sign.
func (r *reader) number(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	if !decimal.MatchString(n.Value) || n.Style&quoted != 0 || negativeZero.MatchString(n.Value) {
		return r.badNumber(n, fd, path)
	}
	v, err := strconv.ParseFloat(n.Value, 64)
	if err != nil || math.IsInf(v, 0) {
		return r.wrong(n, "value.range", fd, path, "it is too large")
	}
	return protoreflect.ValueOfFloat64(v), true
}

// whole reads an unsigned whole number.
func (r *reader) whole(n *yaml.Node, fd protoreflect.FieldDescriptor, path string, bits int) (protoreflect.Value, bool) {
	if !wholeNumber.MatchString(n.Value) || n.Style&quoted != 0 || n.Value == "-0" {
		return r.badNumber(n, fd, path)
	}
	if strings.HasPrefix(n.Value, "-") {
		return r.wrong(n, "value.range", fd, path, "it cannot be negative")
	}
	v, err := strconv.ParseUint(n.Value, 10, bits)
	if err != nil {
		return r.wrong(n, "value.range", fd, path, "it is too large")
	}
	if bits == 32 {
		return protoreflect.ValueOfUint32(uint32(v)), true
	}
	return protoreflect.ValueOfUint64(v), true
}

// badNumber finds out what is wrong with a number.
func (r *reader) badNumber(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	text := n.Value
	switch {
	case n.Style&quoted != 0 && decimal.MatchString(text):
		return r.wrongType(n, fd, path, "take the quotes away")
	case n.Style&quoted != 0:
		return r.wrongType(n, fd, path, "")
	case notANumber.MatchString(text):
		return r.wrong(n, "number.form", fd, path, "it is not a finite number")
	case otherBase.MatchString(text) || strings.Contains(text, "_") && digitsOnly(text):
		if v, err := strconv.ParseInt(strings.ReplaceAll(text, "_", ""), 0, 64); err == nil {
			return r.wrong(n, "number.form", fd, path, fmt.Sprintf("numbers are decimal, without underscores: write %d", v))
		}
		return r.wrong(n, "number.form", fd, path, "numbers are decimal, without underscores")
	case leadingZero.MatchString(text) && digitsOnly(text):
		return r.wrong(n, "number.form", fd, path, "a leading zero can be read as octal: write "+trimZeros(text))
	case strings.HasPrefix(text, "+") || strings.HasPrefix(text, ".") || strings.HasSuffix(text, ".") || negativeZero.MatchString(text):
		return r.wrong(n, "number.form", fd, path, "numbers begin and end with a digit, without a plus sign, and zero has no sign")
	case decimal.MatchString(text) && strings.ContainsAny(text, "eE"):
		return r.wrong(n, "number.form", fd, path, "a whole number has no exponent: write it out")
	case wholeTail.MatchString(text):
		return r.wrongType(n, fd, path, "write "+text[:strings.IndexByte(text, '.')])
	case decimalComma.MatchString(text):
		return r.wrong(n, "number.form", fd, path, "the decimal sign is a point: write "+strings.Replace(text, ",", ".", 1))
	}
	if m := withLetters.FindStringSubmatch(text); m != nil {
		return r.wrongType(n, fd, path, "the unit stands in the key's name: write "+m[1])
	}
	return r.wrongType(n, fd, path, "")
}

func digitsOnly(text string) bool {
	return strings.Trim(text, "+-0123456789._eE") == ""
}

// trimZeros takes leading zeros away, and keeps one digit before a point or the end.
func trimZeros(text string) string {
	sign := ""
	if strings.HasPrefix(text, "-") {
		sign, text = "-", text[1:]
	}
	text = strings.TrimLeft(text, "+0")
	if text == "" || text[0] < '0' || text[0] > '9' {
		text = "0" + text
	}
	return sign + text
}

// duration reads a duration (rule A2).
func (r *reader) duration(n *yaml.Node, fd protoreflect.FieldDescriptor, path string) (protoreflect.Value, bool) {
	d, hint := parseDuration(n.Value)
	if hint != "" {
		return r.wrong(n, "duration.form", fd, path, hint)
	}
	return protoreflect.ValueOfMessage(durationpb.New(d).ProtoReflect()), true
}
