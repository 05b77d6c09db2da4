package term

import (
	"fmt"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
)

// Scope says whose condition it is, and so which names are legal.
type Scope uint8

// Scopes.
const (
	Cause       Scope = iota // a cause, or a condition beside an action: what the panel knows
	Matrix                   // a row of the required matrix
	Expectation              // an expectation of a scenario: what the bench sees as well
)

// name is one name that conditions can start from.
type name struct {
	name string
	// of is the type of its argument; nil for the variable `panel`.
	of *cel.Type
	// fields of what it names; a nil list means that the name itself is a condition.
	fields []field
}

// field is one property.
type field struct {
	name  string
	typ   *cel.Type
	bench bool // only the bench can know it
}

// vocabulary lists every name and every property that conditions know. It is the one table
// behind CEL's declarations, the checks of scope, and the nearest names in messages.
func vocabulary() []name {
	yes := func(names ...string) []field {
		fields := make([]field, len(names))
		for i, n := range names {
			fields[i] = field{name: n, typ: cel.BoolType}
		}
		return fields
	}
	bench := func(n string, t *cel.Type) field { return field{name: n, typ: t, bench: true} }
	count := func(n string) field { return field{name: n, typ: cel.IntType} }
	word := func(n string) field { return field{name: n, typ: cel.StringType} }
	area := append(yes("fire", "prealarm", "supervisory", "fault", "disabled", "test"), count("devices_in_fire"), count("detectors_in_fire"))
	zone := append(append([]field{}, area...), yes("confirmed")...)
	return []name{
		{"panel", nil, append(yes("fire", "prealarm", "supervisory", "fault", "disabled", "test", "acknowledged", "silenced", "evacuate", "buzzer"), word("mode"), word("indicated"), bench("stopped", cel.BoolType))},
		{"zone", cel.StringType, zone},
		{"place", cel.StringType, area},
		{"group", cel.StringType, area},
		{"device", cel.StringType, append(yes("fire", "active", "prealarm", "supervisory", "fault", "disabled"), bench("fed", cel.BoolType), bench("reachable", cel.BoolType))},
		{"output", cel.StringType, append([]field{word("commanded")}, append(yes("fault"), bench("on", cel.BoolType), bench("state", cel.StringType), bench("cadence", cel.StringType))...)},
		{"supply", cel.StringType, yes("fault")},
		{"loop", cel.IntType, yes("fault")},
		{"equipment", cel.StringType, append(yes("proven", "disabled"), bench("state", cel.StringType))},
		{"control", cel.StringType, yes("on")},
		{"override", cel.StringType, []field{word("position")}},
		{"load", cel.StringType, []field{bench("on", cel.BoolType), bench("sounding", cel.BoolType)}},
		{"cause", cel.StringType, nil},
	}
}

// loopAlias stands for `loop` while CEL reads the text: CEL reserves that word. It has the same
// length, so that offsets stay what they are.
const loopAlias = "lo_p"

// typeName is the CEL type of what a name names. It holds a space, so that no text can build one.
func typeName(n string) string { return "a " + n }

// declarations builds the environment: the names above, the operators of the subset, and
// nothing else. Whatever else a text uses is then CEL's own error.
func declarations(names []name) (*cel.Env, error) {
	registry, err := types.NewRegistry()
	if err != nil {
		return nil, fmt.Errorf("CEL types: %w", err)
	}
	options := []cel.EnvOption{cel.CustomTypeProvider(provider{registry, names})}
	for _, n := range names {
		result := cel.BoolType
		if n.fields != nil {
			result = cel.ObjectType(typeName(n.name))
		}
		declared := n.name
		if declared == "loop" {
			declared = loopAlias
		}
		if n.of == nil {
			options = append(options, cel.Variable(declared, result))
			continue
		}
		options = append(options, cel.Function(declared, cel.Overload(n.name+"_id", []*cel.Type{n.of}, result)))
	}
	operator := func(symbol, id string, args ...*cel.Type) {
		options = append(options, cel.Function(symbol, cel.Overload(id, args, cel.BoolType)))
	}
	operator("_&&_", "and", cel.BoolType, cel.BoolType)
	operator("_||_", "or", cel.BoolType, cel.BoolType)
	operator("!_", "not", cel.BoolType)
	for _, symbol := range []string{"_==_", "_!=_", "_<_", "_<=_", "_>_", "_>=_"} {
		operator(symbol, "count"+symbol, cel.IntType, cel.IntType)
	}
	operator("_==_", "same_word", cel.StringType, cel.StringType)
	operator("_!=_", "other_word", cel.StringType, cel.StringType)
	operator("at_least", "at_least_of", cel.IntType, cel.ListType(cel.BoolType))
	env, err := cel.NewCustomEnv(options...)
	if err != nil {
		return nil, fmt.Errorf("CEL declarations: %w", err)
	}
	return env, nil
}

// provider tells CEL's type-checker the properties of each name.
type provider struct {
	types.Provider
	names []name
}

// FindStructType finds the type of one of the names.
func (p provider) FindStructType(structType string) (*types.Type, bool) {
	for _, n := range p.names {
		if typeName(n.name) == structType {
			return types.NewTypeTypeWithParam(types.NewObjectType(structType)), true
		}
	}
	return nil, false
}

// FindStructFieldNames lists the properties of one of the names.
func (p provider) FindStructFieldNames(structType string) ([]string, bool) {
	for _, n := range p.names {
		if typeName(n.name) == structType {
			return fieldNames(n.fields), true
		}
	}
	return nil, false
}

// FindStructFieldType finds one property.
func (p provider) FindStructFieldType(structType, fieldName string) (*types.FieldType, bool) {
	for _, n := range p.names {
		if typeName(n.name) != structType {
			continue
		}
		for _, f := range n.fields {
			if f.name == fieldName {
				return &types.FieldType{Type: f.typ}, true
			}
		}
	}
	return nil, false
}

// fieldNames lists the words of fields.
func fieldNames(fields []field) []string {
	words := make([]string, len(fields))
	for i, f := range fields {
		words[i] = f.name
	}
	return words
}
