package matrix

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
)

// keyColumns are the columns that make a row; every other one is an effect.
var keyColumns = [...]string{"cause", "when", "given"}

// layout says which field of a record is what.
type layout struct {
	key     [len(keyColumns)]int // field of each key column, -1 where it is missing
	columns []int                // for each field the index into Matrix.Columns, or unused or keyed
}

const (
	keyed  = -1 // the field is a key column
	unused = -2 // the column has no usable name: its cells are not read
)

// header reads the first row: causes stand in rows and effects in columns, the layout of
// IEC 62881:2018 (the package comment says where it is described).
func (p *parser) header(rec *record) {
	p.layout.key = [len(keyColumns)]int{-1, -1, -1}
	p.layout.columns = slices.Repeat([]int{unused}, len(rec.fields))
	seen := make(map[string]int, len(rec.fields)) // what a column stands for -> its field
	for i, f := range rec.fields {
		if p.report.full() {
			return
		}
		if f.text == "" {
			p.unnamed(rec, i)
			continue
		}
		if len(p.matrix.Columns) == MaxColumns {
			p.refuse(rec, i, 0, "matrix.limit", fmt.Sprintf("the matrix has more than %d columns", MaxColumns), "split the matrix over several files")
			return
		}
		column, identity, ok := p.column(rec, i)
		if !ok {
			continue
		}
		if first, twice := seen[identity]; twice {
			p.refuse(rec, i, 0, "matrix.column-twice", fmt.Sprintf("the column %q stands for what column %d already says", f.text, first+1), "keep one of the two")
			continue
		}
		seen[identity] = i
		if strings.HasPrefix(identity, "key ") {
			p.layout.columns[i] = keyed
			continue
		}
		p.layout.columns[i] = len(p.matrix.Columns)
		p.matrix.Columns = append(p.matrix.Columns, column)
	}
	for k, name := range keyColumns {
		if at, ok := seen["key "+name]; ok {
			p.layout.key[k] = at
			continue
		}
		p.refuse(rec, 0, 0, "matrix.column-missing", fmt.Sprintf("the header has no column %q", name),
			"the header names the columns cause, when and given, then one column per effect or output; `given` may be empty in every row")
	}
}

// unnamed refuses a column without a name that has something in it. Spreadsheets leave empty
// columns behind the last; those are nothing.
func (p *parser) unnamed(header *record, field int) {
	for i := range p.source.records[1:] {
		rec := &p.source.records[1+i]
		if field < len(rec.fields) && rec.fields[field].text != "" {
			p.refuse(header, field, 0, "matrix.column-unnamed", "a column with cells in it has no name",
				fmt.Sprintf("name the effect or output at the head of the column (row %d has a cell there), or empty the column", rec.number))
			return
		}
	}
}

// column resolves one name; the Column is empty for a key column. The identity tells what the
// name stands for, so that a label and the address of the same output are one.
func (p *parser) column(rec *record, field int) (column Column, identity string, ok bool) {
	name := rec.fields[field].text
	for _, key := range keyColumns {
		if name == key {
			return Column{}, "key " + key, true
		}
	}
	effect := -1
	for i := range p.names.Effects {
		if p.names.Effects[i].ID == name {
			effect = i
			break
		}
	}
	output, isOutput := p.world.OutputRefs[name]
	place := p.source.place(rec, field, 0)
	column = Column{Name: name, Effect: effect, Line: place.Line, Column: place.Column}
	switch {
	case effect >= 0 && isOutput:
		detail := "give the effect another id"
		if address := p.world.Outputs[output].Address; address != "" {
			detail += fmt.Sprintf(", or name the output by its address, %s", address)
		}
		p.refuse(rec, field, 0, "matrix.column-ambiguous", fmt.Sprintf("%q is both an effect and an output", name), detail)
		return Column{}, "", false
	case effect >= 0:
		column.Outputs = p.names.Effects[effect].Outputs
		identity = "effect " + strconv.Itoa(effect)
		if len(column.Outputs) == 0 {
			// The program names no output that exists: a finding of its own, there.
			return Column{}, "", false
		}
	case isOutput:
		column.Outputs = []int{output}
		identity = "output " + strconv.Itoa(output)
	default:
		p.unknownColumn(rec, field)
		return Column{}, "", false
	}
	return column, identity, true
}

func (p *parser) unknownColumn(rec *record, field int) {
	name := rec.fields[field].text
	title := fmt.Sprintf("there is no effect or output %q", name)
	if point, ok := p.world.PointRefs[name]; ok {
		title = fmt.Sprintf("%q is an input: it can stand in `when`, not at the head of a column", p.world.Points[point].Label)
	}
	known := append([]string(nil), keyColumns[:]...)
	for i := range p.names.Effects {
		known = append(known, p.names.Effects[i].ID)
	}
	for i := range p.world.Outputs {
		known = append(known, p.world.Outputs[i].Label)
	}
	for i := range p.world.Outputs {
		if address := p.world.Outputs[i].Address; address != "" {
			known = append(known, address)
		}
	}
	p.refuse(rec, field, 0, "matrix.column-unknown", title, near(name, known))
}

// wrongOutputs returns the labels of the column's outputs whose vocabulary lacks the state.
func (p *parser) wrongOutputs(column int, state term.State) []string {
	var wrong []string
	for _, o := range p.matrix.Columns[column].Outputs {
		if !p.world.Outputs[o].Takes(state) {
			wrong = append(wrong, p.world.Outputs[o].Label)
		}
	}
	return wrong
}
