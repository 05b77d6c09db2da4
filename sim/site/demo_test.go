package site

import (
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/plant"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestDemoShowsEverything asserts that the demo site uses every device kind, every meaning of an
// input, every equipment kind with every input driven and every signal proved, every key of an
// action and of an effect, and that its matrix and scenarios are as large as a demo should be.
func TestDemoShowsEverything(t *testing.T) {
	bundle, err := Open("../../testdata/alder-quay")
	if err != nil {
		t.Fatal(err)
	}
	built, findings := Build(bundle)
	figures, judged := built.Check()
	for _, f := range append(findings, judged...) {
		t.Errorf("%s", text(f, Plain))
	}
	if len(figures.GetLoops()) != 2 || len(figures.GetCircuits()) == 0 || len(figures.GetSupplies()) != 3 {
		t.Errorf("calculations of %d loops, %d circuits, %d supplies", len(figures.GetLoops()), len(figures.GetCircuits()), len(figures.GetSupplies()))
	}
	seen := map[string]bool{}
	devices := 0
	for _, l := range built.Site.GetLoops() {
		for _, d := range l.GetDevices() {
			noteSet(seen, "device", d)
			if d.GetKind() == nil && d.GetIsolator() != nil {
				seen["isolator alone"] = true
			}
			if d.GetKind() != nil && d.GetIsolator() != nil {
				seen["isolator built in"] = true
			}
			if m := d.GetInputModule(); m != nil {
				seen["input "+m.GetInput()] = true
				seen["proof "+m.GetProves().GetEquipment()+" "+m.GetProves().GetSignal()] = true
			}
			noteDrive(seen, d.GetControlModule().GetDrives())
			noteDrive(seen, d.GetRelayModule().GetDrives())
			if d.Address != nil {
				devices++
			}
		}
	}
	for _, o := range built.Site.GetPanel().GetOutputs() {
		noteDrive(seen, o.GetDrives())
	}
	for _, a := range built.Site.GetProgram().GetActions() {
		noteSet(seen, "action", a)
	}
	for _, e := range built.Site.GetProgram().GetEffects() {
		noteSet(seen, "effect", e)
	}

	want := []string{"isolator alone", "isolator built in"}
	for _, kind := range loop.Kinds() {
		want = append(want, "device "+kind)
	}
	for _, word := range vocabulary((&pb.InputModule{}).ProtoReflect().Descriptor().Fields().ByName("input")) {
		want = append(want, "input "+word)
	}
	for _, key := range []string{"after", "for", "hold", "unless", "pause_while", "restart_while", "cancel_when"} {
		want = append(want, "action "+key)
	}
	want = append(want, "effect silenceable", "effect until", "effect one_of")
	kinds := (&pb.Equipment{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range kinds.Len() {
		want = append(want, "equipment "+string(kinds.Get(i).Name()))
	}
	for _, e := range built.Site.GetEquipment() {
		noteSet(seen, "equipment", e)
		kind := string(e.ProtoReflect().WhichOneof(e.ProtoReflect().Descriptor().Oneofs().ByName("kind")).Name())
		for _, input := range plant.Inputs(e) {
			if seen["drive "+e.GetEquipment()+" "+input] {
				seen[kind+" driven at "+shared(kind, input)] = true
			}
			want = append(want, kind+" driven at "+shared(kind, input))
		}
		for _, signal := range plant.Signals(e) {
			if seen["proof "+e.GetEquipment()+" "+signal] {
				seen[kind+" proved by "+signal] = true
			}
			want = append(want, kind+" proved by "+signal)
		}
	}
	for _, w := range want {
		if !seen[w] {
			t.Errorf("the demo has no %s", w)
		}
	}
	if len(built.Site.GetLoops()) != 2 || devices < 60 || len(built.Matrix.Rows) < 20 || len(built.Matrix.Columns) < 25 || len(built.Scenarios) < 8 {
		t.Errorf("the demo has %d loops, %d devices, %d rows, %d columns, %d scenarios: want 2, 60, 20, 25, 8",
			len(built.Site.GetLoops()), devices, len(built.Matrix.Rows), len(built.Matrix.Columns), len(built.Scenarios))
	}
}

// noteSet notes the keys that a message sets.
func noteSet(seen map[string]bool, what string, m interface{ ProtoReflect() protoreflect.Message }) {
	m.ProtoReflect().Range(func(f protoreflect.FieldDescriptor, _ protoreflect.Value) bool {
		seen[what+" "+string(f.Name())] = true
		return true
	})
}

func noteDrive(seen map[string]bool, d *pb.Drive) {
	seen["drive "+d.GetEquipment()+" "+d.GetInput()] = true
}

// shared is an input's name; the messages of announcements count as one.
func shared(kind, input string) string {
	if kind == "announcement" {
		return "message"
	}
	return input
}
