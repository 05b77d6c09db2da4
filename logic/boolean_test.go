package logic

import (
	"fmt"
	"math/bits"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"

	"loopdrill.dev/loopdrill/logic/term"
)

// chooser draws numbers for random conditions and programs.
type chooser interface{ IntN(n int) int }

// pick draws one of the words.
func pick(r chooser, words ...string) string { return words[r.IntN(len(words))] }

// randomCondition draws a condition over the bureau, at most depth operators deep. Names beyond
// those that every program has (controls, causes, outputs) come from extra.
func randomCondition(r chooser, depth int, extra ...string) string {
	if depth > 0 {
		switch r.IntN(8) {
		case 0, 1:
			return "(" + randomCondition(r, depth-1, extra...) + " && " + randomCondition(r, depth-1, extra...) + ")"
		case 2, 3:
			return "(" + randomCondition(r, depth-1, extra...) + " || " + randomCondition(r, depth-1, extra...) + ")"
		case 4:
			return "!" + randomCondition(r, depth-1, extra...)
		case 5:
			members := map[string]bool{}
			var list []string
			for range 2 + r.IntN(3) {
				m := randomCondition(r, depth-1, extra...)
				if !members[m] {
					members[m] = true
					list = append(list, m)
				}
			}
			return fmt.Sprintf("at_least(%d, [%s])", 1+r.IntN(len(list)), strings.Join(list, ", "))
		}
	}
	if len(extra) > 0 && r.IntN(3) == 0 {
		return pick(r, extra...)
	}
	area := pick(r, "zone('a')", "zone('b')", "group('recall')")
	switch r.IntN(7) {
	case 0:
		return "panel." + pick(r, "fire", "prealarm", "supervisory", "acknowledged", "silenced", "evacuate")
	case 1:
		return area + "." + pick(r, "fire", "prealarm", "supervisory")
	case 2:
		return area + "." + pick(r, "devices_in_fire", "detectors_in_fire") + pick(r, " >= ", " > ", " < ", " <= ", " == ", " != ") + pick(r, "0", "1", "2", "3")
	case 3:
		return "device('" + pick(r, "A1", "A2", "1/3", "B1", "1/5") + "')." + pick(r, "fire", "active")
	case 4:
		return "device('TECH')." + pick(r, "active", "fault", "disabled")
	case 5:
		return "panel.mode " + pick(r, "==", "!=") + " '" + pick(r, "day", "night") + "'"
	}
	return pick(r, "loop(1).fault", "loop(2).fault", "supply('psu').fault", "equipment('fan').proven", "output('FAN').fault", "zone('b').disabled")
}

// mapped is what the CEL library's own evaluator is told: every name as a plain map or list of
// values, computed from the facts without package term. It is the second, independent meaning.
type mapped struct {
	world *term.World
	is    map[term.Fact]bool
}

func (m *mapped) fact(kind term.Kind, index int) bool {
	return m.is[term.Fact{Kind: kind, Index: int32(index)}]
}

// area counts the signals of the points that belong.
func (m *mapped) area(belongs func(term.Point) bool) map[string]any {
	devices, detectors, prealarm, supervisory := 0, 0, false, false
	for i, p := range m.world.Points {
		if !belongs(p) {
			continue
		}
		if m.fact(term.DeviceFire, i) {
			devices++
			if p.Detector {
				detectors++
			}
		}
		prealarm = prealarm || m.fact(term.DevicePrealarm, i)
		supervisory = supervisory || m.fact(term.DeviceSupervisory, i)
	}
	return map[string]any{"fire": devices > 0, "devices_in_fire": devices, "detectors_in_fire": detectors, "prealarm": prealarm, "supervisory": supervisory}
}

func (m *mapped) panel() map[string]any {
	panel := m.area(func(term.Point) bool { return true })
	panel["acknowledged"], panel["silenced"] = m.fact(term.PanelAcknowledged, 0), m.fact(term.PanelSilenced, 0)
	panel["evacuate"] = m.fact(term.PanelEvacuate, 0)
	panel["mode"] = "day"
	if m.is[term.Fact{Kind: term.PanelMode, Value: term.Night}] {
		panel["mode"] = "night"
	}
	return panel
}

// named returns the properties of what a name names.
func (m *mapped) named(what, id string) map[string]any {
	w := m.world
	switch what {
	case "zone":
		z, _ := index(w.Zones, id)
		area := m.area(func(p term.Point) bool { return p.Zone == z })
		area["disabled"] = m.fact(term.ZoneDisabled, z)
		return area
	case "group":
		return m.area(func(p term.Point) bool { return len(p.Groups) > 0 })
	case "device":
		i := w.PointRefs[id]
		return map[string]any{"fire": m.fact(term.DeviceFire, i), "active": m.fact(term.DeviceActive, i), "fault": m.fact(term.DeviceFault, i), "disabled": m.fact(term.DeviceDisabled, i)}
	case "supply":
		return map[string]any{"fault": m.fact(term.SupplyFault, 0)}
	case "equipment":
		return map[string]any{"proven": m.fact(term.EquipmentProven, 0)}
	case "output":
		return map[string]any{"fault": m.fact(term.OutputFault, w.OutputRefs[id])}
	}
	panic(what)
}

// oracle builds the CEL library's environment, with its whole standard library.
func (m *mapped) oracle(t *testing.T) *cel.Env {
	t.Helper()
	object := cel.MapType(cel.StringType, cel.DynType)
	options := []cel.EnvOption{cel.Variable("panel", object),
		cel.Function("loop_", cel.Overload("loop_int", []*cel.Type{cel.IntType}, object, cel.UnaryBinding(func(v ref.Val) ref.Val {
			return types.DefaultTypeAdapter.NativeToValue(map[string]any{"fault": m.fact(term.LoopFault, int(v.(types.Int))-1)})
		}))),
		cel.Function("at_least", cel.Overload("at_least_list", []*cel.Type{cel.IntType, cel.ListType(cel.BoolType)}, cel.BoolType,
			cel.BinaryBinding(func(n, list ref.Val) ref.Val {
				members, err := list.ConvertToNative(reflect.TypeFor[[]bool]())
				if err != nil {
					return types.WrapErr(err)
				}
				count := 0
				for _, member := range members.([]bool) {
					if member {
						count++
					}
				}
				return types.Bool(count >= int(n.(types.Int)))
			}))),
	}
	for _, what := range []string{"zone", "group", "device", "supply", "equipment", "output"} {
		options = append(options, cel.Function(what, cel.Overload(what+"_string", []*cel.Type{cel.StringType}, object, cel.UnaryBinding(func(v ref.Val) ref.Val {
			return types.DefaultTypeAdapter.NativeToValue(m.named(what, string(v.(types.String))))
		}))))
	}
	env, err := cel.NewEnv(options...)
	if err != nil {
		t.Fatal(err)
	}
	return env
}

// Boolean semantics: random conditions of up to 12 inputs, on every assignment of their inputs,
// evaluated by the CEL library's own program (outside reference), by the lowered Term, and by the
// network with one input changed at a time.
func TestConditionsAgainstCELLibrary(t *testing.T) {
	const wanted, inputLimit = 1000, 12
	m := &mapped{world: bureau(), is: map[term.Fact]bool{}}
	env := m.oracle(t)
	random := rand.New(rand.NewPCG(11, 62881))
	reader := term.NewReader(m.world)
	byInputs := make([]int, inputLimit+1)
	for checked := 0; checked < wanted; {
		text := randomCondition(random, 4)
		lowered, problems := reader.Parse(text, term.Cause)
		if len(problems) > 0 {
			continue // a count that can never come about, a member twice
		}
		facts := inputsOf(lowered)
		if len(facts) == 0 || len(facts) > inputLimit {
			continue
		}
		checked++
		byInputs[len(facts)]++
		parsed, issues := env.Compile(strings.ReplaceAll(text, "loop(", "loop_("))
		if issues.Err() != nil {
			t.Fatalf("%s: %v", text, issues.Err())
		}
		program, err := env.Program(parsed)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		compareExhaustively(t, text, m, program, lowered, facts)
	}
	t.Logf("conditions by number of inputs: %v", byInputs)
	for n := 1; n <= inputLimit; n++ {
		if byInputs[n] == 0 {
			t.Errorf("no condition of %d inputs was drawn", n)
		}
	}
}

// inputsOf lists the facts a condition depends on. The two modes are one input: night.
func inputsOf(t *term.Term) []term.Fact {
	var facts []term.Fact
	seen := map[term.Fact]bool{}
	t.Each(func(f term.Fact) {
		if f.Kind == term.PanelMode {
			f.Value = term.Night
		}
		if !seen[f] {
			seen[f] = true
			facts = append(facts, f)
		}
	})
	return facts
}

// compareExhaustively visits all assignments in the order of a Gray code, so that each differs
// from the one before in one input.
func compareExhaustively(t *testing.T, text string, m *mapped, program cel.Program, lowered *term.Term, facts []term.Fact) {
	t.Helper()
	clear(m.is)
	night, day := term.Fact{Kind: term.PanelMode, Value: term.Night}, term.Fact{Kind: term.PanelMode, Value: term.Day}
	m.is[day] = true
	b := newBuilder(newNetwork(m.world))
	root := b.node(lowered)
	net := b.finish()
	w := &wires{}
	leaf, _ := net.leaf(day)
	net.settle(w, []int32{leaf})
	for code := range 1 << len(facts) {
		if code > 0 {
			changed := facts[bits.TrailingZeros(uint(code))]
			m.is[changed] = !m.is[changed]
			m.is[day] = !m.is[night]
			for _, f := range []term.Fact{changed, day} {
				leaf, _ := net.leaf(f)
				net.set(w, leaf, m.is[f], 1)
			}
			net.propagate(w)
		}
		got, _, err := program.Eval(map[string]any{"panel": m.panel()})
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		want := got == types.True
		if is := lowered.Eval(func(f term.Fact) bool { return m.is[f] }); is != want {
			t.Fatalf("%s with %v: the term says %v, CEL %v", text, m.is, is, want)
		}
		if w.value[root] != want {
			t.Fatalf("%s with %v: the network says %v, CEL %v", text, m.is, w.value[root], want)
		}
	}
}
