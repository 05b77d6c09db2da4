package drill

import (
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// Conditions lists the words of what the panel indicates, the first indicated at the head; `quiescent`
// alone where nothing stands, and nothing at all while the panel is stopped.
func (d *Drill) Conditions() []string {
	if d.Fact(term.Fact{Kind: term.PanelStopped}) {
		return nil
	}
	var words []string
	for _, c := range d.plan.Program.Conditions(d.program) {
		words = append(words, c.String())
	}
	if len(words) == 0 {
		words = append(words, panel.Quiescent.String())
	}
	return words
}

// Position is the position of an override: term.Auto, SwitchedOn or SwitchedOff.
func (d *Drill) Position(override int32) int32 {
	return d.plan.Program.Position(d.program, int(override))
}

// Read is the last valid reading of a point, also of one whose zone is in test and for which
// conditions do not see it.
func (d *Drill) Read(point int32) bool { return d.points[point].read }
