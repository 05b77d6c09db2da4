package verify

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Table is the matrix that a program really makes, found by running it: a row for all device
// signals that do the same, a column for each output.
type Table struct {
	Columns []string
	Rows    []TableRow
	Notes   []string // causes that could not be run, ways that do not make them true, and why
}

// TableRow is one row: what does it, and what comes of it.
type TableRow struct {
	Cause string
	When  string
	Cells []string // by column; empty where nothing operates
}

// Made runs every smallest way of every cause of the program, from a quiescent panel in its first
// mode with every control off, and writes down what each output does. Ways of one signal that
// make the same are one row. A way of several signals gets a row only for outputs that do
// something other than the rows of its single signals together.
func Made(ctx context.Context, plan *drill.Plan, causes []matrix.Cause) (*Table, error) {
	all := &matrix.Matrix{}
	table := &Table{}
	for o := range plan.In.Outputs {
		table.Columns = append(table.Columns, plan.In.Outputs[o].Label)
		all.Columns = append(all.Columns, matrix.Column{Name: plan.In.Outputs[o].Label, Effect: -1, Outputs: []int{o}})
		all.Outputs = append(all.Outputs, o)
	}
	var of []int32
	for i, c := range causes {
		if c.When != nil {
			of = append(of, int32(i))
			all.Rows = append(all.Rows, matrix.Row{Number: i + 2, Cause: c.ID, Text: c.ID, When: c.When})
		}
	}
	v, err := New(ctx, plan, all)
	if err != nil {
		return nil, err
	}
	for i := range v.rows {
		if bad := v.rows[i].errored; bad != nil {
			_, why, _ := strings.Cut(bad.GetTitle(), ": ")
			table.Notes = append(table.Notes, fmt.Sprintf("cause %s is not in the table: %s", all.Rows[i].Cause, why))
		}
	}
	m := &maker{v: v, w: v.newWorker(), table: table, of: of}
	for _, single := range []bool{true, false} {
		for _, r := range v.runs {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			if (len(r.signals) == 1) == single {
				if err := m.run(r); err != nil {
					return nil, err
				}
			}
		}
		if single {
			m.expect()
		}
	}
	return table, nil
}

// maker turns runs into rows.
type maker struct {
	v      *Verifier
	w      *worker
	table  *Table
	of     []int32         // by row: the program's cause that it stands for
	single []singleRow     // rows of single signals, as they are found
	known  *matrix.Matrix  // the rows of single signals as a matrix: what several are expected to make
	made   map[string]bool // names of causes whose ways of several signals have their row
}

type singleRow struct {
	row     int // in the table
	signals []matrix.Signal
}

// run takes one run.
func (m *maker) run(r *run) error {
	c := m.w.simulate(r)
	if c.err != nil {
		return fmt.Errorf("running %s: %w", m.v.text(r), c.err)
	}
	j := &judgement{w: m.w, r: r, c: c, out: &verdicts{}}
	j.truths = m.w.truths(r, c, c.silence-1)
	j.operations = j.collect()
	t := j.truthOf(r.rows[0])
	if t == nil {
		m.table.Notes = append(m.table.Notes, fmt.Sprintf("%s: the signal is never confirmed", m.v.text(r)))
		return nil
	}
	m.noteMissed(j, r)
	decided, gone := t.spans[0].From, m.gone(j)
	cells := make([]string, len(j.operations))
	for o := range cells {
		stages := m.stages(j, o, decided)
		if !m.ends(j, o, gone, stages) {
			m.table.Notes = append(m.table.Notes, fmt.Sprintf("%s: %s ends while the signal stands or is latched; a cell cannot say so", m.v.text(r), m.table.Columns[o]))
		}
		if len(stages) > 0 {
			cells[o] = (&matrix.Cell{Stages: stages}).String()
		}
	}
	if len(r.signals) == 1 {
		m.addSingle(r, cells)
		return nil
	}
	m.addSeveral(j, r, cells)
	return nil
}

// noteMissed says which of the run's causes do not come true by it: a reader of the table would take the
// signal for one that does nothing.
func (m *maker) noteMissed(j *judgement, r *run) {
	log := j.c.d.Log()
	came := map[int32]bool{}
	for n := 1; n <= log.Len() && log.Event(uint64(n)).At < j.c.silence; n++ {
		if e := log.Event(uint64(n)); e.Kind == drill.CauseChanged && e.Value != 0 {
			came[e.Subject] = true
		}
	}
	var missed []string
	for _, row := range r.rows {
		if !came[m.of[row]] {
			missed = append(missed, m.v.m.Rows[row].Cause)
		}
	}
	if len(missed) > 0 {
		m.table.Notes = append(m.table.Notes, fmt.Sprintf("%s does not make true: %s", m.v.text(r), strings.Join(missed, ", ")))
	}
}

// gone is when the first of the run's signals was read at rest before reset, which ends the row
// that is written of them; Never where all are latched or stand.
func (m *maker) gone(j *judgement) time.Duration {
	log := j.c.d.Log()
	for n := 1; n <= log.Len() && log.Event(uint64(n)).At < j.c.reset; n++ {
		e := log.Event(uint64(n))
		f, on, ok := confirmed(e)
		if ok && !on && e.At >= j.c.silence && slices.ContainsFunc(j.r.signals, func(s matrix.Signal) bool {
			return s.Makes(f, m.v.plan.World) && decides(s, f)
		}) {
			return e.At
		}
	}
	return matrix.Never
}

// stages writes what one output did until silence, in the words of a matrix cell.
func (m *maker) stages(j *judgement, o int, decided time.Duration) []matrix.Stage {
	var stages []matrix.Stage
	silenceable := false
	for _, op := range j.operations[o] {
		if op.t4 >= j.c.silence {
			break
		}
		if op.t2 < decided { // an earlier signal's row says so
			continue
		}
		n, after := len(stages), op.t2-decided
		switch {
		case op.state != term.Rest:
			stages = append(stages, matrix.Stage{State: op.state, After: after})
			silenceable = true
		case n > 0:
			stages[n-1].For = after - stages[n-1].After
			silenceable = false
		}
	}
	if silenceable && j.c.beforeReset[o] == term.Rest {
		for i := range stages {
			stages[i].Silenceable = true
		}
	}
	return stages
}

// ends adds to the last stage how it ended once the signals were gone: with the row, a time after
// it, or not until reset. False where it ended before, which no word says.
func (m *maker) ends(j *judgement, o int, gone time.Duration, stages []matrix.Stage) bool {
	if len(stages) == 0 {
		return true
	}
	last := &stages[len(stages)-1]
	if last.For > 0 || last.Silenceable {
		return true
	}
	for _, op := range j.until(o, j.c.reset) {
		switch {
		case op.t2 < j.c.silence || op.state == last.State:
		case op.t2 < gone:
			return false
		default:
			last.Hold = op.t2 - gone
			return true
		}
	}
	last.UntilReset = gone != matrix.Never
	return true
}

// addSingle adds a signal to the row that makes the same, or to a new one.
func (m *maker) addSingle(r *run, cells []string) {
	if !slices.ContainsFunc(cells, func(c string) bool { return c != "" }) {
		return
	}
	for i := range m.single {
		row := &m.table.Rows[m.single[i].row]
		if slices.Equal(row.Cells, cells) {
			m.single[i].signals = append(m.single[i].signals, r.signals[0])
			row.When += " || " + m.signal(r.signals[0])
			return
		}
	}
	m.single = append(m.single, singleRow{row: len(m.table.Rows), signals: slices.Clone(r.signals)})
	m.table.Rows = append(m.table.Rows, TableRow{Cause: m.name(r), When: m.signal(r.signals[0]), Cells: cells})
}

// name joins the causes that a run makes true; a name taken already gets a number.
func (m *maker) name(r *run) string {
	var causes []string
	for _, row := range r.rows {
		causes = append(causes, m.v.m.Rows[row].Cause)
	}
	name := strings.Join(causes, " + ")
	for n := 2; slices.ContainsFunc(m.table.Rows, func(t TableRow) bool { return t.Cause == name }); n++ {
		name = fmt.Sprintf("%s (%d)", strings.Join(causes, " + "), n)
	}
	return name
}

// signal writes a signal as a condition.
func (m *maker) signal(s matrix.Signal) string {
	label := strings.ReplaceAll(strings.ReplaceAll(m.v.plan.In.Points[s.Point].Label, `\`, `\\`), `'`, `\'`)
	return fmt.Sprintf("device('%s').%s", label, s.Kind)
}

// expect makes a matrix of the rows of single signals, to tell what several of them add.
func (m *maker) expect() {
	m.known = &matrix.Matrix{Columns: m.v.m.Columns, Outputs: m.v.m.Outputs}
	for _, s := range m.single {
		var text strings.Builder
		_ = (&Table{Columns: m.table.Columns, Rows: m.table.Rows[s.row : s.row+1]}).WriteCSV(&text)
		parsed, _ := matrix.Parse([]byte(text.String()), m.v.plan.World, matrix.Names{})
		if parsed != nil && len(parsed.Rows) == 1 {
			m.known.Rows = append(m.known.Rows, parsed.Rows[0])
		}
	}
	m.made = map[string]bool{}
}

// addSeveral adds a row for what several signals do beyond what each does.
func (m *maker) addSeveral(j *judgement, r *run, cells []string) {
	if r.atOnce != 0 { // the same way in another order makes the same row
		return
	}
	other := &Verifier{plan: m.v.plan, m: m.known, index: indexFacts(m.known), bases: m.v.bases}
	truths := truthSpans((&worker{v: other}).truths(&run{given: r.given, givenKey: r.givenKey}, j.c, j.c.reset-1))
	differs := false
	for _, course := range m.known.Courses(truths) {
		_, away := firstAway(&course, j.until(course.Output, j.c.reset), j.c.silence, j.c.reset)
		if sameStates(&course, j.operations[course.Output], j.c.silence) && !away {
			cells[course.Output] = ""
		}
		differs = differs || cells[course.Output] != ""
	}
	if !differs {
		return
	}
	var signals []string
	for _, s := range r.signals {
		signals = append(signals, m.signal(s))
	}
	when := strings.Join(signals, " && ")
	if m.made[when] {
		return
	}
	m.made[when] = true
	m.table.Rows = append(m.table.Rows, TableRow{Cause: m.name(r), When: when, Cells: cells})
}

// sameStates reports whether an output did what a course asks, state by state at the instants
// that the program is asked to keep.
func sameStates(c *matrix.Course, did []operation, until time.Duration) bool {
	n := 0
	for _, op := range did {
		if op.t4 >= until {
			break
		}
		if n >= len(c.Transitions) || c.Transitions[n].State != op.state || c.Transitions[n].At != op.t2 {
			return false
		}
		n++
	}
	return n == len(c.Transitions) || c.Transitions[n].At >= until
}

// WriteCSV writes the table in the form that verify reads.
func (t *Table) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	records := [][]string{append([]string{"cause", "when", "given"}, t.Columns...)}
	for _, r := range t.Rows {
		records = append(records, append([]string{r.Cause, r.When, ""}, r.Cells...))
	}
	if err := out.WriteAll(records); err != nil {
		return fmt.Errorf("writing the matrix: %w", err)
	}
	return nil
}
