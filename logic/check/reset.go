package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// resets finds effects that hold until reset what no reset ends: a cause that a key, a switch or the mode
// makes true by itself brings the effect back in the same instant.
func (j *judge) resets() {
	told := map[int]bool{}
	for i := range j.Pairs {
		p := &j.Pairs[i]
		if told[p.Effect] || !j.latches(p.Effect) || p.State == term.Off || p.Action < 0 {
			continue
		}
		kept := j.Space.Assume(p.Active, func(f term.Fact) (holds, known bool) {
			switch f.Kind {
			case term.ControlOn, term.OverrideAt, term.PanelMode, term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled, term.ZoneTest:
				return false, false
			}
			return false, true
		})
		facts, ok := j.Space.Witness(kept)
		if !ok || kept == bdd.True || len(facts) == 0 {
			continue // true at rest, which the compiler tells
		}
		told[p.Effect] = true
		j.add(finding.Warn("program.reset-does-not-end", fmt.Sprintf("program.effects[%d].until", p.Effect), fmt.Sprintf("reset cannot end effect %q while its cause %q stands", j.effect(p.Effect), j.cause(p.Cause)),
			fmt.Sprintf("%s is enough for it, and reset changes nothing of that: leave `until` out, or write the cause over signals that reset clears", j.Words(facts))), commonPractice)
	}
}
