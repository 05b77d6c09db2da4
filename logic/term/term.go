// Package term is the language of conditions: what a cause, a row of the required matrix or an
// expectation may say, and what it means.
//
// A text is read by CEL's own parser and type-checker over the names declared in vocabulary.go;
// what remains is lowered to a Term: constants, leaf facts, negation and the threshold
// `at least n of these`, of which `and` (all) and `or` (one) are the ends. Every name means a set
// of leaf facts, so that whoever keeps those facts (the panel in package logic, the bench itself
// when it judges a matrix row or an expectation) evaluates the same Term over its own knowledge.
//
// Left out on purpose: arithmetic, conditional expressions, macros, the literals true and false,
// comparisons of one state with another. A condition that can never be true or never be false
// because of how many members it counts is a problem, not a Term.
//
// Invariants: a Term returned without problems has no nil argument and evaluates without error
// on every assignment; a Term is never changed after it was made and may be shared.
//
// Validated against the CEL library's own evaluator, exhaustively over all assignments of up to
// 12 facts on random conditions (logic/boolean_test.go), and fuzzed (FuzzParse).
package term

import "strconv"

// State is the state of one output. The order of the constants is the order of strength.
type State uint8

// States of an output, weakest first (rule E6; a manual override, stronger than all, is an act on
// the output and no state). Off is the demand `off`, which inhibits weaker demands; an output that
// obeys it is at rest, so Off is never a state that an output *is* in.
const (
	Rest State = iota
	On
	Alert
	Evacuate
	Release
	Off
)

// String returns the word that files and conditions use; an output at rest is `off`.
func (s State) String() string {
	switch s {
	case Rest, Off:
		return "off"
	case On:
		return "on"
	case Alert:
		return "alert"
	case Evacuate:
		return "evacuate"
	case Release:
		return "release"
	}
	return "state-" + strconv.Itoa(int(s))
}

// Physical returns the state that an output obeying the demand s is in.
func (s State) Physical() State {
	if s == Off {
		return Rest
	}
	return s
}

// DemandWord returns the state that an action demands with the given word of the vocabulary
// on, off, alert, evacuate, release.
func DemandWord(word string) (State, bool) {
	for s := On; s <= Off; s++ {
		if s.String() == word {
			return s, true
		}
	}
	return Rest, false
}

// Kind is what a fact says.
type Kind uint8

// Kinds of facts. Index names the thing in the index space of its kind.
const (
	DeviceFire        Kind = iota + 1 // Index point: latched fire
	DeviceActive                      // last valid reading
	DevicePrealarm                    // reading above the pre-alarm level
	DeviceSupervisory                 // supervisory signal
	DeviceFault                       // any raised fault of the device
	DeviceDisabled                    // disabled by an operator
	ZoneDisabled                      // Index zone
	OutputCommanded                   // Index output, Value = State, never Off: as of the evaluation before
	OutputFault                       // Index output
	OutputDisabled                    // Index output
	SupplyFault                       // Index supply
	LoopFault                         // Index loop
	EquipmentProven                   // Index equipment
	ControlOn                         // Index control
	CauseTrue                         // Index cause
	PanelMode                         // Value: Day or Night
	PanelAcknowledged                 // no index
	PanelSilenced                     // no index
	PanelEvacuate                     // no index
	ZoneTest                          // Index zone: in test
	ZoneConfirmed                     // Index zone: in fire, and by as many signals as its detection asks for
	EquipmentDisabled                 // Index equipment
	OverrideAt                        // Index override, Value: Auto, SwitchedOn or SwitchedOff
	PanelBuzzer                       // no index
	// OutputState and all behind it are for the bench only: legal in expectations, never in
	// causes, matrix rows or detection.
	OutputState     // Index output, Value = State: the contact or circuit as it is
	LoadOn          // Index load
	EquipmentState  // Index equipment, Value = index of the word in World.Equipment[i].States
	DeviceFed       // Index point
	DeviceReachable // Index point
	OutputCadence   // Index output, Value: Silent, Continuous, Intermittent or ThreePulse
	PanelStopped    // no index
	LoadSounding    // Index load: at this moment, as the cadence has it
)

// LastKnown is the last kind that the panel can know.
const LastKnown = OutputState - 1

// Positions of an override: values of OverrideAt.
const (
	Auto        int32 = 0
	SwitchedOn  int32 = 1
	SwitchedOff int32 = 2
)

// positions are the words of an override's positions, by value.
func positions() []string { return []string{Auto: "auto", SwitchedOn: "on", SwitchedOff: "off"} }

// PositionWord is the word of a position of an override.
func PositionWord(position int32) string { return positions()[position] }

// Position returns the position of an override with the word.
func Position(word string) (int32, bool) {
	for p, w := range positions() {
		if w == word {
			return int32(p), true
		}
	}
	return 0, false
}

// What sounders of an output give: values of OutputCadence.
const (
	Silent       int32 = 0
	Continuous   int32 = 1
	Intermittent int32 = 2
	ThreePulse   int32 = 3
)

// Cadences are the words of cadences, by value.
func Cadences() []string {
	return []string{Silent: "silent", Continuous: "continuous", Intermittent: "intermittent", ThreePulse: "three-pulse"}
}

// Values of PanelMode.
const (
	Day   int32 = 0
	Night int32 = 1
)

// BenchOnly reports whether only the bench, never the panel, can know facts of this kind.
func (k Kind) BenchOnly() bool { return k >= OutputState }

// Fact is one thing that is so or not: `the device with index 4 is in fire`, or, for kinds that
// have a Value, `output 3 is commanded to evacuate`.
type Fact struct {
	Kind  Kind
	Index int32
	Value int32
}

// Op is what a Term does with its arguments.
type Op uint8

// Operations.
const (
	Const   Op = iota // True
	Leaf              // Fact
	Not               // of Args[0]
	AtLeast           // at least N of Args; and = all of them, or = one
)

// Term is a condition, lowered. The zero value is the constant false.
type Term struct {
	Op   Op
	True bool // Const
	Fact Fact // Leaf
	N    int  // AtLeast
	Args []*Term
}

// Eval evaluates t over the facts that hold.
func (t *Term) Eval(is func(Fact) bool) bool {
	switch t.Op {
	case Leaf:
		return is(t.Fact)
	case Not:
		return !t.Args[0].Eval(is)
	case AtLeast:
		count := 0
		for _, arg := range t.Args {
			if arg.Eval(is) {
				count++
			}
			if count >= t.N {
				return true
			}
		}
		return count >= t.N
	}
	return t.True
}

// Each calls visit for every leaf of t, from left to right, a fact as often as it occurs.
func (t *Term) Each(visit func(Fact)) {
	if t.Op == Leaf {
		visit(t.Fact)
	}
	for _, arg := range t.Args {
		arg.Each(visit)
	}
}

// Replace returns t with every leaf for which with returns a term replaced by that term. t stays as it is.
func (t *Term) Replace(with func(Fact) *Term) *Term {
	if t.Op == Leaf {
		if other := with(t.Fact); other != nil {
			return other
		}
		return t
	}
	var args []*Term
	for i, arg := range t.Args {
		other := arg.Replace(with)
		if other != arg && args == nil {
			args = append(args, t.Args...)
		}
		if args != nil {
			args[i] = other
		}
	}
	if args == nil {
		return t
	}
	if t.Op == Not {
		return Negate(args[0])
	}
	return &Term{Op: t.Op, N: t.N, Args: args}
}

// False is the constant that never holds.
func False() *Term { return &Term{} }

// True is the constant that always holds.
func True() *Term { return &Term{True: true} }

// Is returns the leaf of one fact.
func Is(kind Kind, index int) *Term {
	return &Term{Op: Leaf, Fact: Fact{Kind: kind, Index: int32(index)}}
}

// IsValue returns the leaf of one fact with a value.
func IsValue(kind Kind, index int, value int32) *Term {
	return &Term{Op: Leaf, Fact: Fact{Kind: kind, Index: int32(index), Value: value}}
}

// Negate returns the negation of t; a double negation falls away.
func Negate(t *Term) *Term {
	switch t.Op {
	case Not:
		return t.Args[0]
	case Const:
		return &Term{True: !t.True}
	}
	return &Term{Op: Not, Args: []*Term{t}}
}

// And holds when every argument does; with none, always.
func And(args ...*Term) *Term { return Threshold(len(args), args) }

// Or holds when some argument does; with none, never.
func Or(args ...*Term) *Term { return Threshold(1, args) }

// Threshold holds when at least n of args do.
func Threshold(n int, args []*Term) *Term {
	switch {
	case n <= 0:
		return True()
	case n > len(args):
		return False()
	case len(args) == 1:
		return args[0]
	}
	return &Term{Op: AtLeast, N: n, Args: args}
}

// String writes the fact as kind.index, with the value behind it where the kind has one.
func (f Fact) String() string {
	text := f.Kind.String() + "." + strconv.Itoa(int(f.Index))
	switch f.Kind {
	case OutputCommanded, PanelMode, OverrideAt, OutputState, EquipmentState, OutputCadence:
		text += "." + strconv.Itoa(int(f.Value))
	}
	return text
}

// String returns a short name of the kind, for logs of tests and stories.
func (k Kind) String() string {
	names := [...]string{"", "fire", "active", "prealarm", "supervisory", "fault", "disabled", "zone-disabled", "commanded", "output-fault",
		"output-disabled", "supply-fault", "loop-fault", "proven", "control", "cause", "mode", "acknowledged", "silenced", "evacuate",
		"zone-test", "zone-confirmed", "equipment-disabled", "override", "buzzer",
		"state", "load", "equipment", "fed", "reachable", "cadence", "stopped", "sounding"}
	if int(k) < len(names) {
		return names[k]
	}
	return "kind-" + strconv.Itoa(int(k))
}
