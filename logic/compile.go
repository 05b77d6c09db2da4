package logic

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// PairLimit is the greatest number of pairs of causes and effects in one program.
const PairLimit = 200_000

// defaultSwitchTime is the panel's own where the file gives none; loop.Defaults names the same.
const defaultSwitchTime = time.Millisecond

// Compile reads the program of a site over the world of its installation, whose causes and
// controls stand in the program's file order. It returns every finding; where one of them refuses
// the file the Program is nil. A site without a program compiles to one that does nothing.
func Compile(site *pb.Site, w *term.World) (*Program, []*pb.Finding) {
	c := &compiler{site: site, program: site.GetProgram(), world: w, p: &Program{net: newNetwork(w), zones: len(w.Zones)}}
	c.panel()
	c.detection()
	c.names()
	c.installation()
	c.readLevels()
	c.readEffects()
	c.readOverrides()
	conditions := c.readConditions()
	c.readActions(conditions)
	c.readPhasings()
	c.joinPairs()
	c.review(conditions)
	if finding.Worst(c.findings) == pb.Severity_SEVERITY_REFUSED {
		return nil, c.findings
	}
	return c.p, c.findings
}

// compiler is one compilation.
type compiler struct {
	site     *pb.Site
	program  *pb.Program
	world    *term.World
	p        *Program
	findings []*pb.Finding
}

func (c *compiler) add(f *pb.Finding) { c.findings = append(c.findings, f) }

// panel reads what the panel itself is set to.
func (c *compiler) panel() {
	given := c.site.GetPanel()
	c.p.dropAll = given.GetReset_() == "drop-all"
	c.p.resoundByDevice = given.GetResound() == "new-device"
	c.p.night = given.GetMode() == "night"
	c.p.switchTime, c.p.chainLimit, c.p.soundsAgain = defaultSwitchTime, ChainLimit, rule.Of(c.site.GetRules()).Duration(rule.FaultSoundsAgain)
	if d := given.GetFaultSoundsAgain(); d != nil {
		c.p.soundsAgain = d.AsDuration()
	}
	if d := given.GetSwitchTime(); d != nil {
		c.p.switchTime = d.AsDuration()
	}
	for _, what := range given.GetLatched() {
		switch what {
		case "supervisory":
			c.p.latches[term.DeviceSupervisory] = true
		case "prealarm":
			c.p.latches[term.DevicePrealarm] = true
		case "technical":
			c.p.latchesTechnical = true
		case "fault":
			c.p.latches[term.DeviceFault], c.p.latches[term.OutputFault] = true, true
			c.p.latches[term.SupplyFault], c.p.latches[term.LoopFault] = true, true
		}
	}
	calendar, findings := panel.ReadCalendar(given)
	c.p.calendar = calendar
	c.findings = append(c.findings, findings...)
}

// names refuses ids that are given twice.
func (c *compiler) names() {
	twice := func(what, path string, seen map[string]int, i int, id string) {
		if first, ok := seen[id]; ok {
			c.add(finding.Refuse("program.duplicate-id", path, fmt.Sprintf("there are two %ss %q", what, id), fmt.Sprintf("the first is %s number %d; give one of them another id", what, first+1)))
			return
		}
		seen[id] = i
	}
	controls, causes, effects, phasings, overrides := map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
	for i, x := range c.program.GetControls() {
		twice("control", fmt.Sprintf("program.controls[%d].control", i), controls, i, x.GetControl())
	}
	for i, x := range c.program.GetCauses() {
		twice("cause", fmt.Sprintf("program.causes[%d].cause", i), causes, i, x.GetCause())
	}
	for i, x := range c.program.GetEffects() {
		twice("effect", fmt.Sprintf("program.effects[%d].effect", i), effects, i, x.GetEffect())
	}
	for i, x := range c.program.GetPhasings() {
		twice("phasing", fmt.Sprintf("program.phasings[%d].phasing", i), phasings, i, x.GetPhasing())
	}
	for i, x := range c.program.GetOverrides() {
		twice("override", fmt.Sprintf("program.overrides[%d].override", i), overrides, i, x.GetOverride())
	}
}

// installation notes what the program must know of points and outputs.
func (c *compiler) installation() {
	w := c.world
	for _, pt := range w.Points {
		c.p.points = append(c.p.points, point{fire: pt.Input.Fire(), technical: pt.Input == term.Technical, zone: int32(pt.Zone), output: -1})
	}
	for o, out := range w.Outputs {
		module := int32(-1)
		if i, ok := w.PointRefs[out.Address]; ok && out.Address != "" {
			module = int32(i)
			c.p.points[i].output = int32(o)
		}
		c.p.outputs = append(c.p.outputs, output{point: module, equipment: -1})
	}
	for e := range w.Equipment {
		for _, o := range w.Equipment[e].Outputs {
			c.p.outputs[o].equipment = int32(e)
			c.p.driving = append(c.p.driving, [2]int32{int32(e), o})
		}
	}
}

// readEffects reads effects and joins them with outputs.
func (c *compiler) readEffects() {
	outs := make([][]int32, len(c.program.GetEffects()))
	effectsOf, placesOf := make([][]int32, len(c.world.Outputs)), make([][]int32, len(c.world.Outputs))
	var setNames []string
	var sets [][]int32
	for e, ef := range c.program.GetEffects() {
		compiled := effect{silenceable: ef.GetSilenceable(), untilReset: ef.GetUntil() == "reset", set: -1}
		if name := ef.GetOneOf(); name != "" {
			set, ok := index(setNames, name)
			if !ok {
				set, setNames, sets = len(setNames), append(setNames, name), append(sets, nil)
			}
			sets[set] = append(sets[set], int32(e))
			compiled.set = int32(set)
		}
		c.p.effects, c.p.overridden = append(c.p.effects, compiled), append(c.p.overridden, false)
		seen := map[int]int{}
		for i, ref := range ef.GetOutputs() {
			path := fmt.Sprintf("program.effects[%d].outputs[%d]", e, i)
			o, ok := c.world.OutputRefs[ref]
			if !ok {
				c.danglingOutput(path, ref)
				continue
			}
			if first, twice := seen[o]; twice {
				c.add(finding.Refuse("program.output-twice", path, fmt.Sprintf("effect %q lists %s twice", ef.GetEffect(), c.world.Outputs[o].Label), fmt.Sprintf("it is output number %d of the list already", first+1)))
				continue
			}
			seen[o] = i
			outs[e] = append(outs[e], int32(o))
			effectsOf[o], placesOf[o] = append(effectsOf[o], int32(e)), append(placesOf[o], int32(i))
		}
	}
	for set, members := range sets {
		if len(members) == 1 {
			c.add(finding.Warn("program.one-of-alone", fmt.Sprintf("program.effects[%d].one_of", members[0]), fmt.Sprintf("only one effect belongs to the set %q", setNames[set]), "a set of one chooses nothing; check the name"))
		}
	}
	c.p.outsOf, c.p.effectsOf, c.p.placesOf, c.p.sets = pack(outs), pack(effectsOf), pack(placesOf), pack(sets)
}

// danglingOutput refuses a reference to an output that does not exist, or that is an input.
func (c *compiler) danglingOutput(path, ref string) {
	if _, ok := c.world.PointRefs[ref]; ok {
		c.add(finding.Refuse("reference.unknown", path, fmt.Sprintf("%q is not an output", ref), "outputs are control modules, relay modules, loop sounders and the panel's own outputs"))
		return
	}
	var known []string
	for _, o := range c.world.Outputs {
		known = append(known, o.Label)
	}
	for _, o := range c.world.Outputs {
		if o.Address != "" {
			known = append(known, o.Address)
		}
	}
	c.add(finding.Dangling(path, "output", ref, known))
}

// readActions reads actions and makes their pairs.
func (c *compiler) readActions(conditions *conditions) {
	effectIDs := make([]string, len(c.program.GetEffects()))
	for i, e := range c.program.GetEffects() {
		effectIDs[i] = e.GetEffect()
	}
	c.p.guards, c.p.actions = conditions.guards, len(c.program.GetActions())
	for a, action := range c.program.GetActions() {
		path := fmt.Sprintf("program.actions[%d]", a)
		state, ok := term.DemandWord(action.GetState())
		if !ok {
			c.add(finding.Refuse("program.state", path+".state", fmt.Sprintf("there is no state %q", action.GetState()), "states are on, off, alert, evacuate, release"))
		}
		causes := c.resolve(path+".causes", "cause", action.GetCauses(), c.world.Causes)
		effects := c.resolve(path+".effects", "effect", action.GetEffects(), effectIDs)
		if len(c.p.pairs)+len(causes)*len(effects) > PairLimit {
			c.add(finding.Refuse("program.too-large", path, fmt.Sprintf("the program has more than %d pairs of causes and effects", PairLimit), "join causes with || in fewer causes, or outputs in fewer effects"))
			break
		}
		if ok {
			c.vocabulary(a, state, effects)
		}
		for _, cause := range causes {
			for _, e := range effects {
				if state == term.Evacuate {
					c.p.effects[e].evacuates = true
				}
				c.p.pairs = append(c.p.pairs, pair{action: int32(a), cause: cause, effect: e, state: state,
					phasing: -1, floor: -1,
					after: duration(action.GetAfter()), pulse: duration(action.GetFor()), hold: duration(action.GetHold())})
			}
		}
		c.timing(path, action)
	}
}

// joinPairs makes the lists of pairs by cause, effect and action.
func (c *compiler) joinPairs() {
	ofCause, toEffect, byAction := make([][]int32, len(c.p.causes)), make([][]int32, len(c.p.effects)), make([][]int32, c.p.actions+len(c.program.GetPhasings()))
	for i, pr := range c.p.pairs {
		ofCause[pr.cause] = append(ofCause[pr.cause], int32(i))
		toEffect[pr.effect] = append(toEffect[pr.effect], int32(i))
		byAction[pr.action] = append(byAction[pr.action], int32(i))
	}
	c.p.pairsOf, c.p.pairsTo, c.p.pairsByAct = pack(ofCause), pack(toEffect), pack(byAction)
}

// resolve finds the indices of ids.
func (c *compiler) resolve(path, what string, ids, known []string) []int32 {
	var found []int32
	for i, id := range ids {
		if at, ok := index(known, id); ok {
			found = append(found, int32(at))
			continue
		}
		c.add(finding.Dangling(fmt.Sprintf("%s[%d]", path, i), what, id, known))
	}
	return found
}

func index(ids []string, id string) (int, bool) {
	for i, known := range ids {
		if known == id {
			return i, true
		}
	}
	return 0, false
}

func duration(d *durationpb.Duration) time.Duration {
	if d == nil {
		return 0
	}
	return d.AsDuration()
}
