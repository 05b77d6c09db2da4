package verify

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// maxSignals is the greatest number of signals in a way: all their orders are run.
const maxSignals = 5

// maxRuns bounds the distinct runs of one verification.
const maxRuns = 200_000

// run is one distinct run: what is set before, and what is stimulated in which order.
type run struct {
	given    []matrix.Setting
	givenKey string
	signals  []matrix.Signal // in order
	atOnce   int             // index of the signal just after whose sample all come; -1: one after another
	rows     []int32         // rows whose way it is
}

// enumerate finds the ways of every row and the distinct runs that they make, at most limit. A row
// that would make more is errored, and so is every row after it.
func (v *Verifier) enumerate(ctx context.Context, limit int) error {
	known := map[string]*run{}
	for i := range v.m.Rows {
		if err := ctx.Err(); err != nil {
			return err
		}
		ways, bad := v.m.Ways(i, v.plan.World, v.atRest)
		if bad == nil && len(ways) > 0 && len(ways[len(ways)-1]) > maxSignals {
			bad = v.rowError(i, "matrix.way-too-long", fmt.Sprintf("a way of %d signals has too many orders to run them all", len(ways[len(ways)-1])),
				fmt.Sprintf("ways of up to %d signals are run in every order; split the row", maxSignals))
		}
		if v.rows[i].errored = bad; bad != nil {
			continue
		}
		v.rows[i].ways = len(ways)
		before := len(v.runs)
		for _, way := range ways {
			if v.enter(known, i, way); len(v.runs) > limit {
				v.leaveOut(i, before, limit)
				return nil
			}
		}
	}
	return nil
}

// leaveOut makes a row and those after it errored for want of runs, and takes the runs out that the
// row has made so far.
func (v *Verifier) leaveOut(row, before, limit int) {
	v.runs = v.runs[:before]
	for _, r := range v.runs {
		r.rows = slices.DeleteFunc(r.rows, func(of int32) bool { return of == int32(row) })
	}
	for i := row; i < len(v.rows); i++ {
		v.rows[i] = rowPlan{errored: v.rowError(i, "matrix.too-many-runs", fmt.Sprintf("the matrix takes more than %d runs", limit), "split the matrix, or write the row over fewer devices")}
	}
}

func (v *Verifier) rowError(row int, code, title, detail string) *errorFinding {
	r := &v.m.Rows[row]
	return finding.Error(code, fmt.Sprintf("R%d", r.Number), fmt.Sprintf("row %d, %q: %s", r.Number, r.Cause, title), detail)
}

// enter adds the runs of one way: one signal alone; several at once, just after a sample of each
// of them in turn, and one after another in every order.
func (v *Verifier) enter(known map[string]*run, row int, way matrix.Way) {
	given := v.m.Rows[row].Given
	if len(way) == 1 {
		v.enterRun(known, row, run{given: given, signals: way, atOnce: 0})
		return
	}
	for i := range way {
		v.enterRun(known, row, run{given: given, signals: way, atOnce: i})
	}
	permute(slices.Clone(way), 0, func(order matrix.Way) {
		v.enterRun(known, row, run{given: given, signals: slices.Clone(order), atOnce: -1})
	})
}

func (v *Verifier) enterRun(known map[string]*run, row int, r run) {
	r.givenKey = givenText(v, r.given)
	key := fmt.Sprint(r.givenKey, r.signals, r.atOnce)
	if have := known[key]; have != nil {
		if !slices.Contains(have.rows, int32(row)) {
			have.rows = append(have.rows, int32(row))
		}
		return
	}
	r.rows = []int32{int32(row)}
	known[key] = &r
	v.runs = append(v.runs, &r)
}

// permute calls visit with every order of way[at:].
func permute(way matrix.Way, at int, visit func(matrix.Way)) {
	if at == len(way) {
		visit(way)
		return
	}
	for i := at; i < len(way); i++ {
		way[at], way[i] = way[i], way[at]
		permute(way, at+1, visit)
		way[at], way[i] = way[i], way[at]
	}
}

// givenText writes settings in a fixed order: also the key under which settled drills are kept.
// Overrides keep theirs and come last: of two on one output the one moved last counts.
func givenText(v *Verifier, given []matrix.Setting) string {
	var words, overrides []string
	for _, s := range given {
		switch s.Kind {
		case matrix.SetMode:
			words = append(words, "mode="+[]string{"day", "night"}[s.Value])
		case matrix.SetControl:
			words = append(words, "control="+v.plan.World.Controls[s.Index])
		case matrix.DisablePoint:
			words = append(words, "disabled="+v.plan.In.Points[s.Index].Label)
		case matrix.DisableOutput:
			words = append(words, "disabled="+v.plan.In.Outputs[s.Index].Label)
		case matrix.DisableZone:
			words = append(words, "disabled=zone:"+v.plan.World.Zones[s.Index])
		case matrix.DisableEquipment:
			words = append(words, "disabled=equipment:"+v.plan.World.Equipment[s.Index].ID)
		case matrix.TestZone:
			words = append(words, "test="+v.plan.World.Zones[s.Index])
		case matrix.Acknowledge:
			words = append(words, "acknowledged="+s.After.String())
		case matrix.SetOverride:
			overrides = append(overrides, "override="+v.plan.World.Overrides[s.Index]+":"+term.PositionWord(s.Value))
		}
	}
	slices.Sort(words)
	return strings.Join(append(words, overrides...), "; ")
}

// text is the run as reports show it.
func (v *Verifier) text(r *run) string {
	var words []string
	for _, s := range r.signals {
		word := v.plan.In.Points[s.Point].Label
		if s.Kind == matrix.PrealarmSignal {
			word += " (pre-alarm)"
		}
		words = append(words, word)
	}
	joint := ", then "
	if r.atOnce >= 0 {
		joint = " and "
	}
	text := strings.Join(words, joint)
	if len(r.signals) > 1 && r.atOnce >= 0 {
		text += " at once, just after a sample of " + v.plan.In.Points[r.signals[r.atOnce].Point].Label
	}
	if r.givenKey != "" {
		text += " (given " + r.givenKey + ")"
	}
	return text
}
