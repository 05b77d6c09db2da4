package diff

import (
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/mutant"
)

// maxAlike is how many mutants may do the same in every run: sim/verify finds three, by the same changes.
const maxAlike = 3

// TestMutants: of fifty mutants of the demo each is different, and the smallest stimulus that is named shows
// other courses on simulation; but for at most three that do the same in every run of the required matrix
// (what sim/verify finds by its own runs).
func TestMutants(t *testing.T) {
	demo := open(t, "alder-quay")
	alike := 0
	err := mutant.Fifty(demo.Site, func(changed *pb.Site, text string) bool {
		built, ok := made(changed)
		if !ok {
			return false
		}
		report := compare(t, demo, built)
		shown := false
		for _, d := range report.GetDifferences() {
			if d.GetKind() != "behaviour" && d.GetKind() != "sequence" {
				t.Errorf("%s: a difference of kind %s: %s", text, d.GetKind(), d.GetTitle())
			}
			if d.GetKnown() != simulated {
				continue
			}
			shown = true
			if d.GetOldCourse().GetDid() == d.GetNewCourse().GetDid() {
				t.Errorf("%s: by %s both did %q", text, d.GetStimulus(), d.GetOldCourse().GetDid())
			}
		}
		if !shown {
			alike++
			t.Logf("%s: same %v, %d differences and no run shows one", text, report.GetSame(), len(report.GetDifferences()))
		}
		return true
	})
	if err != nil {
		t.Fatal(err)
	}
	if alike > maxAlike {
		t.Errorf("%d mutants are not shown to be different: at most %d", alike, maxAlike)
	}
}
