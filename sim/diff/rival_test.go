package diff

import (
	"slices"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// exclusive is a program with a one_of set, and a pulse of two causes.
const exclusive = `
program:
  causes:
    - {cause: hall, when: "zone('hall').fire || group('pair').fire"}
    - {cause: loft, when: "device('LOFT-HD-1').fire"}
    - {cause: sd, when: "device('HALL-SD-1').fire"}
    - {cause: cp, when: "device('HALL-CP').fire"}
    - {cause: sd-or-cp, when: "cause('sd') || cause('cp')"}
  effects:
    - {effect: fan, outputs: [R1], until: reset, one_of: smoke}
    - {effect: door, outputs: [R2], until: reset, one_of: smoke}
    - {effect: sound, outputs: [S1], silenceable: true}
  actions:
    - {causes: [hall], effects: [fan], state: "on"}
    - {causes: [loft], effects: [door], state: "on"}
    - {causes: [sd-or-cp], effects: [sound], state: evacuate, for: 20s}
`

// TestSmallestOfSets: what shows only after another signal, or by the one device that a set's effect has lost, is shown by
// just that; and whatever shares the set is tested again.
func TestSmallestOfSets(t *testing.T) {
	tests := []struct{ name, old, changed, subject, stimulus, retest string }{
		{"a cause without some of its devices", " || group('pair').fire", "", "R1", "LOFT-SD-1", "R2"},
		{"an effect out of its set", "outputs: [R1], until: reset, one_of: smoke", "outputs: [R1], until: reset", "R1", "LOFT-HD-1, then HALL-SD-1", "R2"},
		{"a pulse that a second cause repeats", "causes: [sd-or-cp], effects", "causes: [sd, cp], effects", "S1", "HALL-SD-1, then HALL-CP", "S1"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			old := bench + exclusive
			report := compare(t, read(t, old), read(t, replaced(t, old, test.old, test.changed)))
			at := slices.IndexFunc(report.GetDifferences(), func(d *pb.Difference) bool { return slices.Contains(d.GetSubjects(), test.subject) })
			if at < 0 {
				t.Fatalf("no difference of %s:\n%s", test.subject, reportText(t, report))
			}
			if d := report.GetDifferences()[at]; d.GetKnown() != simulated || d.GetStimulus() != test.stimulus || strings.Contains(d.GetOldCourse().GetDid()+d.GetNewCourse().GetDid(), "-") {
				t.Errorf("want %s shown by %s:\n%s", test.subject, test.stimulus, reportText(t, report))
			}
			if !slices.ContainsFunc(report.GetRetest().GetFunctions(), func(f *pb.RetestFunction) bool { return slices.Contains(f.GetSubjects(), test.retest) }) {
				t.Errorf("%s is not to be tested again: %v", test.retest, report.GetRetest().GetFunctions())
			}
		})
	}
}

// TestRetestConfirms: detectors that confirm those of another zone are affected by what becomes of that zone's criterion.
func TestRetestConfirms(t *testing.T) {
	crossed := `program:
  detection: [{zone: hall, confirm: other-zone, other_zones: [loft]}]
`
	old := bench + strings.Replace(exclusive, "program:\n", crossed, 1)
	for _, named := range []string{"confirm: other-zone, other_zones: [loft]", "confirm: other-zone"} { // none named: every other zone
		was := replaced(t, old, "confirm: other-zone, other_zones: [loft]", named)
		report := compare(t, read(t, was), read(t, replaced(t, was, named, "confirm: other")))
		if !slices.ContainsFunc(report.GetRetest().GetAffected(), func(d *pb.RetestDevice) bool {
			return d.GetLabel() == "LOFT-HD-1" && strings.Contains(d.GetWhy(), "confirms hall")
		}) {
			t.Errorf("LOFT-HD-1 confirmed zone hall and does so no longer:\n%s", reportText(t, report))
		}
	}
}

// TestRetestSupplies: a module that hangs on another supply changes the load of both.
func TestRetestSupplies(t *testing.T) {
	old := replaced(t, bench+exclusive, "supplies: [{supply: psu, voltage_v: 24, current_limit_a: 3}]", "supplies: [{supply: psu, voltage_v: 24, current_limit_a: 3}, {supply: other, voltage_v: 24, current_limit_a: 3}]")
	report := compare(t, read(t, old), read(t, replaced(t, old, "supply: psu\n", "supply: other\n")))
	for _, want := range []string{"psu", "other", "S1"} {
		if !slices.ContainsFunc(report.GetRetest().GetFunctions(), func(f *pb.RetestFunction) bool { return slices.Contains(f.GetSubjects(), want) }) {
			t.Errorf("%s is not to be tested again: %v", want, report.GetRetest().GetFunctions())
		}
	}
}
