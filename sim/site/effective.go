package site

import (
	"cmp"
	"fmt"

	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/cadence"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/figure"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Default is a value in force because the file gives none.
type Default struct {
	figure.Default
	Where string // how often it applies, such as `2 of 3 loops`
}

// Effective lists the defaults that are in force in a site, in the order of the models' own
// tables, from which the models read the same values. A default whose key the file writes
// everywhere is left out.
func Effective(m *pb.Site) []Default {
	var out []Default
	for _, model := range [][]figure.Default{loop.Defaults(), wire.Defaults(), circuit.Defaults(), cadence.Defaults(), power.Defaults(), plant.Defaults()} {
		for _, d := range model {
			out = appendInForce(out, m, Default{Default: d})
		}
	}
	out = append(out, programDefaults(m)...)
	out = append(out, detectionDefaults(m)...)
	for _, l := range rule.Of(m.GetRules()).InForce() {
		where := cmp.Or(l.Where(), "always")
		out = append(out, Default{figure.Default{Key: "limit " + l.Name, Value: fmt.Sprintf("%g", l.Value), Source: l.Source()}, where})
	}
	return out
}

// appendInForce counts where a default applies, and keeps it if it does anywhere.
func appendInForce(out []Default, m *pb.Site, d Default) []Default {
	steps := d.Steps()
	if d.Key == "panel.mode" && len(m.GetPanel().GetCalendar()) > 0 {
		d.Value, d.Where = "day; in scenarios and drills as the calendar says", "a calendar is given"
		return append(out, d)
	}
	if len(steps) == 1 || !isField(m, steps) {
		d.Where = "always"
		if namesFigure(m, steps[len(steps)-1]) {
			d.Where = "where not given"
		}
		return append(out, d)
	}
	var missing, all int
	root := m.ProtoReflect()
	if fd := root.Descriptor().Fields().ByName(protoreflect.Name(steps[0])); fd != nil {
		missing, all = countUnset(root, steps)
	} else {
		eachMessage(root, func(parent protoreflect.Message) {
			if fd := parent.Descriptor().Fields().ByName(protoreflect.Name(steps[0])); fd != nil && fd.Message() != nil && !fd.IsList() && hasOrDefaults(parent, fd) {
				missing1, all1 := countUnset(parent, steps)
				missing, all = missing+missing1, all+all1
			}
		})
	}
	switch {
	case missing == 0:
		return out
	case all == 1:
		d.Where = "not given"
	default:
		d.Where = fmt.Sprintf("not given in %d of %d", missing, all)
	}
	return append(out, d)
}

// hasOrDefaults tells whether a message that may stand in parent does, or is a part that the
// engine takes with all its defaults where it is left out (a relay module's contact).
func hasOrDefaults(parent protoreflect.Message, fd protoreflect.FieldDescriptor) bool {
	return parent.Has(fd) || fd.ContainingOneof() == nil && fd.Name() == "contact"
}

// countUnset walks down a path of keys, over every entry of a list, and counts how often the
// last key is not written. Where a message on the way is absent, so are its keys.
func countUnset(m protoreflect.Message, steps []string) (missing, all int) {
	fd := m.Descriptor().Fields().ByName(protoreflect.Name(steps[0]))
	switch {
	case fd == nil:
		return 0, 0
	case len(steps) == 1 && (m.Has(fd) || replaced(m, fd)):
		return 0, 1
	case len(steps) == 1:
		return 1, 1
	case fd.IsList():
		list := m.Get(fd).List()
		for i := range list.Len() {
			missing1, all1 := countUnset(list.Get(i).Message(), steps[1:])
			missing, all = missing+missing1, all+all1
		}
		return missing, all
	}
	return countUnset(m.Get(fd).Message(), steps[1:])
}

// replaced tells whether a figure gives way to another that is written: a current to a power.
func replaced(m protoreflect.Message, fd protoreflect.FieldDescriptor) bool {
	power := m.Descriptor().Fields().ByName("power_w")
	return fd.Name() == "current_ma" && power != nil && m.Has(power)
}

// isField tells whether a key names a field of the schema: from the root, or from any message.
func isField(m *pb.Site, steps []string) bool {
	last := steps[len(steps)-1]
	found := false
	seen := map[protoreflect.FullName]bool{}
	var walk func(md protoreflect.MessageDescriptor)
	walk = func(md protoreflect.MessageDescriptor) {
		if seen[md.FullName()] {
			return
		}
		seen[md.FullName()] = true
		for i := range md.Fields().Len() {
			fd := md.Fields().Get(i)
			if fd.Message() == nil {
				continue
			}
			found = found || string(fd.Name()) == steps[len(steps)-2] && fd.Message().Fields().ByName(protoreflect.Name(last)) != nil
			walk(fd.Message())
		}
	}
	walk(m.ProtoReflect().Descriptor())
	return found
}

// namesFigure tells whether a key ends in a figure that some message of the schema has: then the file can give it.
func namesFigure(m *pb.Site, last string) bool {
	seen := map[protoreflect.FullName]bool{}
	var within func(md protoreflect.MessageDescriptor) bool
	within = func(md protoreflect.MessageDescriptor) bool {
		if seen[md.FullName()] {
			return false
		}
		seen[md.FullName()] = true
		for i := range md.Fields().Len() {
			fd := md.Fields().Get(i)
			switch {
			case fd.Message() != nil && within(fd.Message()), string(fd.Name()) == last && fd.Kind() == protoreflect.DoubleKind:
				return true
			}
		}
		return false
	}
	return within(m.ProtoReflect().Descriptor())
}

// eachMessage visits m and every message in it, in the order of the schema.
func eachMessage(m protoreflect.Message, visit func(protoreflect.Message)) {
	visit(m)
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if fd.Message() == nil || !m.Has(fd) {
			continue
		}
		if !fd.IsList() {
			eachMessage(m.Get(fd).Message(), visit)
			continue
		}
		for j := range m.Get(fd).List().Len() {
			eachMessage(m.Get(fd).List().Get(j).Message(), visit)
		}
	}
}
