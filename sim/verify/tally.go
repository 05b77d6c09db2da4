package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// maxDifferences bounds the run differences that a report lists; all are counted.
const maxDifferences = 200

// place is a row and a column: the key of a cell, empty ones included.
type place struct{ row, column int32 }

// sum is what all runs show about one cell.
type sum struct {
	verdict    verdict
	leads      bool
	notJudged  bool
	judged     bool
	timed      bool
	worst      time.Duration
	bound      time.Duration
	within     time.Duration
	difference *pb.RunDifference
}

// foreign is a difference of a run that another row's cell answers for.
type foreign struct {
	at place
	d  *pb.RunDifference
}

// tally adds the verdicts of runs, in the order of the runs.
type tally struct {
	v       *Verifier
	file    string
	cells   map[place]*sum
	foreign []foreign
	diffs   []*pb.RunDifference
	failed  bool
	seen    *coverage
	runs    int
	events  int
	time    time.Duration
	left    []int // runs of each row that are still to come
}

func newTally(v *Verifier, file string) *tally {
	t := &tally{v: v, file: file, cells: map[place]*sum{}, seen: newCoverage(v), left: make([]int, len(v.m.Rows))}
	for _, r := range v.runs {
		for _, row := range r.rows {
			t.left[row]++
		}
	}
	return t
}

func (t *tally) cell(row, column int32) *sum {
	at := place{row, column}
	if t.cells[at] == nil {
		t.cells[at] = &sum{}
	}
	return t.cells[at]
}

// add takes one run's verdicts.
func (t *tally) add(r *verdicts) {
	t.runs++
	t.events += r.events
	t.time += r.end
	for _, row := range t.v.runs[r.run].rows {
		t.left[row]--
	}
	if r.err != nil {
		t.failed = true
		t.list(&pb.RunDifference{Run: r.text, Stage: "fire", Verdict: crashed.String(), Observed: r.err.Error()})
		return
	}
	t.seen.add(r.seen)
	for i := range r.cells {
		t.addCell(&r.cells[i])
	}
	for i := range r.diffs {
		t.addDifference(r, &r.diffs[i])
	}
}

func (t *tally) addCell(c *cellResult) {
	if !c.own {
		return
	}
	s := t.cell(c.row, int32(t.v.m.Rows[c.row].Cells[c.cell].Column))
	s.judged = true
	s.leads = s.leads || c.leads
	s.notJudged = s.notJudged || c.notJudged
	if c.timed {
		s.timed = true
		s.worst, s.bound = max(s.worst, c.worst), max(s.bound, c.bound)
		if s.within == 0 || c.within < s.within {
			s.within = c.within
		}
	}
}

func (t *tally) addDifference(r *verdicts, d *difference) {
	t.failed = true
	message := t.message(r, d)
	switch {
	case d.row < 0:
		t.list(message)
	case !d.own:
		t.foreign = append(t.foreign, foreign{place{d.row, d.column}, message})
	default:
		s := t.cell(d.row, d.column)
		if s.difference == nil || d.verdict < s.verdict {
			s.verdict, s.difference = d.verdict, message
		}
	}
}

func (t *tally) list(d *pb.RunDifference) {
	if len(t.diffs) < maxDifferences {
		t.diffs = append(t.diffs, d)
	}
}

// message writes a difference for the report.
func (t *tally) message(r *verdicts, d *difference) *pb.RunDifference {
	m := &pb.RunDifference{
		Run: r.text, Stage: d.stage, Output: t.v.plan.In.Outputs[d.output].Label, Verdict: d.verdict.String(),
		Required: d.required, Observed: d.observed, BrokenLink: d.broken,
	}
	row := d.row
	if row < 0 {
		row = t.v.runs[r.run].rows[0]
	}
	m.Cause = t.v.m.Rows[row].Cause
	for i, word := range d.links {
		m.Chain = append(m.Chain, &pb.ChainLink{AtS: seconds(time.Duration(d.linkTimes[i])), What: word})
	}
	if d.followed() {
		m.T0S, m.T1S = optional(d.truth.originOf(d.begun.Decision)), optional(d.begun.Decision)
	}
	if d.did != nil && !d.did.spontaneous {
		m.T2S, m.T3S, m.T4S = optional(d.did.t2), optional(d.did.t3), optional(d.did.t4)
		if d.did.done > 0 {
			m.T5S = optional(d.did.done)
		}
	}
	return m
}

// followed reports whether there is a decision that what the output did follows from, or should:
// what no demand answers for has none, nor has what came before it and was not merely early.
func (d *difference) followed() bool {
	return d.truth != nil && d.begun != nil && (d.did == nil || d.verdict == early || d.did.t2 >= d.begun.Decision)
}

// seconds is a time as reports print it: the float64 nearest to it, so that 1.872 s is not printed
// as 1.8719999999999999 (Duration.Seconds adds two roundings).
func seconds(d time.Duration) float64 { return float64(d) / float64(time.Second) }

func optional(d time.Duration) *float64 {
	s := seconds(d)
	return &s
}

// report turns the sums into the report.
func (t *tally) report(interrupted bool) *pb.VerifyReport {
	v := t.v
	for _, f := range t.foreign { // only where the other row's own runs do not show it
		if s := t.cells[f.at]; s == nil || s.difference == nil {
			t.list(f.d)
		}
	}
	out := &pb.VerifyReport{
		Site: v.plan.In.Site, Title: v.plan.In.Title, Caution: sim.Caution, Differences: t.diffs, Interrupted: interrupted,
		Counts: &pb.VerifyCounts{Rows: int32(len(v.m.Rows)), Columns: int32(len(v.m.Columns)), Runs: int32(t.runs), Events: float64(t.events), SimulatedS: seconds(t.time)},
	}
	for c := range v.m.Columns {
		out.Columns = append(out.Columns, v.m.Columns[c].Name)
	}
	counts := map[string]int32{}
	for row := range v.m.Rows {
		t.reportRow(out, row, counts)
	}
	for _, word := range verdictWords {
		if counts[word] > 0 {
			out.Verdicts = append(out.Verdicts, &pb.VerdictCount{Verdict: word, Cells: counts[word]})
		}
	}
	out.Coverage = t.coverage()
	out.Passed = !t.failed && counts[errored.String()] == 0 && !interrupted
	return out
}

func (t *tally) reportRow(out *pb.VerifyReport, row int, counts map[string]int32) {
	r := &t.v.m.Rows[row]
	verdict := &pb.RowVerdict{Cause: r.Cause, When: r.Text, Ways: int32(t.v.rows[row].ways), Position: t.position(r.Line, r.Column)}
	if bad := t.v.rows[row].errored; bad != nil {
		verdict.Errored = bad.GetTitle() + ": " + bad.GetDetail()
		t.failed = true
	}
	out.Rows = append(out.Rows, verdict)
	out.Counts.Ways += verdict.GetWays()
	for column := range t.v.m.Columns {
		cell, said := r.Cell(column)
		s := t.cells[place{int32(row), int32(column)}]
		if !said && (s == nil || s.difference == nil) {
			continue
		}
		c := t.cellVerdict(row, column, cell, s)
		counts[c.GetVerdict()]++
		out.Cells = append(out.Cells, c)
	}
}

func (t *tally) cellVerdict(row, column int, cell *matrix.Cell, s *sum) *pb.CellVerdict {
	r := &t.v.m.Rows[row]
	out := &pb.CellVerdict{Cause: r.Cause, Column: t.v.m.Columns[column].Name, Ways: int32(t.v.rows[row].ways), Position: t.position(r.Line, r.Column)}
	if cell != nil {
		out.Required, out.Position = cell.String(), t.position(cell.Place.Line, cell.Place.Column)
	}
	switch {
	case t.v.rows[row].errored != nil:
		out.Verdict = errored.String()
	case s != nil && s.difference != nil:
		out.Verdict, out.Difference = s.verdict.String(), s.difference
	case t.left[row] > 0: // interrupted: what the runs so far show is not all
		out.Verdict = notJudged.String()
	case s == nil || !s.judged:
		out.Verdict, t.failed = errored.String(), true
	case s.notJudged:
		out.Verdict = notJudged.String()
	case !s.leads:
		out.Verdict = covered.String()
	default:
		out.Verdict = asRequired.String()
	}
	if s != nil && s.timed {
		out.WorstS, out.BoundS, out.WithinS = optional(s.worst), optional(s.bound), optional(s.within)
	}
	return out
}

func (t *tally) position(line, column int) *pb.Position {
	return &pb.Position{File: t.file, Line: int32(line), Column: int32(column)}
}

// coverage lists what no run exercised.
func (t *tally) coverage() *pb.Coverage {
	out := &pb.Coverage{}
	for i, seen := range t.seen.causes {
		if !seen {
			out.Causes = append(out.Causes, t.v.plan.World.Causes[i])
		}
	}
	for i, seen := range t.seen.pairs {
		if name := t.v.plan.PairName(i); !seen && !slices.Contains(out.GetActions(), name) {
			out.Actions = append(out.Actions, name)
		}
	}
	for i, seen := range t.seen.outputs {
		if !seen {
			out.Outputs = append(out.Outputs, t.v.plan.In.Outputs[i].Label)
		}
	}
	return out
}
