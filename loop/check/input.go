package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// inputs warns of signals that a broken wire would keep back in silence: those of a fire, of a release by hand and of its
// hold-off, over wiring without an end-of-line resistor. A contact that rests closed signals when its wire breaks; what
// proves or watches something is judged with that.
func (j *judge) inputs() {
	for i := range j.in.Points {
		p := &j.in.Points[i]
		device := j.site.GetLoops()[p.Loop].GetDevices()[p.Entry]
		m, path := device.GetInputModule(), p.Path+".input_module"
		switch {
		case device.GetConventionalZone() != nil:
			path = p.Path + ".conventional_zone"
		case m == nil || m.GetAtRest() == "closed" || m.GetProves() != nil || m.GetWatches() != nil:
			continue
		}
		if p.Supervised || !p.Input.Fire() && p.Input != loop.ReleaseInput && p.Input != loop.HoldOff {
			continue
		}
		j.add(finding.Warn("input.unsupervised", path, fmt.Sprintf("a broken wire of %q shows nowhere", p.Label),
			"its signal would be missed when it counts: put the resistor at the end of the line, and write end_of_line_ohm"), j.rules.Clause(rule.InputWiring))
	}
}
