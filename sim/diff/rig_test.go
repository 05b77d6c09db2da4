package diff

import (
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/starter"
)

// bench is a small installation: two zones, an input of each sort, relays and a sounder circuit.
const bench = `
site: bench
rules: {packs: [nfpa72]}
places: [{place: hall}, {place: loft}]
zones: [{zone: hall}, {zone: loft}]
supplies: [{supply: psu, voltage_v: 24, current_limit_a: 3}]
equipment:
  - {equipment: fan, fan: {run_up: 5s}}
loops:
  - loop: 1
    wiring: ring
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    return_cable_m: 10
    devices:
      - {address: 1, label: HALL-SD-1, place: hall, zone: hall, cable_m: 10, smoke_detector: {prealarm: true}}
      - {address: 2, label: HALL-SD-2, place: hall, zone: hall, groups: [pair], cable_m: 10, smoke_detector: {}}
      - {address: 3, label: HALL-CP, place: hall, zone: hall, cable_m: 10, call_point: {}, isolator: true}
      - {address: 4, label: LOFT-SD-1, place: loft, zone: loft, groups: [pair], cable_m: 10, smoke_detector: {}}
      - {address: 5, label: LOFT-HD-1, place: loft, zone: loft, cable_m: 10, heat_detector: {}}
      - {address: 6, label: PUMP, place: loft, cable_m: 10, input_module: {input: technical}}
      - {address: 7, label: VALVE, place: loft, cable_m: 10, input_module: {input: supervisory}}
      - {address: 8, label: R1, place: hall, cable_m: 10, relay_module: {drives: {equipment: fan, input: start}}}
      - {address: 9, label: R2, place: hall, cable_m: 10, relay_module: {}}
      - {address: 10, label: FAN-RUNS, place: hall, cable_m: 5, input_module: {input: technical, proves: {equipment: fan, signal: running}}}
      - {label: ISO-1, cable_m: 3, isolator: {}}
      - address: 11
        label: S1
        place: hall
        cable_m: 10
        control_module:
          supply: psu
          circuit:
            end_of_line_ohm: 4700
            loads: [{label: L1, cable_m: 10, sounder: {current_ma: 20}}, {label: L2, cable_m: 10, sounder: {current_ma: 20}}]
`

// program is a small program for the bench.
const program = `
program:
  controls: [{control: hold}]
  causes:
    - {cause: hall-fire, when: "zone('hall').fire"}
    - {cause: loft-fire, when: "zone('loft').fire"}
    - {cause: pump, when: "device('PUMP').active"}
  effects:
    - {effect: sound, outputs: [S1], silenceable: true}
    - {effect: fan, outputs: [R1], until: reset, one_of: smoke}
    - {effect: door, outputs: [R2], one_of: smoke}
  actions:
    - {causes: [hall-fire], effects: [sound], state: evacuate}
    - {causes: [loft-fire], effects: [sound], state: alert, after: 30s, pause_while: "control('hold').on"}
    - {causes: [hall-fire], effects: [fan], state: "on"}
    - {causes: [loft-fire, pump], effects: [door], state: "on", hold: 5s}
`

// read builds a site from its text.
func read(t testing.TB, text string) *site.Built {
	t.Helper()
	return accept(t, site.Bundle{Site: site.File{Path: "site.yaml", Data: []byte(text)}})
}

func accept(t testing.TB, bundle site.Bundle) *site.Built {
	t.Helper()
	built, found := site.Build(bundle)
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		for _, f := range found {
			t.Errorf("%s:%d: %s: %s", f.GetPosition().GetFile(), f.GetPosition().GetLine(), f.GetTitle(), f.GetDetail())
		}
		t.FailNow()
	}
	return built
}

// open builds a site of testdata.
func open(t testing.TB, name string) *site.Built {
	t.Helper()
	bundle, err := site.Open("../../testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	bundle.Matrix, bundle.Scenarios = nil, nil
	return accept(t, bundle)
}

// made builds a site from a message that no file holds; false where the models refuse it.
func made(m *pb.Site) (*site.Built, bool) {
	in, found := loop.Compile(m)
	world := site.World(m, in)
	program, problems := logic.Compile(m, world)
	if finding.Worst(append(found, problems...)) == pb.Severity_SEVERITY_REFUSED {
		return nil, false
	}
	return &site.Built{Site: m, Installation: in, World: world, Program: program}, true
}

// grid is a generated site.
func grid(t testing.TB, loops, devices int) *site.Built {
	t.Helper()
	files, err := starter.Grid(loops, devices)
	if err != nil {
		t.Fatal(err)
	}
	bundle := files.Bundle("grid")
	bundle.Matrix, bundle.Scenarios = nil, nil
	return accept(t, bundle)
}

func compare(t testing.TB, old, changed *site.Built) *pb.DiffReport {
	t.Helper()
	report, err := Compare(t.Context(), old, changed, Options{Retest: true})
	if err != nil {
		t.Fatal(err)
	}
	return report
}

// reportText writes a report as text.
func reportText(t testing.TB, r *pb.DiffReport) string {
	t.Helper()
	var out strings.Builder
	if err := WriteText(&out, r); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// replaced puts one text in the place of another that must be there once.
func replaced(t testing.TB, text, old, with string) string {
	t.Helper()
	if strings.Count(text, old) != 1 {
		t.Fatalf("%q stands %d times in the text", old, strings.Count(text, old))
	}
	return strings.Replace(text, old, with, 1)
}
