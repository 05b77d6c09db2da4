package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/sim"
)

// bound is the computed worst case of t4 - t0, less the delay on purpose, for one output in the
// run's way on a healthy installation: for the slowest of its signals readings x round + its own
// slot + decision time, and a command slot for each command of this way's own that the signal's
// loop sends from t0 to the decision, because it delays the visits; then, on the output's loop,
// what may be running when the command is born, the commands of this way that go before it with a
// visit after each full burst, and its own command slot. An output on the panel takes the switch
// time instead. deciding is from t0 to t1.
func (j *judgement) bound(output int, op *operation, deciding matrix.Span) time.Duration {
	plan := j.w.v.plan
	base := j.w.v.bases[j.r.givenKey]
	var signal time.Duration
	for _, s := range j.r.signals {
		p := &plan.In.Points[s.Point]
		cfg := plan.In.Loops[p.Loop].Line.Config()
		readings := plan.In.Readings(int32(s.Point))
		between := j.commandSlots(p.Loop, deciding)
		signal = max(signal, time.Duration(readings)*base.Round(p.Loop)+cfg.PollSlot+time.Duration(between)*cfg.CommandSlot)
	}
	signal += plan.In.DecisionTime
	out := &plan.In.Outputs[output]
	if out.Point < 0 {
		return signal + plan.In.SwitchTime
	}
	loop := plan.In.Points[out.Point].Loop
	cfg := plan.In.Loops[loop].Line.Config()
	running := max(cfg.PollSlot, cfg.NoReplySlot, cfg.CommandSlot)
	before := j.commandSlots(loop, matrix.Span{From: op.t2, To: op.t3 - 1})
	bursts := before / int(cfg.CommandsBetweenVisits)
	return signal + running + time.Duration(before)*cfg.CommandSlot + time.Duration(bursts)*running + cfg.CommandSlot
}

// commandSlots counts the command slots of a loop that end in a span, after its beginning and up to
// its end. On an installation at rest all of them are this way's own.
func (j *judgement) commandSlots(loop int32, span matrix.Span) int {
	ends := j.commandEnds[loop]
	from, _ := slices.BinarySearch(ends, span.From+1)
	to, _ := slices.BinarySearch(ends, span.To+1)
	return max(to-from, 0)
}

// noteCommand notes the end of a command slot; several commands may share one.
func (j *judgement) noteCommand(e *sim.Event) {
	loop := j.w.v.plan.LoopOf(e.Subject)
	if ends := j.commandEnds[loop]; len(ends) == 0 || ends[len(ends)-1] != e.At {
		j.commandEnds[loop] = append(ends, e.At)
	}
}
