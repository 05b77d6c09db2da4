package verify

import (
	"fmt"
	"strings"
	"testing"
)

const waysProgram = `
program:
  causes: [{cause: fire, when: "panel.fire"}]
  effects: [{effect: bell, outputs: [BELL]}]
  actions: [{causes: [fire], effects: [bell], state: "on"}]
`

// ofDevices joins the fires of devices by &&.
func ofDevices(labels ...string) string {
	var words []string
	for _, l := range labels {
		words = append(words, fmt.Sprintf("device('%s').fire", l))
	}
	return strings.Join(words, " && ")
}

// TestWayTooLong: five signals are run at once after each and in every order (5 + 5! runs); a row
// of six is errored, whatever else is in the matrix, and the verification fails.
func TestWayTooLong(t *testing.T) {
	five := []string{"HALL-SD-1", "HALL-SD-2", "HALL-CP", "LOBBY-SD", "LOFT-SD"}
	built := buildText(t, readText(t, "testdata/bench.yaml")+waysProgram, "cause,when,given,BELL\n"+
		"five,"+ofDevices(five...)+",,on\nsix,"+ofDevices(append(five, "LOFT-CP")...)+",,on\nfire,panel.fire,,on\n")
	v := newVerifier(t, built.Plan(), built.Matrix)
	if bad := v.rows[1].errored; bad.GetCode() != "matrix.way-too-long" || bad.GetDetail() == "" {
		t.Errorf("a way of six signals: %v", bad)
	}
	if v.rows[0].errored != nil || v.rows[2].errored != nil || len(v.runs) != 5+120+7 {
		t.Errorf("%v, %v, %d runs", v.rows[0].errored, v.rows[2].errored, len(v.runs))
	}
	report, _ := verified(t, v)
	if c := report.GetCells()[1]; report.GetPassed() || c.GetVerdict() != errored.String() {
		t.Errorf("passed %v, %s x %s: %s", report.GetPassed(), c.GetCause(), c.GetColumn(), c.GetVerdict())
	}
}

// TestTooManyRuns: the rows that fit are judged, that which does not and those after it are
// errored, and none of their runs is made.
func TestTooManyRuns(t *testing.T) {
	built := buildText(t, readText(t, "testdata/bench.yaml")+waysProgram, "cause,when,given,BELL\n"+
		"call,device('HALL-CP').fire,,on\nfire,panel.fire,,on\nsmoke,device('LOFT-SD').fire,,on\n")
	for limit, fit := range map[int]int{7: 3, 6: 1, 1: 1} {
		v, err := newLimited(t.Context(), built.Plan(), built.Matrix, limit)
		if err != nil {
			t.Fatal(err)
		}
		for i := range v.rows {
			code := ""
			if i >= fit {
				code = "matrix.too-many-runs"
			}
			if got := v.rows[i].errored.GetCode(); got != code {
				t.Errorf("limit %d: row %d: %q, want %q", limit, i, got, code)
			}
		}
		report, records := verified(t, v)
		if want := map[int]int{3: 7, 1: 1}[fit]; len(records) != want || report.GetPassed() != (fit == 3) {
			t.Errorf("limit %d: %d runs, want %d; passed %v", limit, len(records), want, report.GetPassed())
		}
		for _, c := range report.GetCells()[fit:] {
			if c.GetVerdict() != errored.String() {
				t.Errorf("limit %d: %s: %s", limit, c.GetCause(), c.GetVerdict())
			}
		}
		if got := report.GetCells()[0].GetVerdict(); got != asRequired.String() {
			t.Errorf("limit %d: the row that fits: %s", limit, got)
		}
	}
}
