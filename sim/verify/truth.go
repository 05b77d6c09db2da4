package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// confirmed is what a log event says about a device, as the panel confirmed it: the only thing
// from which the bench works out which rows are true.
func confirmed(e *sim.Event) (f term.Fact, on, ok bool) {
	f.Index = e.Subject
	switch e.Kind {
	case drill.FireDecided:
		f.Kind = term.DeviceFire
	case drill.ActiveRead:
		f.Kind = term.DeviceActive
	case drill.PrealarmDecided:
		f.Kind = term.DevicePrealarm
	case drill.SupervisoryDecided:
		f.Kind = term.DeviceSupervisory
	default:
		return f, false, false
	}
	return f, e.Value == 1, true
}

// factIndex finds the rows whose condition a fact is part of.
type factIndex map[term.Fact][]int32

func indexFacts(m *matrix.Matrix) factIndex {
	index := factIndex{}
	for i := range m.Rows {
		if m.Rows[i].When == nil {
			continue
		}
		m.Rows[i].When.Each(func(f term.Fact) {
			if rows := index[f]; len(rows) == 0 || rows[len(rows)-1] != int32(i) {
				index[f] = append(rows, int32(i))
			}
		})
	}
	return index
}

// truth is when a row was true in a run, and what made it so.
type truth struct {
	row   int32
	spans []matrix.Span
	t0    []time.Duration // by span: when the device output that completed it became active
	slow  bool            // the detectors' target applies, not the call points'
}

// truths works out when rows were true, up to the instant limit.
func (w *worker) truths(run *run, c *course, limit time.Duration) []truth {
	facts := w.v.readAtRest(w.v.bases[run.givenKey])
	open := map[int32]*truth{}
	var order []*truth
	log := c.d.Log()
	events := log.Since(0)
	for i := 0; i < len(events); {
		at := events[i].At
		if at > limit {
			break
		}
		var touched []int32
		var changes []change
		for ; i < len(events) && events[i].At == at; i++ {
			if f, on, ok := confirmed(&events[i]); ok && facts[f] != on && !w.disabled(c, f) {
				facts[f] = on
				touched = append(touched, w.v.index[f]...)
				changes = append(changes, change{f, &events[i]})
			}
		}
		slices.Sort(touched)
		for _, row := range slices.Compact(touched) {
			if !applies(&w.v.m.Rows[row], run) {
				continue
			}
			t := open[row]
			if t == nil {
				t = &truth{row: row}
				open[row], order = t, append(order, t)
			}
			w.turn(run, t, at, changes, facts, log)
		}
	}
	slices.SortFunc(order, func(a, b *truth) int { return int(a.row - b.row) })
	var out []truth
	for _, t := range order {
		if len(t.spans) > 0 {
			out = append(out, *t)
		}
	}
	return out
}

// truthSpans is what the matrix needs to know of the rows that were true.
func truthSpans(truths []truth) []matrix.Truth {
	var out []matrix.Truth
	for _, t := range truths {
		out = append(out, matrix.Truth{Row: int(t.row), Spans: t.spans})
	}
	return out
}

// applies reports whether all that a row sets is set in the run. A row that sets nothing applies
// whatever is set: what a setting changes is for a stronger row to say. What somebody does in the course of the
// run is no setting: a row that does not ask for it speaks of runs in which nobody does.
func applies(r *matrix.Row, run *run) bool {
	moved := -1 // of two switches on one output the one moved last counts, so their order is part of what is set
	for _, s := range r.Given {
		at := slices.Index(run.given, s)
		if at < 0 || s.Kind == matrix.SetOverride && at < moved {
			return false
		}
		if s.Kind == matrix.SetOverride {
			moved = at
		}
	}
	_, does := matrix.Acknowledged(run.given)
	_, asks := matrix.Acknowledged(r.Given)
	return does == asks
}

// change is a fact that an event of the instant changed.
type change struct {
	fact  term.Fact
	event *sim.Event
}

// turn evaluates a row after its facts changed at an instant.
func (w *worker) turn(run *run, t *truth, at time.Duration, changes []change, facts map[term.Fact]bool, log *sim.Log) {
	is := w.holds(run, &w.v.m.Rows[t.row], facts)
	n := len(t.spans)
	was := n > 0 && t.spans[n-1].To == matrix.Never
	switch {
	case is && !was:
		t.spans = append(t.spans, matrix.Span{From: at, To: matrix.Never})
		t.t0 = append(t.t0, w.lastOrigin(t.row, changes, log))
		t.slow = t.slow || w.anyDetector(t.row, facts)
	case !is && was:
		t.spans[n-1].To = at
	}
}

// holds evaluates a row's condition over confirmed facts; all else is as the run sets it.
func (w *worker) holds(run *run, r *matrix.Row, facts map[term.Fact]bool) bool {
	set := &matrix.Row{Given: run.given}
	return r.When.Eval(func(f term.Fact) bool {
		switch f.Kind {
		case term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory:
			return facts[f]
		}
		return set.Holds(f, w.v.atRest)
	})
}

// lastOrigin is t0 of the signal that completed a row: of those among its own facts that changed
// at the instant, the one whose device output became active last.
func (w *worker) lastOrigin(row int32, changes []change, log *sim.Log) time.Duration {
	var last time.Duration
	for _, c := range changes {
		if !slices.Contains(w.v.index[c.fact], row) {
			continue
		}
		e := c.event
		for e.Kind != drill.InputChanged && e.Parent > 0 {
			e = log.Event(e.Parent)
		}
		last = max(last, e.At)
	}
	return last
}

// anyDetector reports whether any signal that a row now rests on is other than a call point's:
// then the detectors' target applies to it.
func (w *worker) anyDetector(row int32, facts map[term.Fact]bool) bool {
	for f, on := range facts { // order does not show: any one decides
		if on && !w.v.plan.IsCallPoint(f.Index) && slices.Contains(w.v.index[f], row) {
			return true
		}
	}
	return false
}

// disabled reports whether what is confirmed does not count: the point is disabled by `given`, or is
// a fire input of a zone that is disabled or in test.
func (w *worker) disabled(c *course, f term.Fact) bool {
	if c.d.Fact(term.Fact{Kind: term.DeviceDisabled, Index: f.Index}) {
		return true
	}
	p := &w.v.plan.World.Points[f.Index]
	if p.Zone < 0 || !p.Input.Fire() {
		return false
	}
	zone := func(kind term.Kind) bool { return c.d.Fact(term.Fact{Kind: kind, Index: int32(p.Zone)}) }
	return zone(term.ZoneDisabled) || zone(term.ZoneTest)
}
