package term

import (
	"fmt"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/types"

	"loopdrill.dev/loopdrill/proto/finding"
)

// references checks every id that the expression names, and whether each name and property is
// legal in this scope. It needs no types, so that ids and type errors are reported together.
func (t *text) references(e ast.Expr) {
	if n, ok := t.nameOf(e); ok {
		if n.name == "place" && t.scope == Cause {
			t.refuse(t.start(e), "scope", "the panel cannot know places", "a cause names zones, groups or devices; places are for the required matrix and for expectations")
		}
		if n.of != nil {
			t.reference(e, true)
		}
		if n.name == "load" && t.scope != Expectation {
			t.refuse(t.start(e), "bench-only", "the panel cannot know this: `load`", benchDetail(t.scope))
			return
		}
	}
	if e.Kind() == ast.SelectKind {
		if n, ok := t.nameOf(e.AsSelect().Operand()); ok {
			t.property(e, n)
		}
	}
	for _, part := range children(e) {
		t.references(part)
	}
}

// property checks that the property e of the name n is legal in this scope.
func (t *text) property(e ast.Expr, n name) {
	word := e.AsSelect().FieldName()
	for _, f := range n.fields {
		if f.name != word {
			continue
		}
		if f.bench && n.name != "load" && t.scope != Expectation {
			detail := benchDetail(t.scope)
			if n.name == "output" {
				detail += "; the panel knows output(..).commanded"
			}
			t.refuse(t.fieldStart(e), "bench-only", "the panel cannot know this: `"+n.name+"(..)."+word+"`", detail)
		}
		if word == "confirmed" && t.scope == Matrix {
			t.refuse(t.fieldStart(e), "scope", "how a zone confirms is the program's own rule", "a row says how many must signal, as in zone('hall').detectors_in_fire >= 2")
		}
	}
}

// benchDetail says where bench-only names may stand.
func benchDetail(s Scope) string {
	if s == Matrix {
		return "a row of the matrix says what the panel is told; how the outputs answer is what its cells demand"
	}
	return "how a contact, a load or equipment really stands is seen by the bench alone, and only expectations may name it"
}

// reference returns the index of the id in an expression such as zone('hall'); with report it
// also says what is wrong with it.
func (t *text) reference(e ast.Expr, report bool) (int, bool) {
	n, ok := t.nameOf(e)
	if !ok || len(e.AsCall().Args()) != 1 {
		return 0, false
	}
	argument := e.AsCall().Args()[0]
	at := t.start(argument)
	if argument.Kind() != ast.LiteralKind {
		if report {
			t.unquoted(at, n)
		}
		return 0, false
	}
	switch id := argument.AsLiteral().(type) {
	case types.String:
		index, known := t.lookup(n.name, string(id))
		if known == nil {
			return index, true
		}
		if report {
			t.unknownID(at, n.name, string(id), known)
		}
	case types.Int:
		if n.name != "loop" {
			break // the type-checker says so
		}
		var numbers []string
		for i, number := range t.reader.world.Loops {
			if int64(number) == int64(id) {
				return i, true
			}
			numbers = append(numbers, fmt.Sprint(number))
		}
		if report {
			t.refuse(at, "unknown", fmt.Sprintf("there is no loop %d", id), "known: "+finding.Sample(numbers, 8))
		}
	}
	return 0, false
}

// unquoted refuses what stands in the place of an id, such as HALL-SD in device(HALL-SD). What CEL says of its parts would
// only hide that.
func (t *text) unquoted(at int, n name) {
	end := at
	for depth := 0; end < len(t.src) && (t.src[end] != ')' || depth > 0); end++ {
		switch t.src[end] {
		case '(':
			depth++
		case ')':
			depth--
		}
	}
	detail := "write " + sample(n)
	if id := strings.TrimSpace(string(t.src[at:end])); n.of.IsExactType(cel.StringType) {
		if _, known := t.lookup(n.name, id); known == nil {
			detail = "ids stand in single quotes: " + n.name + "('" + id + "')"
		}
	}
	t.unread = append(t.unread, span{at, end})
	t.refuse(at, "subset", "the id of `"+n.name+"` must be written out", detail)
}

// unknownID refuses an id that does not exist.
func (t *text) unknownID(at int, what, id string, known []string) {
	detail := "no " + what + " is defined in this site"
	switch near, ok := finding.Nearest(id, known); {
	case ok:
		detail = fmt.Sprintf("did you mean '%s'?", near)
	case what != "load" && slices.Contains(t.reader.world.Loads, id):
		detail = "that is an appliance of a circuit: load('" + id + "')"
	case what == "load" && t.isOutput(id):
		detail = "that is an output: output('" + id + "')"
	case what == "output" && t.isPoint(id):
		detail = "that device is an input; outputs are control modules, relay modules, loop sounders and the panel's own"
	case len(known) > 0:
		detail = "known: " + finding.Sample(known, 8)
	}
	t.refuse(at, "unknown", fmt.Sprintf("there is no %s '%s'", what, id), detail)
}

// isOutput reports whether an output has the name.
func (t *text) isOutput(id string) bool {
	_, ok := t.reader.world.OutputRefs[id]
	return ok
}

// isPoint reports whether a device has the name.
func (t *text) isPoint(id string) bool {
	_, ok := t.reader.world.PointRefs[id]
	return ok
}

// lookup returns the index of the id; if it does not exist, the ids that do, never nil.
func (t *text) lookup(what, id string) (int, []string) {
	w := t.reader.world
	among := func(ids []string) (int, []string) {
		for i, known := range ids {
			if known == id {
				return i, nil
			}
		}
		return 0, append([]string{}, ids...)
	}
	switch what {
	case "zone":
		return among(w.Zones)
	case "place":
		return among(w.Places)
	case "group":
		return among(w.Groups)
	case "supply":
		return among(w.Supplies)
	case "control":
		return among(w.Controls)
	case "override":
		return among(w.Overrides)
	case "cause":
		return among(w.Causes)
	case "load":
		return among(w.Loads)
	case "equipment":
		return among(w.equipmentNames())
	case "device":
		if i, ok := w.PointRefs[id]; ok {
			return i, nil
		}
		return 0, w.pointNames()
	case "output":
		if i, ok := w.OutputRefs[id]; ok {
			return i, nil
		}
		return 0, w.outputNames()
	}
	panic("term: no index for `" + what + "`")
}

// subject resolves the operand of a property: the name and the index of its id.
func (t *text) subject(e ast.Expr) (name, int, bool) {
	operand := e.AsSelect().Operand()
	n, ok := t.nameOf(operand)
	if !ok || e.AsSelect().IsTestOnly() {
		t.refuse(t.start(e), "subset", "this form cannot be used in a condition", "a property follows a name, such as zone('hall').fire")
		return name{}, 0, false
	}
	if n.of == nil {
		return n, 0, true
	}
	index, ok := t.reference(operand, false) // what is wrong with it was told by references
	return n, index, ok
}

// lowerProperty lowers a property that is true or false.
func (t *text) lowerProperty(e ast.Expr) *Term {
	n, index, ok := t.subject(e)
	if !ok {
		return False()
	}
	word := e.AsSelect().FieldName()
	switch n.name {
	case "panel":
		return t.reader.panel(word)
	case "zone", "place", "group":
		return t.reader.area(n.name, index, word)
	case "device":
		return t.device(e, index, word)
	case "output":
		if word == "on" {
			return Negate(IsValue(OutputState, index, int32(Rest)))
		}
		return Is(OutputFault, index)
	case "supply":
		return Is(SupplyFault, index)
	case "loop":
		return Is(LoopFault, index)
	case "equipment":
		if word == "disabled" {
			return Is(EquipmentDisabled, index)
		}
		return Is(EquipmentProven, index)
	case "control":
		return Is(ControlOn, index)
	case "load":
		if word == "sounding" {
			return Is(LoadSounding, index)
		}
		return Is(LoadOn, index)
	}
	panic("term: no meaning for `" + n.name + "." + word + "`")
}

// device lowers a property of one device. One that this device can never have is a problem.
func (t *text) device(e ast.Expr, point int, word string) *Term {
	p, output := t.reader.world.Points[point], t.reader.world.outputOf(point)
	never := func(so, remedy string) *Term {
		t.refuse(t.fieldStart(e), "never", fmt.Sprintf("`device('%s').%s` can never be true: %s", p.Label, word, so), remedy)
		return False()
	}
	switch word {
	case "fire":
		if !p.Input.Fire() {
			return never("it is no fire input", "fire inputs are detectors, call points, conventional zones and inputs of kind fire or waterflow; .active is the reading of any input")
		}
		return Is(DeviceFire, point)
	case "active":
		if p.Input == NoInput {
			return never("it is an output module", "the panel's wish is output(..).commanded")
		}
		return Is(DeviceActive, point)
	case "prealarm":
		if p.ShowsHeld && !p.Prealarm && t.scope == Matrix {
			return never("what the panel shows as one is its held first signal", "a row says what devices signal: write device('"+p.Label+"').fire, and what the panel holds back as `after` in the cell")
		}
		if !p.Prealarm && !p.ShowsHeld {
			return never("it signals no pre-alarm", "give the detector `prealarm: true`, or let its zone's detection show a first signal as one")
		}
		return Is(DevicePrealarm, point)
	case "supervisory":
		if p.Input != Supervisory {
			return never("it is no supervisory input", "supervisory signals come from inputs of kind supervisory")
		}
		return Is(DeviceSupervisory, point)
	case "fault":
		return Or(t.reader.pointFault(nil, point)...)
	case "disabled":
		if output >= 0 {
			return Or(Is(DeviceDisabled, point), Is(OutputDisabled, output))
		}
		return Is(DeviceDisabled, point)
	case "fed":
		return Is(DeviceFed, point)
	case "reachable":
		return Is(DeviceReachable, point)
	}
	panic("term: no meaning for `device." + word + "`")
}

// counted returns the members that a count counts.
func (t *text) counted(e ast.Expr) ([]*Term, bool) {
	n, index, ok := t.subject(e)
	if !ok {
		return nil, false
	}
	return t.reader.fires(n.name, index, e.AsSelect().FieldName() == "detectors_in_fire"), true
}

// lowerWord lowers the comparison of a state or mode with a word.
func (t *text) lowerWord(e, literal ast.Expr, word string) *Term {
	n, index, ok := t.subject(e)
	if !ok {
		return False()
	}
	words, found := t.reader.words(n.name, index, e.AsSelect().FieldName())
	if i := slices.Index(words, word); i >= 0 {
		return found(i)
	}
	detail := "known: " + strings.Join(words, ", ")
	if near, ok := finding.Nearest(word, words); ok {
		detail = "did you mean '" + near + "'?"
	}
	t.refuse(t.start(literal), "unknown", fmt.Sprintf("`%s` is never '%s'", t.between(e), word), detail)
	return False()
}

// words lists the words that a property can be, and what it means that it is the i-th of them.
func (r *Reader) words(what string, index int, property string) ([]string, func(i int) *Term) {
	byValue := func(kind Kind) func(i int) *Term {
		return func(i int) *Term { return IsValue(kind, index, int32(i)) }
	}
	switch what + "." + property {
	case "panel.mode":
		return []string{"day", "night"}, byValue(PanelMode)
	case "panel.indicated":
		return indications(), r.indicated
	case "output.cadence":
		return Cadences(), byValue(OutputCadence)
	case "equipment.state":
		return r.world.Equipment[index].States, byValue(EquipmentState)
	case "override.position":
		return positions(), byValue(OverrideAt)
	}
	kind, o := OutputCommanded, r.world.Outputs[index]
	if property == "state" {
		kind = OutputState
	}
	var words []string
	var states []State
	for s := range Off {
		if o.Takes(s) {
			words, states = append(words, s.String()), append(states, s)
		}
	}
	return words, func(i int) *Term { return IsValue(kind, index, int32(states[i])) }
}

// between returns the text of a property as it was written.
func (t *text) between(e ast.Expr) string {
	end := t.fieldStart(e)
	for end < len(t.src) && isWord(t.src[end]) {
		end++
	}
	return string(t.src[t.start(e):end])
}
