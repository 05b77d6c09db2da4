package verify

import (
	"time"

	"loopdrill.dev/loopdrill/sim/drill"
)

// bound is the computed worst case of t4 - t0, less the delay on purpose, for one output in the
// run's way on a healthy installation: for the slowest of its signals readings x round + its own
// slot + decision time; then, on the output's loop, what may be running when the command is born,
// the commands of this way that go before it with a visit after each full burst, and its own
// command slot. An output on the panel takes the switch time instead.
func (j *judgement) bound(output int, op *operation) time.Duration {
	plan := j.w.v.plan
	base := j.w.v.bases[j.r.givenKey]
	var signal time.Duration
	for _, s := range j.r.signals {
		p := &plan.In.Points[s.Point]
		cfg := plan.In.Loops[p.Loop].Line.Config()
		readings := time.Duration(plan.In.Readings(int32(s.Point)))
		signal = max(signal, readings*base.Round(p.Loop)+cfg.PollSlot)
	}
	signal += plan.In.DecisionTime
	out := &plan.In.Outputs[output]
	if out.Point < 0 {
		return signal + plan.In.SwitchTime
	}
	loop := plan.In.Points[out.Point].Loop
	cfg := plan.In.Loops[loop].Line.Config()
	running := max(cfg.PollSlot, cfg.NoReplySlot, cfg.CommandSlot)
	before := j.commandsBefore(loop, op)
	bursts := before / int(cfg.CommandsBetweenVisits)
	return signal + running + time.Duration(before)*cfg.CommandSlot + time.Duration(bursts)*running + cfg.CommandSlot
}

// commandsBefore counts the command slots of a loop that this way's own demands fill between a
// command's birth and its own slot.
func (j *judgement) commandsBefore(loop int32, op *operation) int {
	slots := map[time.Duration]bool{}
	for n := op.demand + 1; n <= op.event; n++ {
		e := j.c.d.Log().Event(n)
		if e.Kind == drill.CommandHeard && e.At > op.t2 && e.At < op.t3 && j.w.v.plan.LoopOf(e.Subject) == loop {
			slots[e.At] = true
		}
	}
	return len(slots)
}
