package matrix

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Parse reads a matrix file. All problems are returned together, in the order of the file, each
// with path R<row>C<column> and with line and column; the caller adds the file. The matrix is
// complete when no finding is a refusal; otherwise it holds what could be read.
func Parse(data []byte, w *term.World, names Names) (*Matrix, []*pb.Finding) {
	p := parser{world: w, names: names, reader: term.NewReader(w), matrix: &Matrix{}}
	p.source = readSource(data, &p.report)
	switch {
	case len(p.source.records) > 0:
		p.header(&p.source.records[0])
		p.rows()
	case len(p.report.findings) == 0:
		p.report.refuse(Place{Line: 1, Column: 1}, "matrix.empty", "the file holds nothing", "the first row names the columns: cause, when, given, then one per effect or output")
	}
	return p.matrix, p.report.done()
}

type parser struct {
	world  *term.World
	names  Names
	reader *term.Reader
	source *source
	layout layout
	matrix *Matrix
	report report
}

func (p *parser) refuse(rec *record, field, offset int, code, title, detail string) {
	p.report.refuse(p.source.place(rec, field, offset), code, title, detail)
}

func (p *parser) warn(rec *record, field, offset int, code, title, detail string) {
	p.report.warn(p.source.place(rec, field, offset), code, title, detail)
}

// text returns a field's text; short rows are filled with empty cells.
func (p *parser) text(rec *record, field int) string {
	if field < 0 || field >= len(rec.fields) {
		return ""
	}
	return rec.fields[field].text
}

func (p *parser) rows() {
	header := &p.source.records[0]
	readable := !slices.Contains(p.layout.key[:2], -1)
	for i := range p.source.records[1:] {
		if p.report.full() {
			break
		}
		p.row(&p.source.records[1+i], readable)
	}
	p.collectOutputs()
	if p.report.refusals > 0 {
		return // what follows would repeat it in other words
	}
	p.checkRowsDiffer()
	p.checkSets()
	p.checkOverlaps()
	if len(p.matrix.Columns) == 0 {
		p.refuse(header, 0, 0, "matrix.empty", "the matrix has no column to judge", "add one column per effect or output behind cause, when and given")
	}
	if len(p.matrix.Rows) == 0 {
		p.refuse(header, 0, 0, "matrix.empty", "the matrix has no rows", "write one row per cause")
	}
}

// row reads one row. Without the columns cause and when only its cells are looked at.
func (p *parser) row(rec *record, readable bool) {
	width := len(p.layout.columns)
	for i := width; i < len(rec.fields) && readable; i++ {
		if rec.fields[i].text != "" {
			p.refuse(rec, i, 0, "matrix.row-long", fmt.Sprintf("the row has %d cells, the header %d", len(rec.fields), width),
				"a field that holds the separator must stand in quotes; otherwise name the column or drop the cell")
			break
		}
	}
	if from := min(len(rec.fields), width); slices.ContainsFunc(p.layout.columns[from:], func(column int) bool { return column >= 0 }) {
		p.warn(rec, len(rec.fields)-1, 0, "matrix.row-short", fmt.Sprintf("the row has %d cells, the header %d", len(rec.fields), width),
			"those missing at its end count as blank; where a separator is missing further left, each cell behind it is in the wrong column: write them all")
	}
	for i, f := range rec.fields {
		if n := utf8.RuneCountInString(f.text); n > MaxCell {
			p.refuse(rec, i, 0, "matrix.limit", fmt.Sprintf("the cell has %d characters, the limit is %d", n, MaxCell), "split the row")
			return
		}
	}
	at := p.source.place(rec, max(p.layout.key[0], 0), 0)
	row := Row{Number: rec.number, Line: at.Line, Column: at.Column, Cause: p.text(rec, p.layout.key[0])}
	if readable {
		p.condition(rec, &row)
	}
	for i := range min(len(rec.fields), width) {
		if column := p.layout.columns[i]; column >= 0 && rec.fields[i].text != "" {
			p.cell(rec, i, &row)
		}
	}
	slices.SortFunc(row.Cells, func(a, b Cell) int { return a.Column - b.Column })
	p.matrix.Rows = append(p.matrix.Rows, row)
}

func (p *parser) condition(rec *record, row *Row) {
	if row.Cause == "" {
		p.refuse(rec, p.layout.key[0], 0, "matrix.cause-missing", "the row has no name", "write in the column `cause` what the consultant calls it")
	}
	if row.Cause != "" || p.text(rec, p.layout.key[1]) != "" {
		p.when(rec, row)
	}
	given := p.layout.key[2]
	settings, flaws := parseGiven(p.text(rec, given), p.world)
	row.Given = settings
	for _, f := range flaws {
		p.refuse(rec, given, f.offset, f.code, f.title, f.detail)
	}
}

func (p *parser) cell(rec *record, field int, row *Row) {
	column := p.layout.columns[field]
	detail := "sounder circuits and loop sounders take alert, evacuate or off; all other circuits and contacts take on or off"
	if len(p.matrix.Columns[column].Outputs) > 1 {
		detail += "; an effect that holds both kinds needs a column per output"
	}
	cell, offsets, flaws := parseCell(rec.fields[field].text)
	for _, f := range flaws {
		p.refuse(rec, field, f.offset, f.code, f.title, f.detail)
	}
	for i := range cell.Stages {
		state := cell.Stages[i].State
		if wrong := p.wrongOutputs(column, state); len(wrong) > 0 {
			p.refuse(rec, field, offsets[i], "matrix.state", fmt.Sprintf("%s cannot be %s", strings.Join(wrong, ", "), state),
				detail)
		}
	}
	if len(flaws) > 0 {
		return
	}
	cell.Column = column
	cell.Place = p.source.place(rec, field, 0)
	row.Cells = append(row.Cells, cell)
}

func (p *parser) collectOutputs() {
	for i := range p.matrix.Columns {
		p.matrix.Outputs = append(p.matrix.Outputs, p.matrix.Columns[i].Outputs...)
	}
	slices.Sort(p.matrix.Outputs)
	p.matrix.Outputs = slices.Compact(p.matrix.Outputs)
}

// checkRowsDiffer warns of rows that report and junit file could not tell apart.
func (p *parser) checkRowsDiffer() {
	type name struct{ cause, given string }
	seen := make(map[name]int, len(p.matrix.Rows))
	for i := range p.matrix.Rows {
		row := &p.matrix.Rows[i]
		rec := &p.source.records[1+i]
		n := name{row.Cause, p.text(rec, p.layout.key[2])}
		if first, ok := seen[n]; ok {
			p.warn(rec, p.layout.key[0], 0, "matrix.row-twice", fmt.Sprintf("row %d has the same cause %q and the same given", first, row.Cause),
				"give each row a name of its own, or join the two")
			continue
		}
		seen[n] = row.Number
	}
}

// checkSets warns of `first of` in a set of one: probably the other cells spell it differently.
func (p *parser) checkSets() {
	rows := make(map[string]int)
	var names []string
	for i := range p.matrix.Rows {
		for _, cell := range p.matrix.Rows[i].Cells {
			if cell.FirstOf == "" {
				continue
			}
			if rows[cell.FirstOf] == 0 {
				names = append(names, cell.FirstOf)
			}
			rows[cell.FirstOf]++
		}
	}
	for i := range p.matrix.Rows {
		for _, cell := range p.matrix.Rows[i].Cells {
			if cell.FirstOf == "" || rows[cell.FirstOf] > 1 {
				continue
			}
			others := slices.DeleteFunc(slices.Clone(names), func(n string) bool { return n == cell.FirstOf })
			p.report.warn(cell.Place, "matrix.set-of-one", fmt.Sprintf("no other cell says `first of %s`", cell.FirstOf),
				"a set of one holds nothing back; "+near(cell.FirstOf, others))
		}
	}
}
