package check

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/bdd"
	program "loopdrill.dev/loopdrill/logic/check"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

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
					j.toldOpposed[e] = true
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

// outlasting: the same where the two are not asked for by one combination of facts, but one after the other.
func (j *judge) outlasting() {
	for e, m := range j.Message.GetEquipment() {
		if one, other, ok := opposed(m); ok && !j.toldOpposed[e] {
			j.outlasts(e, one, other)
		}
	}
}

// mostOutlasting bounds how many pairs of fires are tried on one piece of equipment.
const mostOutlasting = 50

// outlasts: what a first fire asked for is still asked for, held until reset or by a delay, when a second fire asks for the
// opposite. Tried with fires that ask for the one and for the other, ten seconds apart and either first.
func (j *judge) outlasts(e int, one, other string) {
	asks := func(w *walk, input string, t time.Duration) bool {
		return slices.ContainsFunc(j.drivers[e], func(o int32) bool {
			_, name := j.input(o)
			state := w.at(o, t)
			return name == input && state != term.Rest && state != term.Off
		})
	}
	to, again := map[string][]int32{}, map[string][]int32{}
	seen := map[string]bool{}
	for i := range j.walks {
		w := &j.walks[i]
		for _, input := range []string{one, other} {
			ever := slices.ContainsFunc(w.demands, func(d demand) bool { return asks(w, input, d.at) })
			if w.mode != term.Day || !ever {
				continue
			}
			list, what := to, fmt.Sprint(input, w.demands)
			if seen[what] {
				list = again // those that demand what no other did come first
			}
			seen[what] = true
			list[input] = append(list[input], w.point)
		}
	}
	const second = 10 * time.Second
	for n, pair := range pairs(append(to[one], again[one]...), append(to[other], again[other]...)) {
		if n == mostOutlasting {
			return
		}
		for _, p := range [][2]int32{pair, {pair[1], pair[0]}} {
			w := walk{point: p[0], demands: j.walker.run(term.Day, true, signal{point: p[0]}, signal{point: p[1], at: second})}
			if !slices.ContainsFunc(w.demands, func(d demand) bool { return asks(&w, one, d.at) && asks(&w, other, d.at) }) {
				continue
			}
			j.add(finding.Warn("plant.opposed", fmt.Sprintf("equipment[%d]", e), fmt.Sprintf("%q is told to %s and to %s at once", j.Installation.Plant.ID(e), one, other),
				fmt.Sprintf("%q asks for the one, and after it %q for the other, while the first still stands: inhibit one of them with `off`, or let one `one_of` set choose", j.label(p[0]), j.label(p[1]))),
				"common practice: one configuration at a time")
			return
		}
	}
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
