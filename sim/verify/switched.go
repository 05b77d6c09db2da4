package verify

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
)

// An output that a switch of the run's settings operates stands in its state before any signal, over
// silence and over reset, which moves no switch. It is judged by that state alone.

// switched returns the state in which a switch that `given` sets holds an output away from rest, and
// that switch.
func (j *judgement) switched(output int32) (state term.State, override int, ok bool) {
	base := j.w.v.bases[j.r.givenKey]
	override, ok = base.Overridden(output)
	state = inMatrix(base.Demanded(output))
	return state, override, ok && state != term.Rest
}

// standing demands that an output stands as the rows say that set its switch, from the start to the
// end and not after a time or for one; what rows without the switch demand of it is overridden.
func (j *judgement) standing(c *matrix.Course, state term.State, override int) {
	for i := range c.Demands {
		d := &c.Demands[i]
		sets := slices.ContainsFunc(j.w.v.m.Rows[d.Row].Given, func(s matrix.Setting) bool {
			return s.Kind == matrix.SetOverride && s.Index == override
		})
		timed := d.After > 0 || d.For > 0 // a switch knows no times
		if c.NotJudged || !sets || d.State.Physical() == state && !timed {
			continue
		}
		found := difference{verdict: wrongState, switched: true, output: int32(c.Output), at: d.From,
			required: j.w.v.m.Rows[d.Row].Cells[d.Cell].Stages[d.Stage].String(), observed: state.String() + " throughout, by its switch"}
		if d.State.Physical() == term.Rest {
			found.verdict = unexpected
		}
		j.attribute(c, found, []int{i})
		return
	}
	ops := j.operations[c.Output]
	if len(ops) > 0 && !j.asked(c.Output, override) {
		j.attribute(c, difference{verdict: unexpected, output: int32(c.Output), at: ops[0].t4, did: &ops[0],
			required: "nothing: no row that sets its switch so says anything of it", observed: state.String() + " throughout, by its switch"}, nil)
		return
	}
	settled := j.w.v.bases[j.r.givenKey].Log().Len()
	if n := slices.IndexFunc(ops, func(op operation) bool { return op.event > uint64(settled) }); n >= 0 {
		j.attribute(c, difference{verdict: wrongState, output: int32(c.Output), at: ops[n].t4, did: &ops[n],
			required: state.String() + " throughout, by its switch", observed: observedText(ops[n : n+1])}, nil)
	}
}

// asked reports whether any row that sets the switch as the run does says something of the output: what a
// switch operates besides, no row asks for.
func (j *judgement) asked(output, override int) bool {
	at := slices.IndexFunc(j.r.given, func(s matrix.Setting) bool { return s.Kind == matrix.SetOverride && s.Index == override })
	return slices.ContainsFunc(j.w.v.m.Rows, func(r matrix.Row) bool {
		return slices.Contains(r.Given, j.r.given[at]) && slices.ContainsFunc(r.Cells, func(cell matrix.Cell) bool {
			return slices.Contains(j.w.v.m.Columns[cell.Column].Outputs, output)
		})
	})
}

// operated reports whether a switch of the run's settings holds the output away from rest.
func (j *judgement) operated(output int32) bool {
	_, _, ok := j.switched(output)
	return ok
}
