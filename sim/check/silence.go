package check

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/bdd"
	program "loopdrill.dev/loopdrill/logic/check"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// silenced: silence is for what people hear and see. Plant that it put to rest in the middle of a fire would
// open dampers, close doors to those who leave and give lifts back.
func (j *judge) silenced() {
	for e, m := range j.Message.GetProgram().GetEffects() {
		if !m.GetSilenceable() || !slices.ContainsFunc(j.analysis.Pairs, func(p program.Pair) bool { return p.Effect == e && p.State != term.Off }) {
			continue
		}
		for i, o := range j.Program.EffectOutputs(e) {
			equipment, _ := j.input(o)
			if equipment < 0 {
				j.silencedRelease(e, i, o)
				continue
			}
			report := finding.Warn
			switch m := j.Message.GetEquipment()[equipment]; {
			case m.GetSiren() != nil || m.GetAnnouncement() != nil:
				continue
			case staysWhenSilenced(m):
				report = finding.Error
				j.toldSilenced[int32(equipment)] = true
			}
			j.add(report("program.silence-stops-plant", fmt.Sprintf("program.effects[%d].outputs[%d]", e, i), fmt.Sprintf("silence puts %q to rest, which drives %q", j.Installation.Outputs[o].Label, j.Installation.Plant.ID(equipment)),
				"only sounders, beacons and announcements are silenced: give it an effect of its own without `silenceable`"), j.rules.Clause(rule.Silencing))
		}
	}
}

// silencedRelease: an output that the program itself calls a release, though nothing says what it drives.
func (j *judge) silencedRelease(effect, place int, output int32) {
	if slices.ContainsFunc(j.analysis.Pairs, func(p program.Pair) bool { return p.Effect == effect && p.State == term.Release }) {
		j.add(finding.Error("program.silence-stops-plant", fmt.Sprintf("program.effects[%d].outputs[%d]", effect, place), fmt.Sprintf("silence puts %q to rest, which releases an extinguishing agent", j.Installation.Outputs[output].Label),
			"only sounders, beacons and announcements are silenced: give it an effect of its own without `silenceable`"), j.rules.Clause(rule.Silencing))
	}
}

// staysWhenSilenced tells of equipment that people's lives hang on whether they still hear an alarm or not.
func staysWhenSilenced(m *pb.Equipment) bool {
	switch m.GetKind().(type) {
	case *pb.Equipment_Lift, *pb.Equipment_Fan, *pb.Equipment_Damper, *pb.Equipment_DoorHolder, *pb.Equipment_DoorLock, *pb.Equipment_Trip, *pb.Equipment_Valve, *pb.Equipment_Release:
		return true
	}
	return false
}

// silencedByCondition: the same where not the effect is silenceable, but a condition asks whether the panel is silenced.
func (j *judge) silencedByCondition() {
	s := j.analysis.Space
	told := map[string]bool{}
	for i := range j.analysis.Pairs {
		p := &j.analysis.Pairs[i]
		at := slices.IndexFunc(j.Program.EffectOutputs(p.Effect), func(o int32) bool {
			e, _ := j.input(o)
			return e >= 0 && staysWhenSilenced(j.Message.GetEquipment()[e])
		})
		if at < 0 || told[p.Path] {
			continue
		}
		silenced := func(yes bool) bdd.Node {
			return s.Assume(p.Active, func(f term.Fact) (holds, known bool) { return yes, f.Kind == term.PanelSilenced })
		}
		before, after := silenced(false), silenced(true)
		if p.State == term.Off {
			before, after = after, before
		}
		if s.Implies(before, after) || s.Err() != nil {
			continue
		}
		told[p.Path] = true
		o := j.Program.EffectOutputs(p.Effect)[at]
		e, _ := j.input(o)
		j.toldSilenced[int32(e)] = true
		j.add(finding.Error("program.silence-stops-plant", p.Path, fmt.Sprintf("once the panel is silenced nothing new operates %q, which drives %q", j.Installation.Outputs[o].Label, j.Installation.Plant.ID(e)),
			"silence is for sounders, beacons and announcements: leave `panel.silenced` out of its conditions"), j.rules.Clause(rule.Silencing))
	}
}

// quietened: the same where neither the effect nor a condition says so, but something between: a cause that reads what a
// sounder is told, a delay that silence cancels; and where an acknowledgement does it. After each fire the key is pressed a
// second later, and when all has been done; what then is at rest in the end is compared with what stands without it.
func (j *judge) quietened() {
	keys := []key{
		{logic.Operation{Kind: logic.Silence}, "program.silence-stops-plant", "silence", j.rules.Clause(rule.Silencing), j.toldSilenced},
		{logic.Operation{Kind: logic.Acknowledge}, "program.acknowledge-stops-plant", "an acknowledgement", commonPractice, map[int32]bool{}},
	}
	for i := range j.walks {
		w := &j.walks[i]
		if !j.Installation.Points[w.point].Input.Fire() || !j.leavesOperated(w) {
			continue // nothing that a key could put to rest
		}
		for k := range keys {
			for _, at := range []time.Duration{time.Second, j.walker.horizon} {
				quiet := walk{point: w.point, mode: w.mode, demands: j.walker.run(w.mode, true, w.begins(), signal{point: -1, act: &keys[k].act, at: at})}
				j.gone(w, &quiet, &keys[k])
			}
		}
	}
}

// leavesOperated tells whether equipment that must stay so stands operated at the end of a walk.
func (j *judge) leavesOperated(w *walk) bool {
	for e, outputs := range j.drivers {
		if staysWhenSilenced(j.Message.GetEquipment()[e]) && slices.ContainsFunc(outputs, func(o int32) bool { _, stands := w.last(o); return stands }) {
			return true
		}
	}
	return false
}

// key is one that must leave plant alone.
type key struct {
	act                logic.Operation
	code, what, clause string
	told               map[int32]bool // equipment
}

// gone reports equipment that stands operated at the end of a walk, and not once a key was pressed in it.
func (j *judge) gone(w, quiet *walk, k *key) {
	for e, outputs := range j.drivers {
		if k.told[int32(e)] || !staysWhenSilenced(j.Message.GetEquipment()[e]) {
			continue
		}
		for _, o := range outputs {
			d, stands := w.last(o)
			if _, still := quiet.last(o); !stands || still || d.effect < 0 {
				continue
			}
			k.told[int32(e)] = true
			j.add(finding.Error(k.code, fmt.Sprintf("program.effects[%d]", d.effect), fmt.Sprintf("a fire at %q operates %q, and %s puts it to rest, which drives %q", j.label(w.point), j.Installation.Outputs[o].Label, k.what, j.Installation.Plant.ID(e)),
				"what operates it hangs on what the key changes, or on a sounder: let its cause ask for the fire"), k.clause)
			break
		}
	}
}

// last is what an output is demanded at the end of a walk, and whether that is other than rest.
func (w *walk) last(output int32) (last demand, stands bool) {
	for _, d := range w.demands {
		if d.output == output {
			last = d
		}
	}
	return last, last.state != term.Rest && last.state != term.Off
}
