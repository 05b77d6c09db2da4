package script

import (
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// NewCoverage lists everything that scenarios can exercise of a site.
func NewCoverage(plan *drill.Plan, m *pb.Site) *Coverage {
	c := &Coverage{plan: plan}
	for i, cause := range m.GetProgram().GetCauses() {
		c.causes = append(c.causes, &thing{name: cause.GetCause(), path: fmt.Sprintf("program.causes[%d]", i), aspects: []string{seenTrue, seenFalse}})
	}
	c.program(m)
	c.installation()
	c.zones(m.GetProgram())
	for i, o := range m.GetProgram().GetOverrides() {
		c.overrides = append(c.overrides, &thing{name: o.GetOverride(), path: fmt.Sprintf("program.overrides[%d]", i), aspects: []string{"on", "off"}})
	}
	for i, key := range m.GetProgram().GetControls() {
		c.controls = append(c.controls, &thing{name: key.GetControl(), path: fmt.Sprintf("program.controls[%d]", i), aspects: []string{turnedOn}})
	}
	c.modes = make([]*thing, 2)
	if usesMode(plan, m.GetProgram()) || len(m.GetPanel().GetCalendar()) > 0 {
		c.modes[term.Day] = &thing{name: "day", aspects: []string{seenTrue}}
		c.modes[term.Night] = &thing{name: "night", aspects: []string{seenTrue}}
	}
	for _, k := range keys {
		c.keys = append(c.keys, &thing{name: k.word, aspects: []string{turnedOn}})
	}
	for _, f := range raised {
		t := &thing{name: f.word}
		if (f.kind != drill.RingBroken || hasRing(plan)) && (f.kind != drill.ProofMissed || hasProof(plan)) {
			t.aspects = []string{seenTrue}
		}
		c.faults = append(c.faults, t)
	}
	c.sorts = []*sort{
		{"causes", c.causes}, {"actions", c.actions}, {"delays", c.delays}, {"outputs", c.outputs}, {"equipment", c.equipment},
		{"detection", c.detection}, {"controls", c.controls}, {"overrides", c.overrides}, {"modes", c.modes}, {"keys", c.keys}, {"faults", c.faults},
	}
	return c
}

// zones lists the zones that ask for more than one signal before they are in fire, by what may become of
// the first.
func (c *Coverage) zones(m *pb.Program) {
	c.detection = make([]*thing, len(c.plan.In.Zones))
	for i, d := range m.GetDetection() {
		t := &thing{name: d.GetZone(), path: fmt.Sprintf("program.detection[%d]", i)}
		if d.GetConfirm() != "" && d.GetConfirm() != "none" {
			t.aspects = append(t.aspects, held, confirmed, dropped)
		}
		if d.GetInvestigate() != nil {
			t.aspects = append(t.aspects, investigated)
		}
		if d.GetVerification() != nil {
			t.aspects = append(t.aspects, verified)
		}
		c.detection[slices.Index(c.plan.In.Zones, d.GetZone())] = t
	}
}

// usesMode reports whether any condition of the program asks for the mode.
func usesMode(plan *drill.Plan, m *pb.Program) bool {
	var texts []string
	for _, c := range m.GetCauses() {
		texts = append(texts, c.GetWhen())
	}
	for _, a := range m.GetActions() {
		texts = append(texts, a.GetUnless(), a.GetPauseWhile(), a.GetRestartWhile(), a.GetCancelWhen())
	}
	for _, d := range m.GetDetection() {
		texts = append(texts, d.GetInvestigate().GetGiven())
	}
	reader, uses := term.NewReader(plan.World), false
	for _, text := range texts {
		if text == "" {
			continue
		}
		when, problems := reader.Parse(text, term.Cause)
		if len(problems) > 0 {
			panic("script: a condition of a compiled program has problems: " + text)
		}
		when.Each(func(f term.Fact) { uses = uses || f.Kind == term.PanelMode })
	}
	return uses
}

func hasProof(plan *drill.Plan) bool {
	for e := range plan.In.Plant.Len() {
		if plan.Proven(e) {
			return true
		}
	}
	return false
}

func hasRing(plan *drill.Plan) bool {
	for i := range plan.In.Loops {
		if plan.In.Loops[i].Wire.Ring() {
			return true
		}
	}
	return false
}

// program lists actions and their delays, one of each for every pair of a cause and an effect, of
// an action or of a phasing.
func (c *Coverage) program(m *pb.Site) {
	for i := range c.plan.Program.Pairs() {
		pair := c.plan.Program.Pair(i)
		path, written := origin(m.GetProgram(), pair)
		action := &thing{name: c.plan.PairName(i), path: path, aspects: []string{active}}
		if written.GetUnless() != "" {
			action.aspects = append(action.aspects, byUnless)
		}
		c.actions = append(c.actions, action)
		var delay *thing
		if pair.After > 0 {
			delay = &thing{name: c.plan.PairName(i), path: path, aspects: delayAspects(written)}
		}
		c.delays = append(c.delays, delay)
	}
}

// origin is where a pair is written, and the action of it.
func origin(m *pb.Program, pair logic.Pair) (path string, action *pb.Action) {
	if pair.Phasing >= 0 {
		return fmt.Sprintf("program.phasings[%d]", pair.Phasing), phased(m.GetPhasings()[pair.Phasing])
	}
	return fmt.Sprintf("program.actions[%d]", pair.Action), m.GetActions()[pair.Action]
}

// phased is a phasing as the action that each of its steps is.
func phased(m *pb.Phasing) *pb.Action {
	return &pb.Action{PauseWhile: m.GetHold(), HurryWhen: m.GetHurry()}
}

// delayAspects are the ways in which a delay can be seen.
func delayAspects(m *pb.Action) []string {
	aspects := []string{started, ended, cutShort}
	if m.GetPauseWhile() != "" {
		aspects = append(aspects, stoodStill)
	}
	if m.GetRestartWhile() != "" {
		aspects = append(aspects, beganAgain)
	}
	if m.GetHurryWhen() != "" {
		aspects = append(aspects, hurried)
	}
	return aspects
}

// installation lists outputs, in each state that some action demands, and equipment, with each
// input that an output drives and with its proof.
func (c *Coverage) installation() {
	program := c.plan.Program
	for o := range c.plan.In.Outputs {
		out := &c.plan.In.Outputs[o]
		t := &thing{name: out.Label, path: out.Path}
		for state := term.On; state < term.Off; state++ {
			if c.demands(o, state) {
				t.aspects = append(t.aspects, state.String())
			}
		}
		for _, e := range program.OutputEffects(o) {
			if program.Silenceable(int(e)) && len(t.aspects) > 0 {
				t.aspects = append(t.aspects, silenced)
				break
			}
		}
		c.outputs = append(c.outputs, t)
	}
	plant := c.plan.In.Plant
	for e := range plant.Len() {
		t := &thing{name: plant.ID(e), path: fmt.Sprintf("equipment[%d]", e)}
		for in := range plant.InputCount(e) {
			if c.plan.Driven(e, in) {
				t.aspects = append(t.aspects, plant.InputName(e, in)+operated)
			}
		}
		if c.plan.Proven(e) {
			t.aspects = append(t.aspects, proven)
		}
		c.equipment = append(c.equipment, t)
	}
}

// demands reports whether some action demands a state of an output.
func (c *Coverage) demands(output int, state term.State) bool {
	program := c.plan.Program
	for i := range program.Pairs() {
		if pair := program.Pair(i); pair.State == state {
			for _, o := range program.EffectOutputs(pair.Effect) {
				if int(o) == output {
					return true
				}
			}
		}
	}
	return false
}

// disablements are the acts that disable, or with the opposite sign enable.
var disablements = []drill.ActKind{drill.ActDisableDevice, drill.ActDisableZone, drill.ActDisableOutput, drill.ActDisableEquipment}

// keys are what every panel has, by the acts that stand for them.
var keys = []struct {
	word string
	acts []drill.ActKind
	off  bool // the act's opposite
}{
	{word: "acknowledge", acts: []drill.ActKind{drill.ActAcknowledge}},
	{word: "silence", acts: []drill.ActKind{drill.ActSilence}},
	{word: "resound", acts: []drill.ActKind{drill.ActResound}},
	{word: "reset", acts: []drill.ActKind{drill.ActReset}},
	{word: "evacuate", acts: []drill.ActKind{drill.ActEvacuate}},
	{word: "disable", acts: disablements},
	{word: "enable", acts: disablements, off: true},
	{word: "mode", acts: []drill.ActKind{drill.ActMode}},
	{word: "test", acts: []drill.ActKind{drill.ActTest}},
}

// raised are the faults that a panel tells apart, by the events that raise them.
var raised = []struct {
	kind sim.Kind
	word string
}{
	{drill.MissingFault, "device missing"}, {drill.WrongTypeFault, "device of another type"}, {drill.DuplicateFault, "two devices at one address"},
	{drill.OutputFault, "output not as commanded"}, {drill.CircuitFault, "circuit open or shorted"},
	{drill.RingBroken, "ring broken"}, {drill.EarthSeen, "core to earth"}, {drill.LoopOverload, "loop driver at its limit"}, {drill.SupplySignal, "supply"},
	{drill.ProofMissed, "proof missed"}, {drill.PanelStopped, "panel stopped"},
}
