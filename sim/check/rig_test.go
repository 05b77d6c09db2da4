package check_test

import (
	"regexp"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/check"
	"loopdrill.dev/loopdrill/sim/site"
)

// part is what a case adds to the small house of the tests: whole lines of YAML.
type part struct {
	rules, places, zones, equipment, loop, devices, program, matrix, panel string
}

// house has two floors with a detector, a call point and a sounder each. Nothing is to be found about it.
func (p part) house() string {
	or := func(text, otherwise string) string {
		if text == "" {
			return otherwise
		}
		return text
	}
	return `site: house
rules: ` + or(p.rules, "{packs: [nfpa72]}") + `
` + p.panel + `
places:
  - {place: hall, floor: G, area_m2: 200}
  - {place: loft, floor: "1", area_m2: 200}
` + p.places + `
zones: [{zone: hall}, {zone: loft}` + p.zones + `]
equipment:
  - {equipment: bms, bms: {}}
` + p.equipment + `
loops:
  - loop: 1
    wiring: ring
    return_cable_m: 5
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
` + p.loop + `
    devices:
      - {address: 1, label: HALL-SD, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 2, label: HALL-CP, place: hall, zone: hall, cable_m: 5, call_point: {}}
      - {address: 3, label: HALL-S, place: hall, cable_m: 5, loop_sounder: {}}
      - {address: 4, label: LOFT-SD, place: loft, zone: loft, cable_m: 5, smoke_detector: {}}
      - {address: 5, label: LOFT-CP, place: loft, zone: loft, cable_m: 5, call_point: {}}
      - {address: 6, label: LOFT-S, place: loft, cable_m: 5, loop_sounder: {}}
      - {address: 7, label: BMS, place: hall, cable_m: 5, relay_module: {drives: {equipment: bms, input: point}}}
` + p.devices + `
` + or(p.program, program("", "", ""))
}

// program is that of the house, with more causes, effects and actions.
func program(causes, effects, actions string) string {
	return `program:
  controls: [{control: key}]
  causes:
    - {cause: hall, when: "zone('hall').fire"}
    - {cause: loft, when: "zone('loft').fire"}
    - {cause: any, when: "panel.fire"}
` + causes + `
  effects:
    - {effect: hall-s, outputs: [HALL-S], silenceable: true}
    - {effect: loft-s, outputs: [LOFT-S], silenceable: true}
    - {effect: bms, outputs: [BMS]}
` + effects + `
  actions:
    - {causes: [any], effects: [hall-s, loft-s], state: evacuate}
    - {causes: [any], effects: [bms], state: "on"}
` + actions
}

// american are standards that bind no site of the European packs.
var american = regexp.MustCompile(`NFPA|ASME|IBC|\bUL \d`)

// find checks a house, and that every finding says what one must; that of the same house under a European pack no finding
// rests on an American standard, too.
func find(t *testing.T, p part) []*pb.Finding {
	t.Helper()
	if p.rules == "" {
		abroad := p
		abroad.rules = "{packs: [bs5839-1]}"
		for _, f := range checked(t, abroad) {
			if text := f.GetClause() + f.GetTitle() + f.GetDetail(); american.MatchString(text) {
				t.Errorf("under bs5839-1 %s rests on %s", f.GetCode(), text)
			}
		}
	}
	return checked(t, p)
}

func checked(t *testing.T, p part) []*pb.Finding {
	t.Helper()
	b := site.Bundle{Site: site.File{Path: "site.yaml", Data: []byte(p.house())}}
	if p.matrix != "" {
		b.Matrix = &site.File{Path: "matrix.csv", Data: []byte(p.matrix)}
	}
	built, found := site.Build(b)
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		var out strings.Builder
		_ = site.WriteText(&out, found, site.Plain)
		t.Fatalf("refused:\n%s\n%s", out.String(), p.house())
	}
	found = check.Check(check.Site{Message: built.Site, Installation: built.Installation, World: built.World, Program: built.Program, Matrix: built.Matrix})
	for _, f := range found {
		if f.GetTitle() == "" || f.GetDetail() == "" || f.GetPath() == "" || f.GetClause() == "" || strings.Contains(f.GetTitle()+f.GetDetail(), "%!") || built.Where(f.GetPath()) == nil {
			t.Errorf("half a finding: %v", f)
		}
	}
	return found
}

// brief is severity, code and path of each finding.
func brief(found []*pb.Finding) string {
	var out []string
	for _, f := range found {
		out = append(out, strings.ToLower(strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_"))+" "+f.GetCode()+" "+f.GetPath())
	}
	return strings.Join(out, "\n")
}
