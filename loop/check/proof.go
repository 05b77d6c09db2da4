package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/proto/finding"
)

// proofs warns of proofs that healthy equipment gives only after the panel has missed them: each
// operation would raise a fault.
func (j *judge) proofs() {
	for i := range j.in.Points {
		p := &j.in.Points[i]
		if p.ProvesEquipment < 0 || p.Input.Fire() || !driven(j.in, int(p.ProvesEquipment)) {
			continue
		}
		takes := j.in.Plant.ProofTakes(int(p.ProvesEquipment), int(p.ProvesSignal)) + p.Retard
		if takes <= p.ProvesWithin {
			continue
		}
		j.add(finding.Warn("equipment.proof-too-late", p.Path, fmt.Sprintf("%s proves that %q has operated %gs after it was told, and the panel misses that after %gs",
			p.Label, j.in.Plant.ID(int(p.ProvesEquipment)), takes.Seconds(), p.ProvesWithin.Seconds()),
			"healthy equipment would raise a fault: shorten its time or, where it is agreed, write a longer `within` at `proves`"), commonPractice)
	}
}
