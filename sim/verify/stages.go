package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
)

// silenceStage judges what silence did: only what the strongest demand calls silenceable goes
// to rest; all else stays.
func (j *judgement) silenceStage() {
	for i := range j.courses {
		c := &j.courses[i]
		if c.NotJudged {
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

// resetStage judges what is left after reset: everything at rest, and nothing fires later, but
// for what a row demands that is true still, such as a cylinder that stays empty.
func (j *judgement) resetStage() {
	standing := j.standing()
	for o, ops := range j.operations {
		if j.demandedBy(standing, int32(o)) {
			continue
		}
		fired := false
		for k := range ops {
			if op := &ops[k]; op.t2 >= j.c.reset && op.state != term.Rest {
				j.late(int32(o), firesAfterReset, op)
				fired = true
				break
			}
		}
		if n := len(ops); !fired && n > 0 && ops[n-1].state != term.Rest {
			j.late(int32(o), staysOn, &ops[n-1])
		}
	}
}

// standing works out which rows are still true at the end: by the last readings, and by those
// latched fires alone whose last reading at reset was active.
func (j *judgement) standing() []int32 {
	facts := j.w.v.readAtRest(j.w.v.bases[j.r.givenKey])
	log, n := j.c.d.Log(), 1
	read := func(until time.Duration) {
		for ; n <= log.Len() && log.Event(uint64(n)).At <= until; n++ {
			if f, on, ok := confirmed(log.Event(uint64(n))); ok {
				facts[f] = on
			}
		}
	}
	read(j.c.reset)
	for f := range facts { // order does not show: each fact is judged alone
		if f.Kind == term.DeviceFire && !facts[term.Fact{Kind: term.DeviceActive, Index: f.Index}] {
			facts[f] = false
		}
	}
	read(j.c.end)
	var rows []int32
	for i := range j.w.v.m.Rows {
		if r := &j.w.v.m.Rows[i]; applies(r, j.r) && j.w.holds(j.r, r, facts) {
			rows = append(rows, int32(i))
		}
	}
	return rows
}

// demandedBy reports whether any of the rows asks the output to leave rest.
func (j *judgement) demandedBy(rows []int32, output int32) bool {
	for _, column := range j.w.v.outputColumns[output] {
		for _, row := range rows {
			cell, ok := j.w.v.m.Rows[row].Cell(int(column))
			if ok && (cell.Any || slices.ContainsFunc(cell.Stages, func(s matrix.Stage) bool { return s.State != term.Off })) {
				return true
			}
		}
	}
	return false
}

func (j *judgement) late(o int32, v verdict, op *operation) {
	if j.failedAlready(o) || j.anyFor(o) {
		return
	}
	d := difference{verdict: v, stage: "reset", output: o, at: op.t4, required: "at rest after reset", observed: observedText([]operation{*op}), did: op, row: -1, cell: -1, column: -1}
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
