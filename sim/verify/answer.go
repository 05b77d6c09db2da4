package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim/drill"
)

// attribute reports a difference of an output at the cells of those demands that answer for it:
// of all rows whose way the run is, else of the first other row; where no demand does, at the
// empty or other cell of the run's own row.
func (j *judgement) attribute(c *matrix.Course, d difference, demands []int) {
	d.row, d.cell, d.column = -1, -1, -1
	answered := false
	for _, own := range []bool{true, false} {
		for _, i := range demands {
			dm := &c.Demands[i]
			if j.own(int32(dm.Row)) != own || answered && !own || j.answered(c.Output, dm) {
				continue
			}
			j.differ(j.at(d, dm))
			answered = true
		}
	}
	if answered {
		return
	}
	if columns := j.w.v.outputColumns[c.Output]; len(columns) > 0 {
		row, column := j.r.rows[0], columns[0]
		d.row, d.column, d.own, d.truth = row, column, true, j.truthOf(row)
		for k := range j.w.v.m.Rows[row].Cells {
			if int32(j.w.v.m.Rows[row].Cells[k].Column) == column {
				d.cell = int32(k)
			}
		}
	}
	j.differ(d)
}

// at puts a difference at the cell of a demand.
func (j *judgement) at(d difference, dm *matrix.Demand) difference {
	d.row, d.cell, d.own, d.begun = int32(dm.Row), int32(dm.Cell), j.own(int32(dm.Row)), dm
	d.column = int32(j.w.v.m.Rows[dm.Row].Cells[dm.Cell].Column)
	d.truth = j.truthOf(d.row)
	return d
}

// answered reports whether a difference of the output stands at the demand's cell already.
func (j *judgement) answered(output int, dm *matrix.Demand) bool {
	return slices.ContainsFunc(j.out.diffs, func(d difference) bool {
		return int(d.output) == output && int(d.row) == dm.Row && int(d.cell) == dm.Cell
	})
}

// others judges the cells that the first difference of an output left unjudged: each demand of
// the run's own rows that is among the strongest at some instant must have been met at one. So
// an output that never operates is missing for every row that asks for it, whoever asked first.
func (j *judgement) others(c *matrix.Course, did []operation) {
	for i := range c.Demands {
		dm := &c.Demands[i]
		if !dm.Leads || dm.From >= j.c.silence || !j.own(int32(dm.Row)) || j.answered(c.Output, dm) {
			continue
		}
		if v := j.alone(c, i, did); v != asRequired {
			j.differ(j.at(difference{verdict: v, output: int32(c.Output), at: dm.From,
				required: dm.State.String() + " at " + drill.Seconds(dm.From), observed: observedText(did)}, dm))
		}
	}
}

// alone judges one demand over the time in which it is among the strongest.
func (j *judgement) alone(c *matrix.Course, demand int, did []operation) verdict {
	dm := &c.Demands[demand]
	cuts := []time.Duration{dm.From}
	for i := range c.Demands {
		cuts = append(cuts, c.Demands[i].From, c.Demands[i].To)
	}
	for i := range did {
		cuts = append(cuts, did[i].t2)
	}
	rested := true
	for _, at := range cuts {
		if at < dm.From || at >= min(dm.To, j.c.silence) {
			continue
		}
		if _, leaders := c.At(at); !slices.Contains(leaders, demand) {
			continue
		}
		is := demandedAt(did, at)
		if is == dm.State.Physical() {
			return asRequired
		}
		rested = rested && is == term.Rest
	}
	switch {
	case dm.State == term.Off:
		return unexpected
	case rested:
		return missing
	}
	return wrongState
}

// demandedAt is the state that the panel demanded of an output at an instant, by what it then did.
func demandedAt(did []operation, at time.Duration) term.State {
	state := term.Rest
	for i := range did {
		if did[i].t2 <= at {
			state = did[i].state
		}
	}
	return state
}
