package site

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// The defaults of the panel that `check --effective` prints are those that the program applies: a
// file that writes one out compiles to the same program as a file without the key, and a file that
// writes another value does not. (Package loop holds its other defaults to what it compiles.)
func TestPanelDefaults(t *testing.T) {
	others := map[string]string{"reset": "drop-all", "resound": "new-device", "mode": "night", "switch_time": "7ms"}
	compile := func(panel string) *Built {
		t.Helper()
		text := fmt.Sprintf(`site: x
rules: {packs: [nfpa72]}
%s
places: [{place: hall}]
zones: [{zone: hall}]
loops:
  - loop: 1
    wiring: branch
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    devices:
      - {address: 1, label: SD, place: hall, zone: hall, cable_m: 12, smoke_detector: {}}
      - {address: 2, label: FAN, cable_m: 12, relay_module: {}}
program:
  causes: [{cause: fire, when: "panel.fire && panel.mode == 'day'"}]
  effects: [{effect: fan, outputs: [FAN]}]
  actions: [{causes: [fire], effects: [fan], state: "on"}]
`, panel)
		built, found := Build(Bundle{Site: File{Path: "site.yaml", Data: []byte(text)}})
		if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("%s: %v", panel, found)
		}
		return built
	}
	silent := compile("")
	seen := 0
	for _, d := range loop.Defaults() {
		key := strings.TrimPrefix(d.Key, "panel.")
		other, ok := others[key]
		if !ok {
			continue
		}
		seen++
		value := strings.ReplaceAll(d.Value, " ", "") // `1 ms`, as a file says it
		if said := compile("panel: {" + key + ": " + value + "}"); !reflect.DeepEqual(said.Program, silent.Program) {
			t.Errorf("%s: %s written out makes another program than nothing", d.Key, d.Value)
		}
		if changed := compile("panel: {" + key + ": " + other + "}"); reflect.DeepEqual(changed.Program, silent.Program) {
			t.Errorf("%s: %s makes no other program", d.Key, other)
		}
	}
	if seen != len(others) {
		t.Errorf("%d of %d defaults of the panel are printed", seen, len(others))
	}
}

// TestEffectiveConditions: what a file can replace is not said to hold always, and with a calendar the mode at
// the start of a scenario is not the default's.
func TestEffectiveConditions(t *testing.T) {
	with := &pb.Site{
		Panel:   &pb.Panel{Calendar: []*pb.ModeChange{{Mode: "night"}}},
		Program: &pb.Program{Detection: []*pb.Detection{{Zone: "hall", Confirm: "other"}}},
	}
	sounder := func(s *pb.LoopSounder) *pb.Device {
		return &pb.Device{Kind: &pb.Device_LoopSounder{LoopSounder: s}}
	}
	with.Loops = []*pb.Loop{{Devices: []*pb.Device{ // a power is given in place of the current
		sounder(&pb.LoopSounder{}), sounder(&pb.LoopSounder{PowerW: new(0.2)}), sounder(&pb.LoopSounder{CurrentMa: new(4.0)}),
	}}}
	where := map[string]string{}
	for _, d := range Effective(with) {
		where[d.Key] = d.Where
	}
	for key, want := range map[string]string{
		"panel.mode": "a calendar is given", "loads.min_voltage_v": "where not given", "equipment.coil_v": "where not given",
		"pre-alarm level": "always", "circuit.isolator": "always", "program.detection.detectors": "not given in 1 of 1",
		"loop_sounder.current_ma": "not given in 1 of 3",
	} {
		if where[key] != want {
			t.Errorf("%s: %q, want %q", key, where[key], want)
		}
	}
}
