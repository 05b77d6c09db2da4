package check

import (
	"fmt"
	"slices"

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
		j.add(finding.Error("program.silence-stops-plant", p.Path, fmt.Sprintf("once the panel is silenced nothing new operates %q, which drives %q", j.Installation.Outputs[o].Label, j.Installation.Plant.ID(e)),
			"silence is for sounders, beacons and announcements: leave `panel.silenced` out of its conditions"), j.rules.Clause(rule.Silencing))
	}
}

// opposed are the inputs of one piece of equipment that ask for opposite things.
func opposed(m *pb.Equipment) (one, other string, ok bool) {
	switch m.GetKind().(type) {
	case *pb.Equipment_Fan:
		return "start", "stop", true
	case *pb.Equipment_Damper:
		return "open", "close", true
	}
	return "", "", false
}

// fights: two effects ask opposite things of one fan or damper at the same time, and nothing decides. Decided over all
// that the panel can know; an `off` that then inhibits one of the two, or a set of which one holds, settles it.
func (j *judge) fights() {
	for e, m := range j.Message.GetEquipment() {
		one, other, ok := opposed(m)
		if !ok {
			continue
		}
		for _, a := range j.drivers[e] {
			for _, b := range j.drivers[e] {
				if _, x := j.input(a); x != one {
					continue
				}
				if _, y := j.input(b); y == other && j.fight(e, a, b) {
					break
				}
			}
			if _, x := j.input(a); x == "start" {
				j.cutOff(e, a)
			}
		}
	}
}

// cutOff: a trip takes the power away from a fan that is to run.
func (j *judge) cutOff(fan int, start int32) {
	for t, m := range j.Message.GetEquipment() {
		if !slices.Contains(m.GetTrip().GetCuts(), j.Installation.Plant.ID(fan)) {
			continue
		}
		for _, o := range j.drivers[t] {
			if j.fight(fan, start, o) {
				return
			}
		}
	}
}

// fight looks for one combination in which two outputs are both on.
func (j *judge) fight(equipment int, a, b int32) bool {
	s := j.analysis.Space
	free := s.And(s.Not(j.inhibited(a)), s.Not(j.inhibited(b)))
	for _, p := range j.demands(a) {
		for _, q := range j.demands(b) {
			set := j.Message.GetProgram().GetEffects()[p.Effect].GetOneOf()
			if set != "" && set == j.Message.GetProgram().GetEffects()[q.Effect].GetOneOf() {
				continue
			}
			facts, ok := s.Witness(s.And(p.Active, q.Active, free))
			if !ok || s.Err() != nil {
				continue
			}
			_, one := j.input(a)
			driven, other := j.input(b)
			report := finding.Warn
			switch {
			case driven != equipment:
				other = "lose its power" // perhaps at last, when it has done its work
			case s.Implies(p.Active, q.Active) || s.Implies(q.Active, p.Active):
				report = finding.Error
			}
			j.add(report("plant.opposed", p.Path, fmt.Sprintf("%q is told to %s and to %s at once", j.Installation.Plant.ID(equipment), one, other),
				fmt.Sprintf("with %s both %q and %q are on: inhibit one of them with `off`, or let one `one_of` set choose", j.analysis.Words(facts), j.Installation.Outputs[a].Label, j.Installation.Outputs[b].Label)),
				"common practice: one configuration at a time")
			return true
		}
	}
	return false
}

// demands lists the pairs that operate an output.
func (j *judge) demands(output int32) []*program.Pair {
	var list []*program.Pair
	for i := range j.analysis.Pairs {
		if p := &j.analysis.Pairs[i]; p.State != term.Off && slices.Contains(j.Program.EffectOutputs(p.Effect), output) {
			list = append(list, p)
		}
	}
	return list
}

// inhibited is when an `off` keeps an output at rest without a delay.
func (j *judge) inhibited(output int32) bdd.Node {
	var nodes []bdd.Node
	for i := range j.analysis.Pairs {
		if p := &j.analysis.Pairs[i]; p.State == term.Off && p.After == 0 && p.For == 0 && slices.Contains(j.Program.EffectOutputs(p.Effect), output) {
			nodes = append(nodes, p.Active)
		}
	}
	return j.analysis.Space.Or(nodes...)
}

// diallers: what a fire is told to the receiving centre, within the time that the rules give to it.
func (j *judge) diallers() {
	limit := j.rules.Of(rule.DialledWithin)
	for e, m := range j.Message.GetEquipment() {
		if m.GetDialler() == nil {
			continue
		}
		in, _ := j.Installation.Plant.InputIndex(e, "alarm")
		receipt := j.Installation.Plant.Takes(e, in)
		var late []int32
		for i := range j.walks {
			w := &j.walks[i]
			for _, o := range j.drivers[e] {
				if d, ok := w.first(o); ok && int(j.Installation.Outputs[o].Input) == in && j.Installation.Points[w.point].Input.Fire() && d.at+receipt > limit.Duration() {
					late = append(late, w.point)
				}
			}
		}
		if len(late) > 0 {
			j.add(finding.Warn("dialler.late", j.path(late[0]), fmt.Sprintf("the receiving centre has a fire later than %v: %s", limit.Duration(), j.labels(late)),
				fmt.Sprintf("the program's delay and the %v that %q takes are more: tell the centre at once", receipt, m.GetEquipment())), limit.Source())
		}
	}
}
