package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// silenceStage judges what silence did: only what the strongest demand calls silenceable goes
// to rest; all else stays.
func (j *judgement) silenceStage() {
	for i := range j.courses {
		c := &j.courses[i]
		if c.NotJudged || j.operated(int32(c.Output)) {
			continue
		}
		before, leaders := c.At(j.c.silence)
		want := c.Silenced(j.c.silence)
		got := j.c.beforeReset[c.Output]
		if got == want || j.failedAlready(int32(c.Output)) {
			continue
		}
		d := difference{verdict: wronglySilenced, stage: "silence", output: int32(c.Output), at: j.c.silenced,
			required: want.String() + " after silence", observed: got.String()}
		switch {
		case before == term.Rest: // it had nothing to be silenced
			d.verdict = unexpected
		case got > want:
			d.verdict = notSilenced
		}
		j.attribute(c, d, leaders)
	}
}

// resetStage judges what is left after reset: every output is at rest within the site's target,
// and nothing fires later, but for what a row demands that is true still, such as a cylinder that
// stays empty. It goes by what the panel demanded: commands may wait.
func (j *judgement) resetStage() {
	rows := j.afterReset()
	target := j.w.v.plan.In.Targets.Detector
	for o, ops := range j.operations {
		asked, held := j.demandedUntil(rows, int32(o))
		n := len(ops)
		if asked == matrix.Never || n == 0 || j.operated(int32(o)) {
			continue
		}
		fired := slices.IndexFunc(ops, func(op operation) bool { return op.t2 >= asked && op.state != term.Rest })
		last := &ops[n-1]
		limit := held + target
		switch {
		case fired >= 0:
			j.late(int32(o), firesAfterReset, "at rest after reset", ops[fired:fired+1])
		case last.state != term.Rest:
			j.late(int32(o), staysOn, "at rest after reset", ops[n-1:])
		case last.t2 > limit:
			j.late(int32(o), staysOn, "rest demanded by "+drill.Seconds(limit)+", the target after reset", ops[max(n-2, 0):])
		}
	}
}

// afterReset works out which rows were true until reset or later, each with the instant at which it
// ceased to be: by the last readings, and of latched fires by those alone whose last reading at
// reset was active.
func (j *judgement) afterReset() map[int32]time.Duration {
	facts := j.w.v.readAtRest(j.w.v.bases[j.r.givenKey])
	events := j.c.d.Log().Since(0)
	n := 0
	read := func(e *sim.Event) (f term.Fact, changed bool) {
		f, on, ok := confirmed(e)
		if !ok || facts[f] == on || j.w.disabled(j.c, f) {
			return f, false
		}
		facts[f] = on
		return f, true
	}
	for ; n < len(events) && events[n].At <= j.c.reset; n++ {
		read(&events[n])
	}
	for f := range facts { // order does not show: each fact is judged alone
		if f.Kind == term.DeviceFire && !facts[term.Fact{Kind: term.DeviceActive, Index: f.Index}] {
			facts[f] = false
		}
	}
	until := map[int32]time.Duration{}
	for _, t := range j.later {
		if t.spans[len(t.spans)-1].To == matrix.Never {
			until[t.row] = j.c.reset
		}
	}
	turn := func(row int32, at time.Duration) {
		r := &j.w.v.m.Rows[row]
		_, was := until[row]
		switch is := applies(r, j.r) && j.w.holds(j.r, r, facts); {
		case is:
			until[row] = matrix.Never
		case was && until[row] == matrix.Never:
			until[row] = at
		}
	}
	for row := range j.w.v.m.Rows {
		turn(int32(row), j.c.reset)
	}
	for ; n < len(events); n++ {
		if f, changed := read(&events[n]); changed {
			for _, row := range j.w.v.index[f] {
				turn(row, events[n].At)
			}
		}
	}
	return until
}

// demandedUntil is the last instant at which any of the rows that were true until reset or later
// asks an output to leave rest, and up to when it may stay in what was asked: reset if none does,
// Never where a row is still true, or latched it.
func (j *judgement) demandedUntil(rows map[int32]time.Duration, output int32) (asked, held time.Duration) {
	asked, held = j.c.reset, j.c.reset
	for row, until := range rows { // order does not show: the latest counts
		for _, column := range j.w.v.outputColumns[output] {
			cell, ok := j.w.v.m.Rows[row].Cell(int(column))
			if !ok {
				continue
			}
			if cell.Any {
				asked = max(asked, until)
			}
			for _, s := range cell.Stages {
				switch {
				case s.State == term.Off:
				case until > j.c.reset && s.UntilReset:
					asked = matrix.Never
				case until > j.c.reset && until < matrix.Never:
					asked, held = max(asked, until), max(held, until+s.For+s.Hold+s.HoldTolerance)
				default: // it ended with reset, or has not ended
					asked, held = max(asked, until), max(held, min(until, j.c.reset)+s.Hold+s.HoldTolerance)
				}
			}
		}
	}
	return asked, max(asked, held)
}

// late reports an output that reset left wrong; the first of what it did is what shows it.
func (j *judgement) late(o int32, v verdict, required string, did []operation) {
	if j.failedAlready(o) || j.anyFor(o) {
		return
	}
	d := difference{verdict: v, stage: "reset", output: o, at: did[0].t4, required: required, observed: observedText(did), did: &did[0], row: -1, cell: -1, column: -1}
	for i := range j.courses {
		if c := &j.courses[i]; c.Output == int(o) {
			_, leaders := c.At(j.c.silence)
			j.attribute(c, d, leaders)
			return
		}
	}
	j.differ(d)
}

// anyFor reports whether a true row says that the output is not judged.
func (j *judgement) anyFor(o int32) bool {
	for i := range j.courses {
		if j.courses[i].Output == int(o) {
			return j.courses[i].NotJudged
		}
	}
	return false
}

// failedAlready: one word per run and output, the first that fits.
func (j *judgement) failedAlready(o int32) bool {
	for i := range j.out.diffs {
		if j.out.diffs[i].output == o {
			return true
		}
	}
	return false
}
