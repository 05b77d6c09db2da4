package matrix

import "fmt"

// checkOverlaps warns of two columns that demand something of one output in the same row: the
// strongest of both counts, which neither cell shows. Two columns for one output are no mistake in
// themselves: a column for each label shows an output that an effect leaves out.
func (p *parser) checkOverlaps() {
	header := &p.source.records[0]
	fields := make([]int, len(p.matrix.Columns))
	for field, column := range p.layout.columns {
		if column >= 0 {
			fields[column] = field
		}
	}
	warned := make(map[[2]int]bool)
	for i := range p.matrix.Rows {
		row := &p.matrix.Rows[i]
		owner := make(map[int]int) // output -> the first column that demands something of it
		for k := range row.Cells {
			cell := &row.Cells[k]
			if len(cell.Stages) == 0 {
				continue
			}
			for _, output := range p.matrix.Columns[cell.Column].Outputs {
				first, taken := owner[output]
				if !taken {
					owner[output] = cell.Column
					continue
				}
				pair := [2]int{first, cell.Column}
				if first == cell.Column || warned[pair] {
					continue
				}
				warned[pair] = true
				p.warn(header, fields[cell.Column], 0, "matrix.column-overlap",
					fmt.Sprintf("the columns %q and %q both demand something of %s, first in row %d", p.matrix.Columns[first].Name, p.matrix.Columns[cell.Column].Name, p.world.Outputs[output].Label, row.Number),
					"the strongest of both counts, which neither cell shows; write what is required of the output in one of the two columns, and leave the other cell empty")
			}
		}
	}
}
