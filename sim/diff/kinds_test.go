package diff

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestKinds: one thing changed in the bench, and what is said of it: its kind, how it is known, the smallest
// stimulus, and words of the title or of what was computed.
func TestKinds(t *testing.T) {
	tests := []struct {
		name, old, changed string
		kind, known        string
		stimulus, words    string
	}{
		{"delay", "after: 30s", "after: 31s", "behaviour", simulated, "LOFT-SD-1", "asked for otherwise"},
		{"hold", "hold: 5s", "hold: 6s", "behaviour", simulated, "PUMP", "asked for otherwise"},
		{"guard", `pause_while: "control('hold').on"`, `pause_while: "!control('hold').on"`, "behaviour", simulated, "LOFT-SD-1", ""},
		{"silence", "outputs: [S1], silenceable: true", "outputs: [S1]", "behaviour", simulated, "HALL-SD-1", ""},
		{"until reset", "outputs: [R1], until: reset,", "outputs: [R1],", "behaviour", decided, "HALL-SD-1", ""},
		{"output added", "outputs: [R2], one_of", "outputs: [R2, R1], one_of", "behaviour", simulated, "PUMP", "only by the new site"},
		{"state", "effects: [sound], state: alert", "effects: [sound], state: evacuate", "behaviour", simulated, "LOFT-SD-1", ""},
		{"cause", `when: "zone('loft').fire"`, `when: "zone('loft').detectors_in_fire >= 2"`, "behaviour", simulated, "LOFT-SD-1", ""},
		{"threshold", "heat_detector: {}", "heat_detector: {alarm_c: 70}", "device", simulated, "LOFT-HD-1", "alarm_c 57 C (by default) -> 70"},
		{"default written out", "heat_detector: {}", "heat_detector: {alarm_c: 57}", "", "", "", ""},
		{"kind", "cable_m: 10, heat_detector: {}", "cable_m: 10, smoke_detector: {}", "device", unseen, "", "kind heat_detector -> smoke_detector"},
		{"retard", "input_module: {input: technical}}", "input_module: {input: technical, retard: 5s}}", "device", simulated, "PUMP", "retard"},
		{"pre-alarm", "smoke_detector: {prealarm: true}", "smoke_detector: {}", "device", simulated, "HALL-SD-1", "prealarm"},
		{"zone of a device", "place: loft, zone: loft, groups: [pair]", "place: loft, zone: hall, groups: [pair]", "device", unseen, "", "zone loft -> hall"},
		{"relabelled", "label: VALVE,", "label: VALVE-2,", "device", unseen, "", "label VALVE -> VALVE-2"},
		{"on loss", "label: R2, place: hall, cable_m: 10, relay_module: {}", "label: R2, place: hall, cable_m: 10, relay_module: {contact: {on_loop_loss: operates}}", "device", simulated, "R2 taken out", "on_loop_loss"},
		{"equipment time", "run_up: 5s", "run_up: 7s", "equipment", simulated, "HALL-SD-1", "run_up 5s -> 7s"},
		{"drive", "relay_module: {drives: {equipment: fan, input: start}}", "relay_module: {}", "device", simulated, "HALL-SD-1", "drives given -> not given"},
		{"supply", "current_limit_a: 3", "current_limit_a: 2", "supply", unseen, "", "current_limit_a 3 -> 2"},
		{"readings", "cable: {conductor_mm2: 1.5}", "cable: {conductor_mm2: 1.5}\n    line: {alarm_readings: 3}", "line", simulated, "HALL-SD-1", "alarm_readings 2 (by default) -> 3"},
		{"slot", "cable: {conductor_mm2: 1.5}", "cable: {conductor_mm2: 1.5}\n    line: {poll_slot: 13ms}", "line", simulated, "HALL-SD-1", "poll_slot"},
		{"decision time", "supplies:", "panel: {decision_time: 300ms}\nsupplies:", "panel", simulated, "HALL-SD-1", "decision_time"},
		{"reset", "supplies:", "panel: {reset: drop-all}\nsupplies:", "panel", simulated, "HALL-SD-1, then reset while it stands", "reset"},
		{"resound", "supplies:", "panel: {resound: new-device}\nsupplies:", "panel", simulated, "HALL-SD-1, then silence, then HALL-SD-2", "resound"},
		{"battery", "current_limit_a: 3}", "current_limit_a: 3, battery_ah: 7}", "supply", computed, "", "battery_ah"},
		{"load order", "{label: L1, cable_m: 10, sounder: {current_ma: 20}}, {label: L2, cable_m: 10, sounder: {current_ma: 20}}",
			"{label: L2, cable_m: 10, sounder: {current_ma: 20}}, {label: L1, cable_m: 10, sounder: {current_ma: 20}}", "circuit", unseen, "", "order of loads: number 1 L1 -> L2"},
		{"load gone", "{label: L1, cable_m: 10, sounder: {current_ma: 20}}, ", "", "circuit", computed, "", "load L1 gone"},
		{"cable", "address: 3, label: HALL-CP, place: hall, zone: hall, cable_m: 10", "address: 3, label: HALL-CP, place: hall, zone: hall, cable_m: 400", "wiring", computed, "", "lowest voltage at rest"},
		{"isolator gone", "call_point: {}, isolator: true", "call_point: {}", "wiring", computed, "", "loses"},
		{"targets", "supplies:", "targets: {detector: 5s}\nsupplies:", "rules", unseen, "", "detector"},
		{"another edition", "rules: {packs: [nfpa72]}", "rules: {packs: [nfpa72], edition: 2019}", "rules", unseen, "", "edition"},
		{"level", "controls: [{control: hold}]", "controls: [{control: hold, level: 3}]", "control", unseen, "", "level"},
		{"comment", "places:", "# a comment\nplaces:", "", "", "", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			text := bench + program
			changed := replaced(t, text, test.old, test.changed)
			report := compare(t, read(t, text), read(t, changed))
			if test.kind == "" {
				if !report.GetSame() {
					t.Fatalf("the same is said to be different:\n%s", reportText(t, report))
				}
				return
			}
			d := find(report, test.kind)
			if d == nil {
				t.Fatalf("no difference of kind %s:\n%s", test.kind, reportText(t, report))
			}
			if d.GetKnown() != test.known || test.stimulus != "" && d.GetStimulus() != test.stimulus || !strings.Contains(d.GetTitle()+" "+d.GetNew(), test.words) {
				t.Errorf("want %s by %q with %q:\n%s", test.known, test.stimulus, test.words, reportText(t, report))
			}
			if len(report.GetRetest().GetFunctions())+len(report.GetRetest().GetAffected()) == 0 && test.kind != "rules" {
				t.Errorf("nothing is to be tested again:\n%s", reportText(t, report))
			}
		})
	}
}

// find is the first difference of a kind.
func find(r *pb.DiffReport, kind string) *pb.Difference {
	for _, d := range r.GetDifferences() {
		if d.GetKind() == kind {
			return d
		}
	}
	return nil
}

// TestWorkIsBounded: a change of the program of 10 loops of 250 devices takes a few runs, not one for each
// device; a change alike in every heat detector is one difference.
func TestWorkIsBounded(t *testing.T) {
	old := grid(t, 10, 250)
	m := proto.CloneOf(old.Site)
	heat := 0
	for _, l := range m.GetLoops() {
		for _, d := range l.GetDevices() {
			if h := d.GetHeatDetector(); h != nil {
				h.AlarmC = proto.Float64(65)
				heat++
			}
		}
	}
	for _, a := range m.GetProgram().GetActions() {
		if a.GetCauses()[0] == "any-fire" {
			a.After = durationpb.New(3 * time.Second)
		}
	}
	changed, ok := made(m)
	if !ok {
		t.Fatal("refused")
	}
	report := compare(t, old, changed)
	if n := report.GetCounts().GetRuns(); n == 0 || n > 20 {
		t.Errorf("%d runs: want 1 to 20", n)
	}
	if d := find(report, "device"); d == nil || len(d.GetSubjects()) != heat {
		t.Errorf("want one difference of %d heat detectors: %s", heat, d.GetTitle())
	}
}
