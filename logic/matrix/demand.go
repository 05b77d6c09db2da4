package matrix

import (
	"cmp"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// Span is a time in which something holds: from From on, no longer at To. To is Never while it
// lasts.
type Span struct{ From, To time.Duration }

// Truth says when a row was true in one run. From of a span is the decision (t1) that made it
// so. Spans rise, and neither overlap nor touch.
type Truth struct {
	Row   int // index into Matrix.Rows
	Spans []Span
}

// Demand is one stage of one cell, demanding one output for one time.
type Demand struct {
	Row, Cell, Stage int // indices into Matrix.Rows, Row.Cells, Cell.Stages
	State            term.State
	Span                           // when it is required, with every `after` kept to the letter
	Begin, End       Span          // closed: the earliest and latest instants its tolerance allows
	Decision         time.Duration // t1: the row's From from which After counts
	After            time.Duration // the programmed delay, t2 - t1
	For              time.Duration // what a pulse lasts, wherever its tolerance lets it begin; 0 = no pulse
	Within           time.Duration // 0 = the target of the site
	Silenceable      bool
	Leads            bool // at some instant it is among the strongest: a cell none of whose demands leads is covered
}

// Courses returns the required course of every output in Matrix.Outputs, in that order, for a
// run in which rows were true as given. Rows that never were may be left out; each row occurs
// once.
//
// Of all cells with one `first of` name only those of the first true row demand; at the same
// instant the upper row is first (rule J15).
func (m *Matrix) Courses(truths []Truth) []Course {
	courses := make([]Course, len(m.Outputs))
	for i, output := range m.Outputs {
		courses[i].Output = output
	}
	truths = slices.DeleteFunc(slices.Clone(truths), func(t Truth) bool { return len(t.Spans) == 0 })
	slices.SortFunc(truths, func(a, b Truth) int { return a.Row - b.Row })
	holders := m.holders(truths)
	for _, t := range truths {
		for c := range m.Rows[t.Row].Cells {
			cell := &m.Rows[t.Row].Cells[c]
			if holder, ok := holders[cell.FirstOf]; ok && holder != t.Row {
				continue
			}
			demands := cell.demands(t.Spans)
			for i := range demands {
				demands[i].Row, demands[i].Cell = t.Row, c
			}
			for _, output := range m.Columns[cell.Column].Outputs {
				at, _ := slices.BinarySearch(m.Outputs, output)
				courses[at].Demands = append(courses[at].Demands, demands...)
				courses[at].NotJudged = courses[at].NotJudged || cell.Any
			}
		}
	}
	for i := range courses {
		courses[i].settle()
	}
	return courses
}

// holders finds, for each `first of` name, the row that demands. Truths are in row order.
func (m *Matrix) holders(truths []Truth) map[string]int {
	holders := make(map[string]int)
	since := make(map[string]time.Duration)
	for _, t := range truths {
		for c := range m.Rows[t.Row].Cells {
			name := m.Rows[t.Row].Cells[c].FirstOf
			if name == "" {
				continue
			}
			if first, ok := since[name]; !ok || t.Spans[0].From < first {
				holders[name], since[name] = t.Row, t.Spans[0].From
			}
		}
	}
	return holders
}

// demands lays the stages of a cell over the times its row was true. A stage begins when its
// delay has run out and the row is still true (rule E2: at the very instant, a row that just
// became false wins). It ends when the row does, or after its own time whatever the row does
// (rule E3; a row that comes back while that time runs starts no other), or a time after the row
// (rule E4; a row that comes back meanwhile goes on without a gap), or not until reset; in any
// case when a later stage of the cell begins (rule J15).
func (c *Cell) demands(spans []Span) []Demand {
	var demands []Demand
	for i := range c.Stages {
		stage := &c.Stages[i]
		until := time.Duration(-1) // end of this stage's last demand, before later stages cut it
		for _, span := range spans {
			from := later(span.From, stage.After)
			if from >= span.To || from < until && stage.For > 0 {
				continue
			}
			d := Demand{Stage: i, State: stage.State, Decision: span.From, After: stage.After, For: stage.For, Within: stage.Within, Silenceable: stage.Silenceable}
			d.Begin = Span{max(from-stage.Tolerance, span.From), later(from, stage.Tolerance)}
			d.From = from
			switch {
			case stage.UntilReset:
				d.To, d.End = Never, Span{Never, Never}
			case stage.For > 0:
				d.To = later(from, stage.For)
				d.End = Span{later(d.Begin.From, stage.For), later(d.Begin.To, stage.For)}
			default:
				d.To = later(span.To, stage.Hold)
				d.End = Span{max(d.To-stage.HoldTolerance, span.To), later(d.To, stage.HoldTolerance)}
			}
			until = d.To
			demands = append(demands, d)
		}
	}
	endStages(demands)
	return slices.DeleteFunc(demands, func(d Demand) bool { return d.From >= d.To })
}

// endStages ends each demand where the first demand of a later stage begins after it, if it has not ended before.
func endStages(demands []Demand) {
	for i := range demands {
		d := &demands[i]
		for j := range demands {
			next := &demands[j]
			if next.Stage > d.Stage && next.From > d.From {
				d.To = min(d.To, next.From)
				d.End = Span{min(d.End.From, next.Begin.From), min(d.End.To, next.Begin.To)}
			}
		}
	}
	slices.SortStableFunc(demands, func(a, b Demand) int { return cmp.Compare(a.From, b.From) })
}

// later adds a duration to an instant; Never stays Never.
func later(at, by time.Duration) time.Duration {
	if at > Never-by {
		return Never
	}
	return at + by
}
