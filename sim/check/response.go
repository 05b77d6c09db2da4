package check

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	installation "loopdrill.dev/loopdrill/loop/check"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// responses computes how long the slowest signal of each loop may take to the last output that it operates at once, and
// holds it against the target of its kind. The formula is that of `verify` for one signal (rule F6): readings x round, the
// device's slot, the decision, what may be running on the output's loop, all commands of the instant with a visit after
// each full burst.
func (j *judge) responses() {
	type worst struct {
		at     time.Duration
		point  int32
		output int32
	}
	slowest := map[[2]int32]*worst{} // loop, and 1 for call points
	for i := range j.walks {
		w := &j.walks[i]
		pt := &j.Installation.Points[w.point]
		if !pt.Input.Fire() {
			continue
		}
		at, output := j.response(w)
		if output < 0 {
			continue
		}
		key := [2]int32{pt.Loop, 0}
		if pt.Input == loop.CallPoint {
			key[1] = 1
		}
		if s := slowest[key]; s == nil || at > s.at {
			slowest[key] = &worst{at, w.point, output}
		}
	}
	for l := range j.Installation.Loops {
		for kind, name := range []string{rule.DetectorTarget, rule.CallPointTarget} {
			s := slowest[[2]int32{int32(l), int32(kind)}]
			target, clause := j.Installation.Targets.Detector, j.rules.Source(name)
			if kind == 1 {
				target = j.Installation.Targets.CallPoint
			}
			if target != j.rules.Duration(name) {
				clause = "targets of the file; " + clause
			}
			if s == nil || s.at <= target {
				continue
			}
			j.add(finding.Error("response.over-target", j.path(s.point), fmt.Sprintf("from %q to %q may take %.3g s; the target is %.3g s", j.label(s.point), j.Installation.Outputs[s.output].Label, s.at.Seconds(), target.Seconds()),
				fmt.Sprintf("a round of loop %d takes %.3g s: put fewer devices on it, ask for fewer readings, or command fewer outputs at once (line.shared_commands)", j.Installation.Loops[l].Number, installation.Round(&j.Installation.Loops[l]).Seconds())), clause)
		}
	}
}

// targets: the file asks for less than the rules that it names.
func (j *judge) targets() {
	for _, t := range []struct {
		path, name string
		given      *durationpb.Duration
	}{
		{"targets.detector", rule.DetectorTarget, j.Message.GetTargets().GetDetector()},
		{"targets.call_point", rule.CallPointTarget, j.Message.GetTargets().GetCallPoint()},
	} {
		if limit := j.rules.Of(t.name); t.given != nil && t.given.AsDuration() > limit.Duration() {
			j.add(finding.Warn("targets.above-limit", t.path, fmt.Sprintf("a target of %v; the limit is %v", t.given.AsDuration(), limit.Duration()),
				"shorten it, or write the limit "+limit.Name+" under rules.limits where it is agreed"), limit.Source())
		}
	}
}

// response is the worst time to the last of the outputs that a walk demands at once, -1 for none.
func (j *judge) response(w *walk) (worst time.Duration, output int32) {
	in := j.Installation
	pt := &in.Points[w.point]
	cfg := in.Loops[pt.Loop].Line.Config()
	signal := time.Duration(in.Readings(w.point))*installation.Round(&in.Loops[pt.Loop]) + cfg.PollSlot + in.DecisionTime
	output = -1
	soundersOnly := pt.Input == loop.CallPoint && in.Targets.CallPoint < in.Targets.Detector // the sounders of its area (BS 5839-1)
	sent := map[int32]int{}                                                                  // commands by loop
	last := map[int32]demand{}
	for _, d := range w.demands {
		if d.at > 0 || d.state == term.Rest {
			continue
		}
		o := &in.Outputs[d.output]
		at := signal + in.SwitchTime
		if o.Point >= 0 {
			l := in.Points[o.Point].Loop
			line := in.Loops[l].Line.Config()
			running := max(line.PollSlot, line.NoReplySlot, line.CommandSlot)
			if s, ok := last[l]; ok && line.SharedCommands && s.effect == d.effect && s.state == d.state {
				sent[l]-- // one slot for both
			}
			before := sent[l]
			sent[l]++
			last[l] = d
			at = signal + running + time.Duration(before+1)*line.CommandSlot + time.Duration(before/int(line.CommandsBetweenVisits))*running
		}
		if at > worst && (!soundersOnly || o.Sounder) {
			worst, output = at, d.output
		}
	}
	return worst, output
}
