package check

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/bdd"
	program "loopdrill.dev/loopdrill/logic/check"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// discharge is what lets an extinguishing agent out: equipment that the file calls a release, or an output that the
// program puts into the state `release`, where nothing says what it drives, or only that it is something or a valve.
type discharge struct {
	name, path string
	equipment  int // -1 for an output of which only the program says it
	outputs    []int32
	countdown  time.Duration // of its own
}

// releasedBy tells whether a demand lets the agent out.
func (d *discharge) releasedBy(output int32, state term.State) bool {
	if d.equipment < 0 {
		return state == term.Release && slices.Contains(d.outputs, output)
	}
	return state != term.Rest && state != term.Off && slices.Contains(d.outputs, output)
}

// by tells whether a pair lets it out.
func (d *discharge) by(j *judge, p *program.Pair) bool {
	return slices.ContainsFunc(j.Program.EffectOutputs(p.Effect), func(o int32) bool { return d.releasedBy(o, p.State) })
}

// in returns whether a walk lets it out.
func (d *discharge) in(w *walk) bool {
	return slices.ContainsFunc(w.demands, func(x demand) bool { return d.releasedBy(x.output, x.state) })
}

// agents lists what lets an extinguishing agent out.
func (j *judge) agents() []discharge {
	var list []discharge
	for e, m := range j.Message.GetEquipment() {
		if m.GetRelease() == nil {
			continue
		}
		in, _ := j.Installation.Plant.InputIndex(e, "release")
		d := discharge{name: m.GetEquipment(), path: fmt.Sprintf("equipment[%d]", e), equipment: e, countdown: j.Installation.Plant.Takes(e, in)}
		for _, o := range j.drivers[e] {
			if _, name := j.input(o); name == "release" {
				d.outputs = append(d.outputs, o)
			}
		}
		list = append(list, d)
	}
	for o := range j.Installation.Outputs {
		out := &j.Installation.Outputs[o]
		if out.Equipment >= 0 && j.Message.GetEquipment()[out.Equipment].GetGeneric() == nil && j.Message.GetEquipment()[out.Equipment].GetValve() == nil {
			continue
		}
		d := discharge{name: out.Label, path: out.Path, equipment: -1, outputs: []int32{int32(o)}}
		if slices.ContainsFunc(j.analysis.Pairs, func(p program.Pair) bool { return d.by(j, &p) }) {
			list = append(list, d)
		}
	}
	return list
}

// releases: one detector alone, or a call point, must not discharge an extinguishing agent. Here what zones hold back until
// a second signal confirms counts, so that the program is walked as it is.
func (j *judge) releases() {
	whole := newWalker(j.Program, j.Installation)
	for _, d := range j.agents() {
		var points []int32
		for early := range j.everything() {
			if !d.in(early) || early.act != nil || j.Installation.Points[early.point].Input == loop.ReleaseInput {
				continue
			}
			w := walk{point: early.point, mode: early.mode, demands: whole.run(early.mode, true, early.begins())}
			if d.in(&w) {
				points = append(points, w.point)
			}
		}
		if len(points) > 0 {
			j.add(finding.Warn("release.by-one-signal", j.path(points[0]), fmt.Sprintf("one signal alone releases %q: %s", d.name, j.labels(points)),
				"two detectors, of zones of their own, or the manual release, an input module with `input: release`, confirm a discharge: ask for both"), "guide specifications for CO2 (cross-zoned release)")
		}
	}
}

// switchedReleases: the same as is found of the state `release`, where the program calls it otherwise and the file says that
// what it drives is a release.
func (j *judge) switchedReleases() {
	for i, m := range j.Message.GetProgram().GetOverrides() {
		for _, id := range append(slices.Clone(m.GetEffects()), m.GetOpposes()...) {
			outputs := j.outputsOf([]string{id})
			for _, d := range j.agents() {
				known := slices.ContainsFunc(j.analysis.Pairs, func(p program.Pair) bool {
					return p.State == term.Release && j.Message.GetProgram().GetEffects()[p.Effect].GetEffect() == id
				})
				if !known && slices.ContainsFunc(outputs, func(o int32) bool { return slices.Contains(d.outputs, o) }) {
					j.add(finding.Warn("program.switched-release", fmt.Sprintf("program.overrides[%d]", i), fmt.Sprintf("the switch %q rules the release %q", m.GetOverride(), d.name),
						"it lets the agent go past the hold-off, or keeps it back: release by hand through an input of its own"), "guide specifications for CO2")
				}
			}
		}
	}
}

// countdowns: whoever is in the room needs time to leave it. What the program waits before it releases counts too. Whoever
// releases by hand is there and decides; that acts at once.
func (j *judge) countdowns() {
	limit := j.rules.Of(rule.DischargeDelay)
	for _, d := range j.agents() {
		for i := range j.analysis.Pairs {
			p := &j.analysis.Pairs[i]
			if d.by(j, p) && p.After+d.countdown < limit.Duration() && !j.byHand(p) {
				j.add(finding.Warn("release.countdown-short", p.Path, fmt.Sprintf("%q discharges %v after cause %q; the least is %v", d.name, p.After+d.countdown, j.Message.GetProgram().GetCauses()[p.Cause].GetCause(), limit.Duration()),
					"people must be able to leave: lengthen the countdown, or write the limit "+limit.Name+" under rules.limits where nobody can be inside"), limit.Source())
				break
			}
		}
	}
}

// byHand tells whether nothing but a release input makes a pair true.
func (j *judge) byHand(p *program.Pair) bool {
	return j.analysis.Space.Assume(p.Active, func(f term.Fact) (holds, known bool) {
		return false, f.Kind == term.DeviceActive && j.Installation.Points[f.Index].Input == loop.ReleaseInput
	}) == bdd.False
}

// holdOffs: whoever is still in the room must be able to hold a discharge back, at the release itself or in the
// program that commands it.
func (j *judge) holdOffs() {
	there := slices.ContainsFunc(j.Installation.Points, func(p loop.Point) bool { return p.Input == loop.HoldOff })
	for _, d := range j.agents() {
		if there && (j.heldByOutput(&d) || j.heldByProgram(&d)) {
			continue
		}
		missing := "no input module is a hold-off button"
		if there {
			missing = "no output that the button operates drives its hold-off, and the button stops no action that releases it"
		}
		j.add(finding.Warn("release.no-hold-off", d.path, fmt.Sprintf("nothing can hold %q back: %s", d.name, missing),
			"bring a hold-off button to an input module with `input: hold-off`, and drive the release's hold-off from it or let it pause the action's delay"), "guide specifications for CO2; "+commonPractice)
	}
}

// heldByOutput tells whether a hold-off button operates an output that drives the hold-off of a release.
func (j *judge) heldByOutput(d *discharge) bool {
	return d.equipment >= 0 && slices.ContainsFunc(j.drivers[d.equipment], func(o int32) bool {
		_, name := j.input(o)
		return name == "hold-off" && slices.ContainsFunc(j.demands(o), func(p *program.Pair) bool { return j.pressed(p.Active) })
	})
}

// heldByProgram tells whether a hold-off button stops an action that operates a release, or takes its cause away.
func (j *judge) heldByProgram(d *discharge) bool {
	for i := range j.analysis.Pairs {
		p := &j.analysis.Pairs[i]
		if d.by(j, p) && slices.ContainsFunc(append(p.Guards(), j.analysis.Space.Not(p.Active)), j.pressed) {
			return true
		}
	}
	return false
}

// pressed tells whether pressing the hold-off buttons can make a condition true, and letting them go cannot.
func (j *judge) pressed(condition bdd.Node) bool {
	s := j.analysis.Space
	var at [2]bdd.Node // let go, pressed
	for i := range at {
		at[i] = s.Assume(condition, func(f term.Fact) (holds, known bool) {
			return i == 1, f.Kind == term.DeviceActive && j.Installation.Points[f.Index].Input == loop.HoldOff
		})
	}
	return at[0] != at[1] && s.Implies(at[0], at[1])
}
