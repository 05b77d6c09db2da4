package verify

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/sim/site"
)

// TestMadeVerifies: the matrix that the demo's program makes, taken as what is required of it,
// holds in every cell; it has ways of one signal and of several, delays, pulses and stages.
func TestMadeVerifies(t *testing.T) {
	demo := openDemo(t)
	table, err := Made(t.Context(), demo.Plan(), demo.Causes())
	if err != nil {
		t.Fatal(err)
	}
	var text strings.Builder
	if err := table.WriteCSV(&text); err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{" && ", " || ", " after ", " for ", " then ", "silenceable", " hold 30s", " until reset"} {
		if !strings.Contains(text.String(), word) {
			t.Errorf("the table holds no %q", word)
		}
	}
	data, err := os.ReadFile(filepath.Join(demoFolder, "site.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	built := mustBuild(t, site.Bundle{
		Site:   site.File{Path: "site.yaml", Data: data},
		Matrix: &site.File{Path: "made.csv", Data: []byte(text.String())},
	})
	report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
	if !report.GetPassed() {
		for _, c := range report.GetCells() {
			if c.GetVerdict() != asRequired.String() {
				t.Errorf("%s x %s: %s", c.GetCause(), c.GetColumn(), c.GetVerdict())
			}
		}
		for _, d := range report.GetDifferences() {
			t.Errorf("run %s: %s %s", d.GetRun(), d.GetOutput(), d.GetVerdict())
		}
		t.Fatal("failed")
	}
}

// A signal that its zone holds until another one comes has its row with that other one, and a row of its
// own for what it does while it is held.
func TestMadeOfHeldSignals(t *testing.T) {
	text := readText(t, "testdata/bench.yaml") + `program:
  detection: [{zone: hall, confirm: other, first_signal: prealarm}]
  causes: [{cause: hall-fire, when: "zone('hall').fire"}, {cause: hall-first, when: "zone('hall').prealarm"}]
  effects: [{effect: bell, outputs: [BELL]}, {effect: lamp, outputs: [DOOR]}]
  actions: [{causes: [hall-fire], effects: [bell], state: "on"}, {causes: [hall-first], effects: [lamp], state: "on"}]
`
	built := mustBuild(t, site.Bundle{Site: site.File{Path: "site.yaml", Data: []byte(text)}})
	table, err := Made(t.Context(), built.Plan(), built.Causes())
	if err != nil {
		t.Fatal(err)
	}
	bell, lamp := slices.Index(table.Columns, "BELL"), slices.Index(table.Columns, "DOOR")
	both := 0
	for _, row := range table.Rows {
		switch strings.Count(row.When, "HALL-SD") {
		case 2:
			if strings.Contains(row.When, "&&") {
				both++
				if row.Cells[bell] != "on" {
					t.Errorf("two signals: %+v", row)
				}
			} else if row.Cells[bell] != "" || row.Cells[lamp] != "on" {
				t.Errorf("either signal alone: %+v", row)
			}
		case 1:
			if row.Cells[bell] != "" || row.Cells[lamp] != "on" {
				t.Errorf("one signal: %+v", row)
			}
		}
	}
	if both != 1 {
		t.Errorf("%d rows of two signals: %+v, notes %q", both, table.Rows, table.Notes)
	}
}
