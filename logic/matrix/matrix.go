package matrix

import (
	"math"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// Limits of a file. A spreadsheet exported by mistake is told so at once instead of being chewed.
const (
	MaxBytes   = 16 << 20 // whole file
	MaxRows    = 10_000   // rows with a cause
	MaxColumns = 2_000    // columns of the header
	MaxCell    = 10_000   // characters of one cell; the length a `when` may have in a site file
)

// Never is the end of a demand or of a row's truth that lasts.
const Never = time.Duration(math.MaxInt64)

// Names is what a matrix may refer to beyond term.World: parts of the panel's program.
type Names struct {
	Effects []Effect // in file order
	Causes  []Cause  // in file order, as World.Causes
}

// Effect is an effect of the program, as a column of that name stands for it.
type Effect struct {
	ID      string
	Outputs []int // in the order the program lists them
}

// Cause is a cause of the program. When is nil if its condition did not compile.
type Cause struct {
	ID   string
	When *term.Term
}

// Matrix is the required cause-and-effect matrix.
type Matrix struct {
	Columns []Column // effects and outputs only, left to right
	Rows    []Row    // top to bottom, blank ones left out
	Outputs []int    // every output that a column stands for, ascending, each once
}

// Column is one effect column.
type Column struct {
	Name         string
	Effect       int   // index into Names.Effects, -1 for a column named by an output
	Outputs      []int // what it stands for: at least one
	Line, Column int   // of its name in the file
}

// Row is one cause row. A row is named by Cause in reports; two rows may share a name.
type Row struct {
	Number      int // as a spreadsheet counts, the header being 1
	Line        int
	Column      int
	Cause       string
	Text        string     // the condition as written; empty when it is the program's
	When        *term.Term // nil only when Parse refused the condition
	FromProgram bool       // When is the program's own cause: it proves the program with itself
	Given       []Setting
	Cells       []Cell // those that are not empty, by column
}

// Cell returns the cell of a column, and false for an empty one.
func (r *Row) Cell(column int) (*Cell, bool) {
	i, ok := slices.BinarySearchFunc(r.Cells, column, func(c Cell, column int) int { return c.Column - column })
	if !ok {
		return nil, false
	}
	return &r.Cells[i], true
}

// Cell is an intersection that says something.
type Cell struct {
	Column  int     // index into Matrix.Columns
	Any     bool    // not judged; then Stages is empty
	Stages  []Stage // in order of After, strictly rising; at least one unless Any
	FirstOf string  // the set of which only the first true row demands; empty for none
	Place   Place
}

// Stage is one demand of a cell: State from After on, counted from the decision (t1).
type Stage struct {
	State         term.State // On, Alert, Evacuate or Off
	After         time.Duration
	Tolerance     time.Duration // either way, on After; 0 = exact
	For           time.Duration // 0 = as long as the row is true
	Hold          time.Duration // beyond the end of the row (off-delay); not with For or UntilReset
	HoldTolerance time.Duration // either way, on Hold; 0 = exact
	Within        time.Duration // on operation less After; 0 = the target of the site
	Silenceable   bool
	UntilReset    bool
}

// Place is where something stands in the file. Row counts as a spreadsheet does, from 1; Line
// and Column count lines and characters of the file, from 1.
type Place struct{ Row, Field, Line, Column int }

// String writes the cell in the canonical order of its words.
func (c *Cell) String() string {
	if c.Any {
		return "any"
	}
	stages := make([]string, len(c.Stages))
	for i := range c.Stages {
		stages[i] = c.Stages[i].String()
	}
	text := strings.Join(stages, " then ")
	if c.FirstOf != "" {
		text += " first of " + c.FirstOf
	}
	return text
}

// String writes the stage in the canonical order of its words.
func (s *Stage) String() string {
	text := s.State.String()
	if s.After > 0 || s.Tolerance > 0 {
		text += " after " + durationWord(s.After)
	}
	if s.Tolerance > 0 {
		text += " +-" + durationWord(s.Tolerance)
	}
	if s.For > 0 {
		text += " for " + durationWord(s.For)
	}
	if s.Hold > 0 {
		text += " hold " + durationWord(s.Hold)
	}
	if s.HoldTolerance > 0 {
		text += " +-" + durationWord(s.HoldTolerance)
	}
	if s.Within > 0 {
		text += " within " + durationWord(s.Within)
	}
	if s.Silenceable {
		text += " silenceable"
	}
	if s.UntilReset {
		text += " until reset"
	}
	return text
}
