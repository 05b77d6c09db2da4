package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// releases: a switch above automatic control has no delay before the discharge and knows no hold-off,
// and put to off it keeps the agent back from a confirmed fire for as long as nobody looks.
func (j *judge) releases() {
	release := map[string]bool{}
	for _, a := range j.file.GetActions() {
		if a.GetState() == term.Release.String() {
			for _, e := range a.GetEffects() {
				release[e] = true
			}
		}
	}
	for i, o := range j.file.GetOverrides() {
		path := fmt.Sprintf("program.overrides[%d]", i)
		j.switched(o.GetOverride(), path+".effects", o.GetEffects(), release)
		j.switched(o.GetOverride(), path+".opposes", o.GetOpposes(), release)
	}
}

// switched warns of the effects of a switch that release.
func (j *judge) switched(id, path string, effects []string, release map[string]bool) {
	for n, e := range effects {
		if release[e] {
			j.add(finding.Warn("program.switched-release", fmt.Sprintf("%s[%d]", path, n), fmt.Sprintf("the switch %q rules the release %q", id, e),
				"it lets the agent go without the delay and past the hold-off, or keeps it back: release by hand through an input of its own"),
				"guide specifications for CO2")
		}
	}
}
