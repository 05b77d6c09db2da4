package service

import (
	"slices"
	"strings"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

// What an inspection shows of the panel is what the panel indicates: conditions in their order, lamps,
// buzzer, zones in test, switches, and what is disabled.
func TestInspectionShowsThePanel(t *testing.T) {
	text := strings.Replace(kiosk, "program:\n", "program:\n  overrides: [{override: exhaust, effects: [exhaust]}]\n", 1)
	built, found := site.Build(site.Bundle{Site: site.File{Path: "site.yaml", Data: []byte(text)}})
	if built == nil {
		t.Fatal(found)
	}
	d := drill.New(built.Plan(), 0)
	at := func(now time.Duration, acts ...drill.Act) *pb.Inspection {
		t.Helper()
		if err := d.RunUntil(max(now-1, 0)); err != nil {
			t.Fatal(err)
		}
		for _, a := range acts {
			a.At = now
			if err := d.Do(a); err != nil {
				t.Fatal(err)
			}
		}
		if err := d.RunUntil(now + 3*time.Second); err != nil {
			t.Fatal(err)
		}
		return inspect(d)
	}
	shows := func(in *pb.Inspection, conditions string, buzzer bool) {
		t.Helper()
		if got := strings.Join(in.GetPanel().GetConditions(), " "); got != conditions {
			t.Errorf("conditions %q, want %q", got, conditions)
		}
		if in.GetPanel().GetBuzzer() != buzzer {
			t.Errorf("buzzer %v", in.GetPanel().GetBuzzer())
		}
	}
	in := at(0)
	shows(in, "quiescent", false)
	if p := in.GetPanel(); p.GetFire() || p.GetFault() || p.GetDisabled() || p.GetTest() || len(in.GetOverrides()) > 0 {
		t.Errorf("at rest: %v", in)
	}

	in = at(10*time.Second, drill.Act{Kind: drill.ActTest, Index: 0, On: true}, drill.Act{Kind: drill.ActPress, Index: 1})
	shows(in, "test", false)
	if !in.GetPanel().GetTest() || !in.GetZones()[0].GetTest() || in.GetPoints()[1].GetFire() || !in.GetPoints()[1].GetActive() {
		t.Errorf("in test: %v", in)
	}

	in = at(20*time.Second, drill.Act{Kind: drill.ActTest, Index: 0}, drill.Act{Kind: drill.ActDisableEquipment, Index: 0, On: true},
		drill.Act{Kind: drill.ActOverride, Index: 0, Value: int64(term.SwitchedOn)})
	shows(in, "fire disablement", true)
	if p := in.GetPanel(); !p.GetFire() || !p.GetDisabled() || p.GetTest() || !in.GetZones()[0].GetConfirmed() || !in.GetEquipment()[0].GetDisabled() {
		t.Errorf("after test: %v", in)
	}
	if o := in.GetOverrides(); len(o) != 1 || o[0].GetOverride() != "exhaust" || o[0].GetPosition() != "on" {
		t.Errorf("overrides %v", in.GetOverrides())
	}
	states := map[string]string{"HALL-SOUNDER": "evacuate", "FAN-START": "off", "BELL": "on"} // the fan is disabled
	for _, o := range in.GetOutputs() {
		if o.GetState() != states[o.GetLabel()] {
			t.Errorf("%s is %s", o.GetLabel(), o.GetState())
		}
		if sounds := o.GetCadence() != ""; sounds != (o.GetLabel() == "HALL-SOUNDER") || o.GetCadence() == "silent" {
			t.Errorf("%s sounds %q", o.GetLabel(), o.GetCadence())
		}
	}

	in = at(30*time.Second, drill.Act{Kind: drill.ActAcknowledge, Level: 1})
	shows(in, "fire disablement", false)
	if in = at(40*time.Second, drill.Act{Kind: drill.ActSilence, Level: 1}); in.GetPanel().GetSilenced() {
		t.Error("silenced at level 1")
	}
	if !slices.ContainsFunc(d.Log().Since(0), func(e sim.Event) bool { return e.Kind == drill.OperationRefused }) {
		t.Error("the refusal is not in the log")
	}
}
