package verify

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim/drill"
)

// atRest reports whether a fact that is no device signal holds before anybody sets anything: as on any quiescent
// panel, in the mode in which this one begins.
func (v *Verifier) atRest(f term.Fact) bool {
	if f.Kind == term.PanelMode {
		return f.Value == v.mode
	}
	return matrix.AtRest(f)
}

// readAtRest is what is read active of devices on the settled panel before any signal: proofs of
// equipment that runs at rest. The readings of a run change it from there.
func (v *Verifier) readAtRest(base *drill.Drill) map[term.Fact]bool {
	facts := map[term.Fact]bool{}
	for f := range v.index { // order does not show: each fact is asked alone
		if (f.Kind == term.DeviceActive || f.Kind == term.DeviceSupervisory) && base.Fact(f) {
			facts[f] = true
		}
	}
	return facts
}

// errTrueAtRest finds the rows that what is read at rest makes true, and takes their runs out: no
// signal brings them about.
func (v *Verifier) errTrueAtRest() {
	for _, r := range v.runs {
		facts := v.readAtRest(v.bases[r.givenKey])
		w := &worker{v: v}
		r.rows = slices.DeleteFunc(r.rows, func(row int32) bool {
			if !w.holds(r, &v.m.Rows[row], facts) {
				return false
			}
			v.rows[row] = rowPlan{errored: v.rowError(int(row), "matrix.true-at-rest", "the row is true without any signal",
				"an input that it names is active while nothing happens, as the proof of equipment that runs at rest is; give the input `at_rest: closed`, or write the row over the loss of the signal")}
			return true
		})
	}
	v.runs = slices.DeleteFunc(v.runs, func(r *run) bool { return len(r.rows) == 0 })
}
