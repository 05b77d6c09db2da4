package diff

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// office has phased evacuation, an override and detection.
const office = `
site: office
rules: {packs: [nfpa72]}
places: [{place: p0, floor: G}, {place: p1, floor: L1}, {place: p2, floor: L2}, {place: p3, floor: L3}]
zones: [{zone: z0}, {zone: z1}, {zone: z2}, {zone: z3}]
loops:
  - loop: 1
    wiring: ring
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    return_cable_m: 10
    devices:
      - {address: 1, label: SD-0, place: p0, zone: z0, cable_m: 5, smoke_detector: {}}
      - {address: 2, label: SD-0B, place: p0, zone: z0, cable_m: 5, smoke_detector: {}}
      - {address: 3, label: SD-1, place: p1, zone: z1, cable_m: 5, smoke_detector: {}}
      - {address: 4, label: SD-2, place: p2, zone: z2, cable_m: 5, smoke_detector: {}}
      - {address: 5, label: SD-3, place: p3, zone: z3, cable_m: 5, smoke_detector: {}}
      - {address: 11, label: S-0, place: p0, cable_m: 5, loop_sounder: {}}
      - {address: 12, label: S-1, place: p1, cable_m: 5, loop_sounder: {}}
      - {address: 13, label: S-2, place: p2, cable_m: 5, loop_sounder: {}}
      - {address: 14, label: S-3, place: p3, cable_m: 5, loop_sounder: {}}
      - {address: 15, label: FAN, place: p0, cable_m: 5, relay_module: {}}
      - {address: 16, label: FAN-2, place: p0, cable_m: 5, relay_module: {}}
program:
  detection:
    - {zone: z0, confirm: other, within: 60s}
  controls: [{control: hold}, {control: hurry}]
  causes:
    - {cause: f0, when: "zone('z0').fire"}
    - {cause: f1, when: "zone('z1').fire"}
    - {cause: f2, when: "zone('z2').fire"}
    - {cause: f3, when: "zone('z3').fire"}
    - {cause: either, when: "zone('z1').fire || zone('z2').fire"}
  effects:
    - {effect: s0, outputs: [S-0], silenceable: true}
    - {effect: s1, outputs: [S-1], silenceable: true}
    - {effect: s2, outputs: [S-2], silenceable: true}
    - {effect: s3, outputs: [S-3], silenceable: true}
    - {effect: fan, outputs: [FAN]}
    - {effect: fan-2, outputs: [FAN-2]}
  actions:
    - {causes: [f1], effects: [fan], state: "on", after: 10s}
    - {causes: [f2], effects: [fan], state: "on", after: 10s}
  phasings:
    - phasing: main
      step_time: 60s
      hold: hold
      hurry: hurry
      floors: [{floor: G, cause: f0, effect: s0}, {floor: L1, cause: f1, effect: s1}, {floor: L2, cause: f2, effect: s2}, {floor: L3, cause: f3, effect: s3}]
  overrides:
    - {override: fan-switch, effects: [fan], opposes: [fan-2]}
`

// TestProgramKinds: one thing changed in what is more than an action: phasing, override, detection, the way a
// condition is divided over actions, an effect of a set divided in two.
func TestProgramKinds(t *testing.T) {
	set := strings.Replace(office, "{effect: fan, outputs: [FAN]}\n    - {effect: fan-2, outputs: [FAN-2]}", "{effect: fan, outputs: [FAN, FAN-2], one_of: x}\n    - {effect: other, outputs: [S-0], one_of: x}", 1)
	set = strings.Replace(set, "effects: [fan], opposes: [fan-2]", "effects: [fan]", 1)
	tests := []struct {
		name, text, old, changed string
		kind, known, subject     string
	}{
		{"step time", office, "step_time: 60s", "step_time: 90s", "behaviour", simulated, "S-2"},
		{"waiting", office, "step_time: 60s", "step_time: 60s\n      waiting: nothing", "behaviour", simulated, "S-3"},
		{"together", office, "step_time: 60s", "step_time: 60s\n      together: [above, below]", "behaviour", simulated, "S-0"},
		{"hold", office, "      hold: hold\n", "", "behaviour", simulated, "S-2"},
		{"floor's effect", office, "{floor: L3, cause: f3, effect: s3}]", "{floor: L3, cause: f3, effect: fan-x}]", "behaviour", simulated, "S-3"},
		{"override's effect", office, "effects: [fan], opposes: [fan-2]", "effects: [fan]", "behaviour", simulated, "FAN-2"},
		{"override's level", office, "override: fan-switch,", "override: fan-switch, level: 3,", "override", unseen, "fan-switch"},
		{"what an override reaches", office, "{effect: fan-2, outputs: [FAN-2]}", "{effect: fan-2, outputs: [FAN-2]}\n    - {effect: spare, outputs: [FAN-2]}", "", "", ""},
		{"confirmation", office, "confirm: other, within: 60s", "confirm: none", "detection", simulated, "z0"},
		{"window", office, "within: 60s", "within: 50s", "detection", simulated, "z0"},
		{"conditions joined", office, "{causes: [f1], effects: [fan], state: \"on\", after: 10s}\n    - {causes: [f2], effects: [fan], state: \"on\", after: 10s}",
			"{causes: [either], effects: [fan], state: \"on\", after: 10s}", "sequence", decided, "FAN"},
		{"one effect of a set in two", set, "{effect: fan, outputs: [FAN, FAN-2], one_of: x}", "{effect: fan, outputs: [FAN], one_of: x}\n    - {effect: more, outputs: [FAN-2], one_of: x}", "behaviour", decided, "FAN"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			changed := replaced(t, test.text, test.old, test.changed)
			if test.name == "one effect of a set in two" {
				changed = strings.ReplaceAll(changed, "effects: [fan], state", "effects: [fan, more], state")
			}
			if strings.Contains(changed, "fan-x") {
				changed = strings.ReplaceAll(replaced(t, changed, "    - {effect: s3, outputs: [S-3], silenceable: true}\n", "    - {effect: s3, outputs: [S-3], silenceable: true}\n    - {effect: fan-x, outputs: [S-3]}\n"), "x-x", "x")
			}
			report := compare(t, read(t, test.text), read(t, changed))
			if test.kind == "" {
				if !report.GetSame() {
					t.Fatalf("the same is said to be different:\n%s", reportText(t, report))
				}
				return
			}
			if !slices.ContainsFunc(report.GetDifferences(), func(d *pb.Difference) bool {
				return d.GetKind() == test.kind && d.GetKnown() == test.known && slices.Contains(d.GetSubjects(), test.subject)
			}) {
				t.Errorf("want %s of %s, %s:\n%s", test.kind, test.subject, test.known, reportText(t, report))
			}
		})
	}
}

// TestOverrideReach: an output that joins the effects in an override's reach is reached, though no action asks
// anything of it.
func TestOverrideReach(t *testing.T) {
	old := read(t, office)
	m := proto.CloneOf(old.Site)
	for _, e := range m.GetProgram().GetEffects() {
		if e.GetEffect() == "fan-2" {
			e.Outputs = nil
		}
		if e.GetEffect() == "fan" {
			e.Outputs = append(e.Outputs, "FAN-2")
		}
	}
	m.Program.Overrides[0].Opposes = nil
	changed, ok := made(m)
	if !ok {
		t.Fatal("refused")
	}
	report := compare(t, old, changed)
	var d *pb.Difference
	for _, one := range report.GetDifferences() {
		if one.GetSubjects()[0] == "FAN-2" {
			d = one
		}
	}
	if d == nil || d.GetKnown() != simulated {
		t.Errorf("an override reaches FAN-2 in another way:\n%s", reportText(t, report))
	}
}
