package logic

import (
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// vocabulary refuses an action whose state some output of its effects does not take (rule E6).
func (c *compiler) vocabulary(action int, state term.State, effects []int32) {
	var wrong []string
	example := term.Output{}
	for _, e := range effects {
		for _, o := range c.p.outsOf.at(e) {
			if out := c.world.Outputs[o]; !out.Takes(state) {
				wrong = append(wrong, out.Label)
				example = out
			}
		}
	}
	if len(wrong) == 0 {
		return
	}
	takes := "sounder circuits and loop sounders take alert, evacuate or off"
	if !example.Sounder {
		takes = "relays and circuits without sounders take on, release or off"
	}
	c.add(finding.Refuse("program.vocabulary", fmt.Sprintf("program.actions[%d].state", action),
		fmt.Sprintf("action %d demands %q of %s", action+1, state, finding.Sample(wrong, 5)), takes+"; give them an action of their own"))
}

// timing warns about times and conditions of an action that do not go together.
func (c *compiler) timing(path string, action *pb.Action) {
	if action.GetFor() != nil && action.GetHold() != nil {
		c.add(finding.Warn("program.for-with-hold", path+".hold", "`hold` follows a pulse", "the state lasts for `for` and then `hold`, whatever the cause does; one of the two is probably meant"))
	}
	if duration(action.GetAfter()) > 0 {
		return
	}
	for _, guard := range guardTexts(action)[1:] {
		if guard.text != "" {
			c.add(finding.Warn("program.guard-without-delay", path+"."+guard.key, "`"+guard.key+"` has no delay to act on", "it acts on the time that `after` sets, and there is none"))
		}
	}
}

// review warns about what is probably a slip: parts that nothing uses, causes that are true at
// rest or can never be true, conditions that depend on what they operate (rules E10, J6).
func (c *compiler) review(conditions *conditions) {
	if c.program == nil {
		return
	}
	for i, cause := range c.program.GetCauses() {
		path := fmt.Sprintf("program.causes[%d]", i)
		if len(c.p.pairsOf.at(int32(i))) == 0 && !conditions.used[i] {
			c.add(finding.Warn("program.cause-without-action", path, fmt.Sprintf("cause %q has no action", cause.GetCause()), "nothing follows from it; a spare may stay"))
		}
	}
	for i, ef := range c.program.GetEffects() {
		if len(c.p.pairsTo.at(int32(i))) == 0 && !c.p.overridden[i] {
			c.add(finding.Warn("program.effect-without-action", fmt.Sprintf("program.effects[%d]", i), fmt.Sprintf("effect %q has no action", ef.GetEffect()), "nothing operates it; a spare may stay"))
		}
	}
	for o, out := range c.world.Outputs {
		if len(c.p.effectsOf.at(int32(o))) == 0 {
			c.add(finding.Warn("program.output-without-effect", c.outputPath(out.Label), out.Label+" is in no effect", "nothing operates it; a spare may stay"))
		}
	}
	if finding.Worst(c.findings) == pb.Severity_SEVERITY_REFUSED || c.world.Partial {
		return // what follows would speak of a program, or of devices, that are not there
	}
	s := c.p.NewState()
	for i, node := range c.p.causes {
		path := fmt.Sprintf("program.causes[%d].when", i)
		if node == c.p.net.never() {
			c.add(finding.Warn("program.never-true", path, fmt.Sprintf("cause %q can never be true", c.world.Causes[i]), "nothing that it names has a device that could make it so"))
		}
		if s.net.value[node] {
			c.add(finding.Warn("program.true-at-rest", path, fmt.Sprintf("cause %q is true at rest", c.world.Causes[i]), "it acts from the start, and nothing but its going false ends that"))
		}
	}
	c.warnFeedback(conditions)
}

// warnFeedback warns about causes that depend on the state of an output that they operate.
func (c *compiler) warnFeedback(conditions *conditions) {
	if !slices.Contains(c.p.watched, true) {
		return
	}
	for i, t := range conditions.causes {
		seen := map[term.Fact]bool{}
		var reads func(t *term.Term) string
		reads = func(t *term.Term) string {
			found := ""
			t.Each(func(f term.Fact) {
				switch {
				case found != "" || seen[f]:
					return
				case f.Kind == term.CauseTrue:
					seen[f] = true
					found = reads(conditions.causes[f.Index])
				case f.Kind == term.OutputCommanded && c.operates(i, f.Index):
					found = c.world.Outputs[f.Index].Label
				}
			})
			return found
		}
		if label := reads(t); label != "" {
			c.add(finding.Warn("program.feedback", fmt.Sprintf("program.causes[%d].when", i), fmt.Sprintf("cause %q reads the state of %s, which it operates", c.world.Causes[i], label), "it may hold itself, or switch to and fro for ever"))
		}
	}
}

// operates reports whether some action joins the cause with an effect of the output.
func (c *compiler) operates(cause int, output int32) bool {
	for _, i := range c.p.pairsOf.at(int32(cause)) {
		if slices.Contains(c.p.effectsOf.at(output), c.p.pairs[i].effect) {
			return true
		}
	}
	return false
}

// outputPath returns the path of the device or panel output with the label.
func (c *compiler) outputPath(label string) string {
	for l, loop := range c.site.GetLoops() {
		for d, device := range loop.GetDevices() {
			if device.GetLabel() == label {
				return fmt.Sprintf("loops[%d].devices[%d]", l, d)
			}
		}
	}
	for o, out := range c.site.GetPanel().GetOutputs() {
		if out.GetLabel() == label {
			return fmt.Sprintf("panel.outputs[%d]", o)
		}
	}
	return "program.effects"
}
