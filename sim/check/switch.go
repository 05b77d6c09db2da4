package check

import (
	"fmt"
	"slices"

	program "loopdrill.dev/loopdrill/logic/check"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// switches: a switch stands above all that is automatic, so that it must rule every output through which the program
// moves the same fan or damper: one that it leaves out works against it. Trips, which take the power away, are left to whoever
// designed them.
func (j *judge) switches() {
	for i, m := range j.Message.GetProgram().GetOverrides() {
		effects, opposes := j.outputsOf(m.GetEffects()), j.outputsOf(m.GetOpposes())
		for e := range j.Message.GetEquipment() {
			one, other, ok := opposed(j.Message.GetEquipment()[e])
			if !ok {
				continue
			}
			against := func(name string) string { return map[string]string{one: other, other: one}[name] }
			for _, o := range j.drivers[e] {
				_, name := j.input(o)
				if slices.Contains(effects, o) || slices.Contains(opposes, o) {
					continue
				}
				on := j.moves(effects, e, against(name)) || j.moves(opposes, e, name)
				off := j.moves(opposes, e, against(name)) || j.moves(effects, e, name)
				if on && j.actsAt(o, i, term.SwitchedOn) || off && j.actsAt(o, i, term.SwitchedOff) {
					j.add(finding.Warn("plant.switch-left-out", fmt.Sprintf("program.overrides[%d]", i), fmt.Sprintf("the switch %q moves %q, and %q may tell it to %s all the same", m.GetOverride(), j.Installation.Plant.ID(e), j.Installation.Outputs[o].Label, name),
						"whoever turns the switch has the last word: list the effects of that output under `opposes`, or under `effects` where it does the same"), commonPractice+": the firefighters' switch stands above all that is automatic")
					break
				}
			}
		}
	}
}

// outputsOf lists the outputs of effects, by id.
func (j *judge) outputsOf(ids []string) (outputs []int32) {
	for e, m := range j.Message.GetProgram().GetEffects() {
		if slices.Contains(ids, m.GetEffect()) {
			outputs = append(outputs, j.Program.EffectOutputs(e)...)
		}
	}
	return outputs
}

// moves tells whether one of some outputs drives an input of a piece of equipment.
func (j *judge) moves(outputs []int32, equipment int, input string) bool {
	return slices.ContainsFunc(outputs, func(o int32) bool { e, name := j.input(o); return e == equipment && name == input })
}

// actsAt tells whether the program may operate an output while a switch stands in a position.
func (j *judge) actsAt(output int32, override int, position int32) bool {
	s := j.analysis.Space
	return slices.ContainsFunc(j.demands(output), func(p *program.Pair) bool {
		_, ok := s.Witness(s.Assume(p.Active, func(f term.Fact) (holds, known bool) {
			return f.Value == position, f.Kind == term.OverrideAt && int(f.Index) == override
		}))
		return ok && s.Err() == nil
	})
}
