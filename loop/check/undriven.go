package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/proto/finding"
)

// undriven warns of equipment that the panel can neither operate nor cut: the wire to it may have
// been forgotten, and no row of a matrix would show that.
func (j *judge) undriven() {
	driven := map[string]bool{}
	for _, o := range j.in.Outputs {
		if o.Equipment >= 0 {
			driven[j.in.Plant.ID(int(o.Equipment))] = true
		}
	}
	for _, e := range j.site.GetEquipment() {
		for _, id := range e.GetTrip().GetCuts() {
			driven[id] = true
		}
	}
	for i, e := range j.site.GetEquipment() {
		if !driven[e.GetEquipment()] {
			j.add(finding.Warn("equipment.undriven", fmt.Sprintf("equipment[%d]", i), fmt.Sprintf("no output drives %q, and no trip cuts it", e.GetEquipment()),
				"write `drives` at the output that operates it; a spare may stay"), commonPractice)
		}
	}
}
