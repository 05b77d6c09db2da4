package verify

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/page"
)

// marks are the grid's one-letter verdicts.
var marks = map[string]byte{
	asRequired.String(): '=', errored.String(): '?', missing.String(): 'm', unexpected.String(): 'u', wrongState.String(): 'w',
	early.String(): 'e', late.String(): 'l', notSilenced.String(): 's', wronglySilenced.String(): 'S', staysOn.String(): 'r',
	firesAfterReset.String(): 'R', covered.String(): 'c', notJudged.String(): '-',
}

const legend = `= as required  m missing  u unexpected  w wrong state  e early  l late
s not silenced  S wrongly silenced  r stays on  R fires after reset
c covered  - not judged  ? errored  . nothing demanded`

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
	t.Line("")
	t.Hang("", r.GetCaution())
	_, err := io.WriteString(w, t.String())
	return err
}

// text collects lines.
type text struct{ page.Page }

func (t *text) head(r *pb.VerifyReport) {
	c := r.GetCounts()
	name := r.GetTitle()
	if name == "" {
		name = r.GetSite()
	}
	t.Wrap("", "  ", fmt.Sprintf("%s: %d rows x %d columns, %d ways, %d runs", name, c.GetRows(), c.GetColumns(), c.GetWays(), c.GetRuns()))
	var words []string
	for _, v := range r.GetVerdicts() {
		words = append(words, fmt.Sprintf("%d %s", v.GetCells(), v.GetVerdict()))
	}
	if len(words) > 0 {
		t.Hang("cells: ", strings.Join(words, ", "))
	}
	switch {
	case r.GetInterrupted():
		t.Line("INTERRUPTED: what follows is part of the whole")
	case r.GetPassed():
		t.Line("PASSED")
	default:
		t.Line("FAILED")
	}
	switch n := r.GetFindingsErrors(); {
	case n == 1:
		t.Line("the files hold 1 finding that counts as an error: `check` says more")
	case n > 1:
		t.Line("the files hold %d findings that count as errors: `check` says more", n)
	}
}

// wrong lists errored rows, failing cells and differences of runs.
func (t *text) wrong(r *pb.VerifyReport) {
	for _, row := range r.GetRows() {
		if row.GetErrored() != "" {
			t.Line("")
			t.Line("%s: errored", placeText(row.GetPosition()))
			t.Hang("  ", row.GetErrored())
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
		t.Line("")
		t.Line("%s: %s x %s: %s", placeText(c.GetPosition()), c.GetCause(), c.GetColumn(), strings.ReplaceAll(c.GetVerdict(), "-", " "))
		t.difference(c.GetDifference())
	}
	for _, d := range r.GetDifferences() {
		if shown++; shown > maxShown {
			left++
			continue
		}
		t.Line("")
		t.Line("run of %s: %s: %s", d.GetCause(), d.GetOutput(), strings.ReplaceAll(d.GetVerdict(), "-", " "))
		t.difference(d)
	}
	if left > 0 {
		t.Line("")
		t.Line("and %d more; --output json lists them all", left)
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
		t.Hang(fmt.Sprintf("  %-10s%12.6f s  ", name, link.GetAtS()), link.GetWhat())
	}
}

// secondsText writes seconds that were whole nanoseconds before they became a float.
func secondsText(s float64) string {
	return drill.Seconds(time.Duration(math.Round(s * 1e9)))
}

func (t *text) field(name, value string) {
	t.Hang(fmt.Sprintf("  %-10s", name), value)
}

// longestRowName is how much of a row's name stands before its letters.
const longestRowName = 32

// grid writes one letter for each cell: rows of the matrix by numbered columns. Columns that have no room follow
// below, behind the rows' names once more, as those of every table do.
func (t *text) grid(r *pb.VerifyReport) {
	columns, cells := r.GetColumns(), CellsByRow(r)
	wide := len("column")
	for _, row := range r.GetRows() {
		wide = max(wide, min(longestRowName, utf8.RuneCountInString(row.GetCause())))
	}
	const ways = 5
	room := (page.Width - wide - len(" ") - ways - len("  ")) / 10 * 10
	for from := 0; from == 0 || from < len(columns); from += room {
		to := min(from+room, len(columns))
		t.Line("")
		for _, digits := range columnNumbers(from+1, to, len(columns)) {
			t.Line("%*s  %s", wide+1+ways, "", digits)
		}
		t.Line("%-*s %*s  %s", wide, "row", ways, "ways", ones(from+1, to))
		for k, row := range r.GetRows() {
			line := bytes.Repeat([]byte{'.'}, len(columns))
			for _, c := range cells[k] {
				line[slices.Index(columns, c.GetColumn())] = marks[c.GetVerdict()]
			}
			t.Line("%-*s %*d  %s", wide, shorten(row.GetCause(), longestRowName), ways, row.GetWays(), line[from:to])
		}
	}
	t.Line("")
	t.columnNames(columns)
	t.Line("")
	t.Line("%s", legend)
}

// columnNumbers writes the digits above the last ones of the numbers from..to, one line for each place that any of `all`
// numbers has.
func columnNumbers(from, to, all int) []string {
	var lines []string
	for place := 10; place <= all; place *= 10 {
		line := make([]byte, 0, to-from+1)
		for n := from; n <= to; n++ {
			if n < place {
				line = append(line, ' ')
			} else {
				line = append(line, digit(n/place))
			}
		}
		lines = append([]string{string(line)}, lines...)
	}
	return lines
}

// ones writes the last digits of the numbers from..to.
func ones(from, to int) string {
	line := make([]byte, 0, to-from+1)
	for n := from; n <= to; n++ {
		line = append(line, digit(n))
	}
	return string(line)
}

func digit(n int) byte { return "0123456789"[n%10] }

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
	each := max(1, page.Width/(wide+6))
	rows := (len(columns) + each - 1) / each
	for row := range rows {
		var line strings.Builder
		for i := row; i < len(columns); i += rows {
			fmt.Fprintf(&line, "%3d %-*s  ", i+1, wide, columns[i])
		}
		t.Line("%s", strings.TrimRight(line.String(), " "))
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
	t.Line("")
	t.Wrap("", "", "response from the device's own output to the operation (t0 to t4), less the delay on purpose:")
	t.Wrap("", "  ", fmt.Sprintf("slowest of all %.3f s (%s x %s); computed worst case %.3f s; allowed %s",
		worst.GetWorstS(), worst.GetCause(), worst.GetColumn(), worst.GetBoundS(), secondsText(worst.GetWithinS())))
	t.Line("on a healthy installation, at the worst moment of the polling")
}

func (t *text) coverage(c *pb.Coverage) {
	for _, part := range []struct {
		what  string
		names []string
	}{{"causes", c.GetCauses()}, {"actions", c.GetActions()}, {"outputs", c.GetOutputs()}} {
		if len(part.names) > 0 {
			t.Line("")
			t.Hang("no run exercised these "+part.what+": ", strings.Join(part.names, ", "))
		}
	}
}
