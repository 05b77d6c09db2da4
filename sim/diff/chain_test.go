package diff

import (
	"fmt"
	"testing"
)

// TestChainIsRun: where one action's output makes the next cause true, the runs go on until the last delay is over, so
// that a difference at the end of the chain is shown and not only decided.
func TestChainIsRun(t *testing.T) {
	chain := func(last string) string {
		return fmt.Sprintf(`
program:
  causes:
    - {cause: fire, when: "device('HALL-CP').fire"}
    - {cause: first, when: "output('R1').commanded == 'on'"}
    - {cause: second, when: "output('R2').commanded == 'on'"}
  effects: [{effect: fan, outputs: [R1]}, {effect: door, outputs: [R2]}, {effect: sound, outputs: [S1]}]
  actions:
    - {causes: [fire], effects: [fan], state: "on", after: 5m}
    - {causes: [first], effects: [door], state: "on", after: 5m}
    - {causes: [second], effects: [sound], state: evacuate, after: 5m%s}
`, last)
	}
	r := compare(t, read(t, bench+chain("")), read(t, bench+chain(", for: 10s")))
	if len(r.GetDifferences()) != 1 {
		t.Fatalf("%d differences", len(r.GetDifferences()))
	}
	d := r.GetDifferences()[0]
	if d.GetKnown() != simulated || d.GetStimulus() != "HALL-CP" || len(d.GetNewCourse().GetChain()) == 0 {
		t.Errorf("%s by %s, with a chain of %d events", d.GetKnown(), d.GetStimulus(), len(d.GetNewCourse().GetChain()))
	}
}
