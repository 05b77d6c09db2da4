package verify

import (
	"fmt"
	"slices"
	"testing"

	"loopdrill.dev/loopdrill/logic/matrix"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/mutant"
)

// maxIdentical is how many mutants of the demo may do the same as the original in every run.
const maxIdentical = 5

// trial is a mutant verified against the demo's own matrix.
type trial struct {
	differing map[string]bool // runs in which something outside the program differs
	inside    int             // further runs whose log differs only inside the program
	passed    bool
	named     []string // runs that the report names
}

// caught reports whether the report fails and names a run that differs.
func (m *trial) caught() bool {
	return !m.passed && slices.ContainsFunc(m.named, func(run string) bool { return m.differing[run] })
}

// reason says why a mutant does the same as the original.
func (m *trial) reason() string {
	if m.inside == 0 {
		return "every log is the same, byte for byte: no run reaches what was changed"
	}
	return fmt.Sprintf("in %d runs it shows inside the program only: nothing else is asked of any output", m.inside)
}

// try verifies a mutant. All verifications watch equally long, so that a longer delay in the
// program alone moves nothing.
func try(t *testing.T, site *pb.Site, m *matrix.Matrix, original []Record, hold watch) (*trial, bool) {
	plan, ok := planOf(site)
	if !ok {
		return nil, false
	}
	v := newVerifier(t, plan, m)
	v.watch = hold
	report, records := verified(t, v)
	if len(records) != len(original) {
		t.Fatalf("%d runs, the original has %d", len(records), len(original))
	}
	out := &trial{differing: map[string]bool{}, passed: report.GetPassed()}
	for i := range records {
		switch {
		case records[i].Text != original[i].Text:
			t.Fatalf("run %d is %q, that of the original %q", i, records[i].Text, original[i].Text)
		case records[i].Outside != original[i].Outside:
			out.differing[records[i].Text] = true
		case records[i].Digest != original[i].Digest:
			out.inside++
		}
	}
	for _, c := range report.GetCells() {
		if c.GetDifference() != nil {
			out.named = append(out.named, c.GetDifference().GetRun())
		}
	}
	for _, d := range report.GetDifferences() {
		out.named = append(out.named, d.GetRun())
	}
	return out, true
}

// originalRuns verifies the demo, watched for as long as its slowest mutant.
func originalRuns(t *testing.T) (*pb.Site, *matrix.Matrix, []Record, watch) {
	demo := openDemo(t)
	v := newVerifier(t, demo.Plan(), demo.Matrix)
	v.watch.horizon += mutant.Delay
	v.watch.reset += mutant.Delay
	report, records := verified(t, v)
	if !report.GetPassed() {
		t.Fatal("the demo itself does not pass")
	}
	return demo.Site, demo.Matrix, records, v.watch
}

// TestMutants: where anything outside the program differs from the original in any run, the
// verification fails and names a run in which it does. Mutants that differ nowhere are few, and
// listed with the reason.
func TestMutants(t *testing.T) {
	site, m, original, hold := originalRuns(t)
	differing, identical := 0, 0
	err := mutant.Fifty(site, func(changed *pb.Site, text string) bool {
		trial, ok := try(t, changed, m, original, hold)
		switch {
		case !ok: // no program: refused before anything runs
		case len(trial.differing) == 0:
			identical++
			t.Logf("%s: %s", text, trial.reason())
			if !trial.passed {
				t.Errorf("%s: fails, and no run differs from the original's", text)
			}
		case !trial.caught():
			t.Errorf("%s: %d runs differ; passed %v, names %q", text, len(trial.differing), trial.passed, trial.named)
		default:
			differing++
		}
		return ok
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d mutants differ and are caught, %d do the same", differing, identical)
	if identical > maxIdentical {
		t.Errorf("%d mutants do the same as the original: at most %d", identical, maxIdentical)
	}
}
