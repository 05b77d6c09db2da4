package check

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// ducts: a detector in a duct stops the fan of that duct, and does not empty the building.
func (j *judge) ducts() {
	type missed struct {
		equipment int
		points    []int32
	}
	var running []missed
	var evacuating []int32
	for i := range j.walks {
		w := &j.walks[i]
		pt := &j.Installation.Points[w.point]
		if j.use(pt.Place) != "duct" {
			continue
		}
		for _, id := range j.place(pt.Place).GetServes() {
			e, ok := j.Installation.Plant.Lookup(id)
			if !ok || j.Message.GetEquipment()[e].GetFan() == nil || j.stops(w, e, j.Installation.Targets.Detector) {
				continue
			}
			at := slices.IndexFunc(running, func(m missed) bool { return m.equipment == e })
			if at < 0 {
				at, running = len(running), append(running, missed{equipment: e})
			}
			running[at].points = append(running[at].points, w.point)
		}
		if slices.ContainsFunc(w.demands, func(d demand) bool { return d.state == term.Evacuate }) {
			evacuating = append(evacuating, w.point)
		}
	}
	for _, m := range running {
		j.add(finding.Error("duct.fan-not-stopped", j.path(m.points[0]), fmt.Sprintf("smoke in its duct does not stop %q at once: %s", j.Installation.Plant.ID(m.equipment), j.labels(m.points)),
			"the fan would spread the smoke: let the detector's cause stop it, without a delay"), j.rules.Clause(rule.DuctDetector))
	}
	if len(evacuating) > 0 {
		j.add(finding.Warn("duct.evacuates", j.path(evacuating[0]), "a detector in a duct evacuates: "+j.labels(evacuating),
			"duct detectors commonly report as supervisory where the local code allows it: a false alarm of one empties the building"), commonPractice)
	}
}

// stops tells whether a walk stops a fan, no later than at an instant: its own input, or a trip that cuts it.
func (j *judge) stops(w *walk, fan int, by time.Duration) bool {
	for _, d := range w.demands {
		e, name := j.input(d.output)
		if d.state == term.Rest || e < 0 || d.at > by {
			continue
		}
		if e == fan && name == "stop" || name == "trip" && slices.Contains(j.Message.GetEquipment()[e].GetTrip().GetCuts(), j.Installation.Plant.ID(fan)) {
			return true
		}
	}
	return false
}

// untied notes dampers of which nothing says to which fan they belong, where the site has fans: the order of the two is
// not looked at.
func (j *judge) untied() {
	for damper, m := range j.Message.GetEquipment() {
		if m.GetDamper() == nil || len(j.drivers[damper]) == 0 {
			continue
		}
		fans, tied := 0, slices.ContainsFunc(j.Message.GetPlaces(), func(p *pb.Place) bool { return slices.Contains(p.GetServes(), m.GetEquipment()) })
		for fan, f := range j.Message.GetEquipment() {
			if f.GetFan() != nil {
				fans++
				tied = tied || j.together(fan, damper)
			}
		}
		if fans > 0 && !tied {
			f := finding.Warn("damper.without-fan", fmt.Sprintf("equipment[%d]", damper), fmt.Sprintf("nothing says to which fan the damper %q belongs", m.GetEquipment()),
				"their order is not looked at: write a place that `serves` both, or that serves the damper alone if it belongs to none")
			f.Severity = pb.Severity_SEVERITY_NOTE
			j.add(f, commonPractice)
		}
	}
}

// shutDampers: a fan must not be started against a damper of its own duct that is shut, is being shut, or has had no time
// to open. A fan and a damper belong together where a place says that it serves both, or they are the only ones of their kind in
// one place.
func (j *judge) shutDampers() {
	type pair struct{ fan, damper int }
	told := map[pair]bool{}
	for w := range j.everything() {
		for _, d := range w.demands {
			fan, name := j.input(d.output)
			if d.state == term.Rest || name != "start" || j.Message.GetEquipment()[fan].GetFan() == nil {
				continue
			}
			for damper := range j.Message.GetEquipment() {
				p := pair{fan, damper}
				if told[p] || j.Message.GetEquipment()[damper].GetDamper() == nil || !j.together(fan, damper) {
					continue
				}
				if why := j.against(w, d, damper); why != "" {
					told[p] = true
					what, path := j.beginning(w)
					j.add(finding.Warn("fan.against-shut-damper", path, fmt.Sprintf("%s starts %q against the damper %q", what, j.Installation.Plant.ID(fan), j.Installation.Plant.ID(damper)),
						why+": open the damper first, and let the fan's cause ask for the proof that it is open"), j.rules.Clause(rule.DamperOrder))
				}
			}
		}
	}
}

// blowing: a damper is shut on a fan that runs, and that nothing stops before it has shut.
func (j *judge) blowing() {
	type pair struct{ fan, damper int }
	told := map[pair]bool{}
	for w := range j.everything() {
		for _, d := range w.demands {
			damper, name := j.input(d.output)
			if d.state == term.Rest || name != "close" || j.Message.GetEquipment()[damper].GetDamper() == nil {
				continue
			}
			for fan, m := range j.Message.GetEquipment() {
				p := pair{fan, damper}
				in, _ := j.Installation.Plant.InputIndex(damper, "close")
				if told[p] || !m.GetFan().GetRunsAtRest() || !j.together(fan, damper) || j.stops(w, fan, d.at+j.Installation.Plant.Takes(damper, in)) {
					continue
				}
				told[p] = true
				what, path := j.beginning(w)
				j.add(finding.Warn("fan.shut-in", path, fmt.Sprintf("%s shuts the damper %q on %q, which runs on", what, j.Installation.Plant.ID(damper), j.Installation.Plant.ID(fan)),
					"stop the fan first, or with it"), j.rules.Clause(rule.DamperOrder))
			}
		}
	}
}

// together tells whether a fan and a damper are of one duct.
func (j *judge) together(fan, damper int) bool {
	a, b := j.Message.GetEquipment()[fan], j.Message.GetEquipment()[damper]
	if a.GetPlace() != "" && a.GetPlace() == b.GetPlace() {
		fans, dampers := 0, 0
		for _, m := range j.Message.GetEquipment() {
			if m.GetPlace() == a.GetPlace() && m.GetFan() != nil {
				fans++
			}
			if m.GetPlace() == a.GetPlace() && m.GetDamper() != nil {
				dampers++
			}
		}
		if fans == 1 && dampers == 1 {
			return true
		}
	}
	return slices.ContainsFunc(j.Message.GetPlaces(), func(p *pb.Place) bool {
		return slices.Contains(p.GetServes(), a.GetEquipment()) && slices.Contains(p.GetServes(), b.GetEquipment())
	})
}

// against says why a fan that starts finds a damper shut, then or while it runs; empty if it does not.
func (j *judge) against(w *walk, start demand, damper int) string {
	atRest := j.Message.GetEquipment()[damper].GetDamper().GetAtRest() == "closed"
	told := func(input string, t time.Duration) bool {
		return slices.ContainsFunc(j.drivers[damper], func(o int32) bool { _, name := j.input(o); return name == input && w.at(o, t) != term.Rest })
	}
	opened, ever := time.Duration(0), false
	for _, o := range j.drivers[damper] {
		if _, name := j.input(o); name == "open" {
			if d, ok := w.first(o); ok && (!ever || d.at < opened) {
				opened, ever = d.at, true
			}
		}
	}
	in, _ := j.Installation.Plant.InputIndex(damper, "open")
	switch {
	case told("close", start.at):
		return "it is being shut"
	case !atRest:
	case !ever:
		return "nothing opens it"
	case w.act != nil && w.act.Kind == logic.MoveOverride:
		// a switch does all at once: whoever turns it has the last word, and the starter its interlock
	case start.at-opened < j.Installation.Plant.Takes(damper, in) && j.withoutProof(w, start.output):
		return "it has not had the time to open"
	}
	for _, d := range w.demands {
		if d.at < start.at || w.at(start.output, d.at) == term.Rest || j.stops(w, j.fanOf(start), d.at) {
			continue
		}
		if told("close", d.at) {
			return "it is shut while the fan runs"
		}
		if atRest && d.at > opened && !told("open", d.at) {
			return "it is let shut again while the fan runs"
		}
	}
	return ""
}

// fanOf is the fan that a demand starts.
func (j *judge) fanOf(start demand) int { e, _ := j.input(start.output); return e }

// modes notes that a second fire starts a further smoke fan beside one that runs already: where both belong to one system,
// the first fire is to choose its mode. Fans whose starts stand in one set are settled.
func (j *judge) modes() {
	starts := map[int]*walk{} // by fan, a fire by day that starts it
	var fans []int
	for i := range j.walks {
		w := &j.walks[i]
		for _, d := range w.demands {
			fan, name := j.input(d.output)
			if w.mode == term.Day && d.state != term.Rest && name == "start" && starts[fan] == nil && j.Message.GetEquipment()[fan].GetFan() != nil {
				starts[fan] = w
				fans = append(fans, fan)
			}
		}
	}
	for _, first := range fans {
		for _, second := range fans {
			a, b := starts[first], starts[second]
			if first == second || j.running(a, second) || j.running(b, first) {
				continue
			}
			end := j.walker.horizon
			both := walk{point: a.point, mode: term.Day, demands: j.walker.run(term.Day, true, signal{point: a.point}, signal{point: b.point, at: end})}
			if !j.runs(&both, second, 2*end) {
				continue
			}
			f := finding.Warn("smoke.second-mode", j.path(b.point), fmt.Sprintf("a second fire, at %q, starts %q while %q runs or has run", j.label(b.point), j.Installation.Plant.ID(second), j.Installation.Plant.ID(first)),
				fmt.Sprintf("if both fans belong to one smoke control system the first fire, here %q, is to choose: put their effects into one `one_of` set", j.label(a.point)))
			f.Severity = pb.Severity_SEVERITY_NOTE
			j.add(f, "from memory: the first zone in alarm sets the smoke mode")
			return
		}
	}
}

// running tells whether a walk ever starts a fan.
func (j *judge) running(w *walk, fan int) bool {
	return slices.ContainsFunc(j.drivers[fan], func(o int32) bool {
		_, name := j.input(o)
		_, ok := w.first(o)
		return name == "start" && ok
	})
}

// runs tells whether a fan is told to start at an instant.
func (j *judge) runs(w *walk, fan int, t time.Duration) bool {
	return slices.ContainsFunc(j.drivers[fan], func(o int32) bool {
		_, name := j.input(o)
		return name == "start" && w.at(o, t) != term.Rest
	})
}
