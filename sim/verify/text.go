package verify

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// marks are the grid's one-letter verdicts.
var marks = map[string]byte{
	asRequired.String(): '=', errored.String(): '?', missing.String(): 'm', unexpected.String(): 'u', wrongState.String(): 'w',
	early.String(): 'e', late.String(): 'l', notSilenced.String(): 's', wronglySilenced.String(): 'S', staysOn.String(): 'r',
	firesAfterReset.String(): 'R', covered.String(): 'c', notJudged.String(): '-',
}

const legend = `= as required  m missing  u unexpected  w wrong state  e early  l late  c covered
s not silenced  S wrongly silenced  r stays on  R fires after reset
- not judged  ? errored  . nothing demanded`

// maxShown bounds the differences that the text lists in full.
const maxShown = 20

// WriteText writes a report for people: what is wrong first, then a compact grid.
func WriteText(w io.Writer, r *pb.VerifyReport) error {
	t := &text{}
	t.head(r)
	t.wrong(r)
	t.grid(r)
	t.responses(r)
	t.coverage(r.GetCoverage())
	t.line("")
	t.wrap("", r.GetCaution())
	_, err := io.WriteString(w, t.String())
	return err
}

// text collects lines.
type text struct{ strings.Builder }

func (t *text) line(format string, args ...any) {
	fmt.Fprintf(&t.Builder, format+"\n", args...)
}

func (t *text) head(r *pb.VerifyReport) {
	c := r.GetCounts()
	name := r.GetTitle()
	if name == "" {
		name = r.GetSite()
	}
	t.line("%s: %d rows x %d columns, %d ways, %d runs", name, c.GetRows(), c.GetColumns(), c.GetWays(), c.GetRuns())
	var words []string
	for _, v := range r.GetVerdicts() {
		words = append(words, fmt.Sprintf("%d %s", v.GetCells(), v.GetVerdict()))
	}
	if len(words) > 0 {
		t.line("cells: %s", strings.Join(words, ", "))
	}
	switch {
	case r.GetInterrupted():
		t.line("INTERRUPTED: what follows is part of the whole")
	case r.GetPassed():
		t.line("PASSED")
	default:
		t.line("FAILED")
	}
	switch n := r.GetFindingsErrors(); {
	case n == 1:
		t.line("the files hold 1 finding that counts as an error: `check` says more")
	case n > 1:
		t.line("the files hold %d findings that count as errors: `check` says more", n)
	}
}

// wrong lists errored rows, failing cells and differences of runs.
func (t *text) wrong(r *pb.VerifyReport) {
	for _, row := range r.GetRows() {
		if row.GetErrored() != "" {
			t.line("")
			t.line("%s: errored", placeText(row.GetPosition()))
			t.wrap("  ", row.GetErrored())
		}
	}
	shown, left := 0, 0
	for _, c := range r.GetCells() {
		if c.GetDifference() == nil {
			continue
		}
		if shown++; shown > maxShown {
			left++
			continue
		}
		t.line("")
		t.line("%s: %s x %s: %s", placeText(c.GetPosition()), c.GetCause(), c.GetColumn(), strings.ReplaceAll(c.GetVerdict(), "-", " "))
		t.difference(c.GetDifference())
	}
	for _, d := range r.GetDifferences() {
		if shown++; shown > maxShown {
			left++
			continue
		}
		t.line("")
		t.line("run of %s: %s: %s", d.GetCause(), d.GetOutput(), strings.ReplaceAll(d.GetVerdict(), "-", " "))
		t.difference(d)
	}
	if left > 0 {
		t.line("")
		t.line("and %d more; --output json lists them all", left)
	}
}

func placeText(p *pb.Position) string {
	if p.GetFile() == "" {
		return fmt.Sprintf("matrix:%d:%d", p.GetLine(), p.GetColumn())
	}
	return fmt.Sprintf("%s:%d:%d", p.GetFile(), p.GetLine(), p.GetColumn())
}

// difference writes one difference in full.
func (t *text) difference(d *pb.RunDifference) {
	t.field("way", d.GetRun())
	if d.GetStage() != "fire" {
		t.field("stage", d.GetStage())
	}
	t.field("output", d.GetOutput())
	t.field("required", d.GetRequired())
	t.field("observed", d.GetObserved())
	var times []string
	for i, at := range []*float64{d.T0S, d.T1S, d.T2S, d.T3S, d.T4S, d.T5S} { //nolint:protogetter // presence is asked for
		if at != nil {
			times = append(times, fmt.Sprintf("t%d %s", i, secondsText(*at)))
		}
	}
	if len(times) > 0 {
		t.field("times", strings.Join(times, "  "))
	}
	if d.GetBrokenLink() != "" {
		t.field("broken at", d.GetBrokenLink())
	}
	for i, link := range d.GetChain() {
		name := ""
		if i == 0 {
			name = "chain"
		}
		t.field(name, fmt.Sprintf("%12.6f s  %s", link.GetAtS(), link.GetWhat()))
	}
}

// secondsText writes seconds that were whole nanoseconds before they became a float.
func secondsText(s float64) string {
	return drill.Seconds(time.Duration(math.Round(s * 1e9)))
}

func (t *text) field(name, value string) {
	t.wrap(fmt.Sprintf("  %-10s", name), value)
}

// width is what the text keeps to where words allow it.
const width = 100

// wrap writes words behind a first indent, and under it.
func (t *text) wrap(indent, words string) {
	line, blank := indent, strings.Repeat(" ", len(indent))
	for i, word := range strings.Fields(words) {
		if i > 0 && len(line)+1+len(word) > width {
			t.line("%s", strings.TrimRight(line, " "))
			line = blank
		}
		if len(line) > len(indent) {
			line += " "
		}
		line += word
	}
	t.line("%s", line)
}

// grid writes one letter for each cell: rows of the matrix by numbered columns.
func (t *text) grid(r *pb.VerifyReport) {
	columns := r.GetColumns()
	cells := CellsByRow(r)
	wide := len("column")
	for _, row := range r.GetRows() {
		wide = max(wide, min(32, len(row.GetCause())))
	}
	t.line("")
	tens, ones := "", ""
	for i := range columns {
		tens += string(" 123456789"[(i+1)/10%10])
		ones += string("0123456789"[(i+1)%10])
	}
	if len(columns) > 9 {
		t.line("%-*s %5s  %s", wide, "", "", tens)
	}
	t.line("%-*s %5s  %s", wide, "row", "ways", ones)
	for k, row := range r.GetRows() {
		line := bytes.Repeat([]byte{'.'}, len(columns))
		for _, c := range cells[k] {
			line[slices.Index(columns, c.GetColumn())] = marks[c.GetVerdict()]
		}
		t.line("%-*s %5d  %s", wide, shorten(row.GetCause(), 32), row.GetWays(), line)
	}
	t.line("")
	t.columnNames(columns)
	t.line("")
	t.line("%s", legend)
}

// CellsByRow returns the cells of each row of a report. Rows may share a name, so it goes by where
// they stand in the file: a row's cells stand between its own line and the next row's.
func CellsByRow(r *pb.VerifyReport) [][]*pb.CellVerdict {
	rows := r.GetRows()
	cells := make([][]*pb.CellVerdict, len(rows))
	at := 0
	for _, c := range r.GetCells() {
		for at+1 < len(rows) && rows[at+1].GetPosition().GetLine() <= c.GetPosition().GetLine() {
			at++
		}
		cells[at] = append(cells[at], c)
	}
	return cells
}

// columnNames lists the columns with their numbers, several to a line.
func (t *text) columnNames(columns []string) {
	wide := 0
	for _, name := range columns {
		wide = max(wide, len([]rune(name)))
	}
	each := max(1, width/(wide+6))
	rows := (len(columns) + each - 1) / each
	for row := range rows {
		var line strings.Builder
		for i := row; i < len(columns); i += rows {
			fmt.Fprintf(&line, "%3d %-*s  ", i+1, wide, columns[i])
		}
		t.line("%s", strings.TrimRight(line.String(), " "))
	}
}

func shorten(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "~"
	}
	return s
}

// responses writes the slowest response of all cells, and each row's.
func (t *text) responses(r *pb.VerifyReport) {
	slowest := map[string]*pb.CellVerdict{}
	var worst *pb.CellVerdict
	for _, c := range r.GetCells() {
		if c.WorstS == nil {
			continue
		}
		if s := slowest[c.GetCause()]; s == nil || c.GetWorstS() > s.GetWorstS() {
			slowest[c.GetCause()] = c
		}
		if worst == nil || c.GetWorstS() > worst.GetWorstS() {
			worst = c
		}
	}
	if worst == nil {
		return
	}
	t.line("")
	t.line("response from the device's own output to the operation (t0 to t4), less the delay on purpose:")
	t.line("slowest of all %.3f s (%s x %s); computed worst case %.3f s; allowed %s",
		worst.GetWorstS(), worst.GetCause(), worst.GetColumn(), worst.GetBoundS(), secondsText(worst.GetWithinS()))
	t.line("on a healthy installation, at the worst moment of the polling")
}

func (t *text) coverage(c *pb.Coverage) {
	for _, part := range []struct {
		what  string
		names []string
	}{{"causes", c.GetCauses()}, {"actions", c.GetActions()}, {"outputs", c.GetOutputs()}} {
		if len(part.names) > 0 {
			t.line("")
			t.wrap("no run exercised these "+part.what+": ", strings.Join(part.names, ", "))
		}
	}
}
