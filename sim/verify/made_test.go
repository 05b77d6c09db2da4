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

// TestMadeSaysWhatIsHeld: a signal that its zone holds until another one comes has no row, which must not look
// as though it did nothing.
func TestMadeSaysWhatIsHeld(t *testing.T) {
	text := readText(t, "testdata/bench.yaml") + `program:
  detection: [{zone: hall, confirm: other}]
  causes: [{cause: hall-fire, when: "zone('hall').fire"}]
  effects: [{effect: bell, outputs: [BELL]}]
  actions: [{causes: [hall-fire], effects: [bell], state: "on"}]
`
	built := mustBuild(t, site.Bundle{Site: site.File{Path: "site.yaml", Data: []byte(text)}})
	table, err := Made(t.Context(), built.Plan(), built.Causes())
	if err != nil {
		t.Fatal(err)
	}
	for _, device := range []string{"HALL-SD-1", "HALL-SD-2"} {
		want := device + " does not make true: hall-fire; the detection of its zone holds the signal, and what must come beside it is not in the table"
		if !slices.Contains(table.Notes, want) {
			t.Errorf("no note %q among %q", want, table.Notes)
		}
	}
	for _, row := range table.Rows {
		if strings.Contains(row.When, "HALL-SD") {
			t.Errorf("a row of a held signal: %+v", row)
		}
	}
}
