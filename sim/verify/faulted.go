package verify

import (
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// The installation is a healthy one, and a row whose condition speaks of a fault is judged as if none came. Some
// do: equipment that something else keeps from what it is asked for misses its proof.

// fault is the fault that an event raises, as conditions speak of it.
func (v *Verifier) fault(e *sim.Event) (f term.Fact, raised bool) {
	f.Index, raised = e.Subject, e.Value != 0
	switch e.Kind {
	case drill.ProofMissed, drill.MissingFault, drill.WrongTypeFault, drill.DuplicateFault:
		f.Kind = term.DeviceFault
	case drill.OutputFault, drill.CircuitFault:
		f.Kind = term.OutputFault
		if e.Kind == drill.CircuitFault && e.Extra == 1 {
			f.Kind = term.DeviceFault
		}
	case drill.LoopFault:
		f.Kind = term.LoopFault
	case drill.ActiveRead:
		f.Kind, f.Index = term.SupplyFault, v.plan.In.Points[e.Subject].WatchesSupply
		raised = raised && f.Index >= 0
	default:
		return f, false
	}
	return f, raised
}

// faulted makes every row errored in the run whose condition speaks of a fault that came in it.
func (j *judgement) faulted() {
	told := map[int32]bool{}
	log := j.c.d.Log()
	for n := 1; n <= log.Len(); n++ {
		e := log.Event(uint64(n))
		f, raised := j.w.v.fault(e)
		if !raised || e.At > j.c.reset {
			continue
		}
		for _, row := range j.w.v.index[f] {
			if !told[row] && applies(&j.w.v.m.Rows[row], j.r) && (j.own(row) || j.truthOf(row) != nil) {
				told[row] = true
				j.unsettled(row, e)
			}
		}
	}
}

// unsettled makes a row's cells errored: its condition speaks of what an event changed.
func (j *judgement) unsettled(row int32, e *sim.Event) {
	cells := j.w.v.m.Rows[row].Cells
	for k := range cells {
		column := int32(cells[k].Column)
		j.differ(difference{verdict: errored, output: int32(j.w.v.m.Columns[column].Outputs[0]), row: row, cell: int32(k), column: column, own: j.own(row),
			at: e.At, required: cells[k].String(), observed: "a fault that the condition speaks of comes at " + drill.Seconds(e.At) + ": " + j.w.v.plan.Describe(e)})
	}
}
