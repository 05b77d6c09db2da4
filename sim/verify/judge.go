package verify

import (
	"fmt"
	"runtime/debug"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// verdict is a word for a cell or a run; the order is that in which the first that fits is taken.
type verdict uint8

const (
	asRequired verdict = iota
	errored
	missing
	unexpected
	wrongState
	early
	late
	notSilenced
	wronglySilenced
	staysOn
	firesAfterReset
	crashed
	covered
	notJudged
)

var verdictWords = [...]string{"as-required", "errored", "missing", "unexpected", "wrong-state", "early", "late",
	"not-silenced", "wrongly-silenced", "stays-on", "fires-after-reset", "crashed", "covered", "not-judged"}

func (v verdict) String() string { return verdictWords[v] }

// operation is one operation of an output, with the demand and the command behind it.
type operation struct {
	event       uint64 // OutputOperated
	state       term.State
	t2, t3, t4  time.Duration
	demand      uint64
	done        time.Duration // t5, 0 where no equipment is done
	spontaneous bool          // nothing demanded it
}

// verdicts is what one run came to.
type verdicts struct {
	run     int
	text    string
	failed  bool
	digest  string
	outside string
	cells   []cellResult
	diffs   []difference
	timings []Timing
	seen    *coverage
	events  int
	end     time.Duration
	err     error
}

// cellResult is what a run shows about one cell of a row that is true in it.
type cellResult struct {
	row, cell int32
	own       bool // the run is a way of the row
	leads     bool // its demand is among the strongest at some instant
	notJudged bool
	timed     bool
	worst     time.Duration // t4 - t0 less the delay
	bound     time.Duration
	within    time.Duration
}

// difference is one output that did not do as required in a run.
type difference struct {
	verdict   verdict
	stage     string
	output    int32
	row, cell int32 // the cell that answers for it; cell -1: the row's empty cell of `column`; row -1: none
	column    int32
	own       bool
	at        time.Duration // required, or observed where nothing is
	required  string
	observed  string
	truth     *truth
	begun     *matrix.Demand
	did       *operation
	switched  bool // a switch of the run's settings is what it hangs on: no link is broken
	broken    string
	links     []string
	linkTimes []int64
}

// judge simulates run i and judges it for every row that is true in it. A broken invariant of
// the judgement ends that run as crashed and leaves the others.
func (w *worker) judge(i int) (out *verdicts) {
	r := w.v.runs[i]
	defer func() {
		if cause := recover(); cause != nil {
			out = &verdicts{run: i, text: w.v.text(r), failed: true, err: fmt.Errorf("the judgement crashed: %v\n%s", cause, debug.Stack())}
		}
	}()
	c := w.simulate(r)
	out = &verdicts{run: i, text: w.v.text(r), events: c.d.Log().Len(), end: c.end, err: c.err}
	if c.err != nil {
		out.failed = true
		return out
	}
	if w.v.digests {
		out.digest, out.outside = c.d.Digest(), outsideDigest(c.d.Log())
	}
	j := &judgement{w: w, r: r, c: c, out: out}
	j.truths = w.truths(r, c, c.silence-1)
	j.operations = j.collect()
	j.seen()
	j.faulted()
	j.fire()
	j.silenceStage()
	j.untilReset()
	j.resetStage()
	j.explain()
	j.midway()
	out.failed = len(out.diffs) > 0 || out.err != nil
	return out
}

// judgement is the work on one run.
type judgement struct {
	w           *worker
	r           *run
	c           *course
	out         *verdicts
	truths      []truth // until silence
	later       []truth // until reset
	courses     []matrix.Course
	operations  [][]operation     // by output
	commandEnds [][]time.Duration // by loop: when its command slots ended, each once
}

// own reports whether the run is a way of the row.
func (j *judgement) own(row int32) bool {
	return slices.Contains(j.r.rows, row)
}

func (j *judgement) truthOf(row int32) *truth { return truthIn(j.truths, row) }

// truthIn finds a row's truth; nil where it was never true.
func truthIn(truths []truth, row int32) *truth {
	for i := range truths {
		if truths[i].row == row {
			return &truths[i]
		}
	}
	return nil
}

// collect finds every operation of every output in the log, with its demand and command.
func (j *judgement) collect() [][]operation {
	all := make([][]operation, len(j.w.v.plan.In.Outputs))
	log := j.c.d.Log()
	j.commandEnds = make([][]time.Duration, len(j.w.v.plan.In.Loops))
	for n := 1; n <= log.Len(); n++ {
		e := log.Event(uint64(n))
		if e.Kind == drill.EquipmentDone {
			done(all, log, e)
		}
		if e.Kind == drill.CommandHeard {
			j.noteCommand(e)
		}
		if e.Kind != drill.OutputOperated {
			continue
		}
		op := operation{event: uint64(n), state: inMatrix(term.State(e.Value)), t4: e.At, t3: e.At, t2: e.At, spontaneous: true}
		for up := e.Parent; up > 0; {
			p := log.Event(up)
			if p.Kind == drill.OutputDemanded {
				op.t2, op.demand, op.spontaneous = p.At, up, false
				break
			}
			if p.Kind == drill.CommandHeard {
				op.t3 = p.At
			}
			up = p.Parent
		}
		if last := len(all[e.Subject]) - 1; last < 0 || op.state != term.On || all[e.Subject][last].state != term.On {
			all[e.Subject] = append(all[e.Subject], op) // else from on to release or back
		}
	}
	return all
}

// inMatrix is the word that the matrix has for a state: it says `on` of a release too.
func inMatrix(s term.State) term.State {
	if s == term.Release {
		return term.On
	}
	return s
}

// done notes t5 at the operation that began what is now done.
func done(all [][]operation, log *sim.Log, e *sim.Event) {
	for up := e.Parent; up > 0; up = log.Event(up).Parent {
		p := log.Event(up)
		if p.Kind != drill.OutputOperated {
			continue
		}
		for k := range all[p.Subject] {
			if op := &all[p.Subject][k]; op.event == up && op.done == 0 {
				op.done = e.At
			}
		}
		return
	}
}

// fire judges the time from the start to silence: the course of every output.
func (j *judgement) fire() {
	j.courses = j.w.v.m.Courses(truthSpans(j.truths))
	named := make([]bool, len(j.operations))
	for i := range j.courses {
		named[j.courses[i].Output] = true
		if state, override, ok := j.switched(int32(j.courses[i].Output)); ok {
			j.standing(&j.courses[i], state, override)
			continue
		}
		j.course(&j.courses[i])
	}
	for o, ops := range j.operations {
		if !named[o] && len(ops) > 0 && ops[0].t4 < j.c.reset {
			d := difference{verdict: unexpected, output: int32(o), row: -1, cell: -1, column: -1, at: ops[0].t4,
				required: "nothing: no column names this output", observed: observedText(ops[:1]), did: &ops[0]}
			if d.at >= j.c.silence {
				d.stage = "silence"
			}
			j.differ(d)
		}
	}
	for _, row := range j.r.rows {
		j.ownCells(row)
	}
}

// course compares the required with the observed course of one output.
func (j *judgement) course(c *matrix.Course) {
	if c.NotJudged {
		return
	}
	var did []operation
	for _, op := range j.operations[c.Output] {
		if op.t4 < j.c.silence {
			did = append(did, op)
		}
	}
	var required []matrix.Transition
	for _, t := range c.Transitions {
		if t.At < j.c.silence {
			required = append(required, t)
		}
	}
	if !j.compare(c, required, did) {
		j.others(c, did)
	} else if !placed(c, did, j.c.silence) {
		j.misplaced(c, required, did)
	}
}

// misplaced: every change is within its tolerance, and yet no stages make them all. It is told of the first state that
// lasts otherwise than the cells have it to the letter.
func (j *judgement) misplaced(c *matrix.Course, required []matrix.Transition, did []operation) {
	at, d := 0, difference{verdict: wrongState}
	for i := 1; i < len(did) && d.verdict == wrongState; i++ {
		switch lasts, did := required[i].At-required[i-1].At, did[i].t2-did[i-1].t2; {
		case did > lasts:
			at, d.verdict = i, late
		case did < lasts:
			at, d.verdict = i, early
		}
	}
	d.output, d.at, d.did = int32(c.Output), required[at].At, &did[at]
	d.required, d.observed = requiredText(required, c), observedText(did)
	j.attribute(c, d, responsible(&required[at]))
}

// compare goes through the two courses up to the first difference; true if there is none.
func (j *judgement) compare(c *matrix.Course, required []matrix.Transition, did []operation) bool {
	for i := range max(len(did), len(required)) {
		switch {
		case i >= len(required):
			j.extra(c, required, did, i)
			return false
		case i >= len(did):
			j.lacking(c, required, did, i)
			return false
		case !j.transition(c, required, did, i):
			return false
		}
	}
	return true
}

// extra: the output did more than is required.
func (j *judgement) extra(c *matrix.Course, required []matrix.Transition, did []operation, i int) {
	d := difference{verdict: unexpected, output: int32(c.Output), at: did[i].t4, required: requiredText(required, c), observed: observedText(did), did: &did[i]}
	state, leaders := c.At(did[i].t4)
	switch {
	case did[i].state == term.Rest:
		d.verdict = wrongState // it left what is still demanded
	case state != term.Rest:
		d.verdict = wrongState
	}
	j.attribute(c, d, leaders)
}

// lacking: a required change never came.
func (j *judgement) lacking(c *matrix.Course, required []matrix.Transition, did []operation, i int) {
	t := &required[i]
	d := difference{verdict: missing, output: int32(c.Output), at: t.At, required: requiredText(required, c), observed: observedText(did)}
	switch {
	case t.State == term.Rest:
		d.verdict, d.did = late, &did[len(did)-1] // it stays in a state whose demand has ended
	case len(did) > 0 && did[len(did)-1].state != term.Rest:
		d.verdict = wrongState // it stays in the state before
	}
	j.attribute(c, d, responsible(t))
}

// transition compares one required change with the observed one; false ends the comparison.
func (j *judgement) transition(c *matrix.Course, required []matrix.Transition, did []operation, i int) bool {
	t, op := &required[i], &did[i]
	d := difference{output: int32(c.Output), at: t.At, did: op}
	answer := responsible(t)
	switch {
	case op.state != t.State:
		d.verdict = wrongState
		if t.From == term.Rest && op.t2 < t.Allowed.From {
			d.verdict, answer = unexpected, nil // it operates before anything is required of it
		}
	case op.t2 < t.Allowed.From:
		d.verdict = early
	case op.t2 > t.Allowed.To:
		d.verdict = late
	default:
		slow := append(j.inTime(c, t, op), j.fallInTime(c, t, op, j.truths)...)
		if len(slow) > 0 {
			d.verdict, answer = late, slow
		}
	}
	if d.verdict == asRequired {
		return true
	}
	d.required, d.observed = requiredText(required, c), observedText(did)
	j.attribute(c, d, answer)
	return false
}

// responsible are the demands that a transition hangs on.
func responsible(t *matrix.Transition) []int {
	if len(t.Begun) > 0 {
		return t.Begun
	}
	return t.Ended
}

// inTime compares the response with what each cell permits, notes it, and returns the demands that
// permit less.
func (j *judgement) inTime(c *matrix.Course, t *matrix.Transition, op *operation) (slow []int) {
	for _, i := range t.Begun {
		d := &c.Demands[i]
		tr := j.truthOf(int32(d.Row))
		within := d.Within
		if within == 0 {
			within = j.w.v.target(tr)
		}
		took := d.Decision - tr.originOf(d.Decision) + op.t4 - op.t2 // t2 - t1 is the delay, also where a tolerance lets it differ
		bound := j.bound(c.Output, op, matrix.Span{From: tr.originOf(d.Decision), To: d.Decision})
		j.out.cells = append(j.out.cells, cellResult{row: int32(d.Row), cell: int32(d.Cell), own: j.own(int32(d.Row)), leads: true,
			timed: true, worst: took, bound: bound, within: within})
		j.out.timings = append(j.out.timings, Timing{Output: int32(c.Output), Observed: took, Bound: bound})
		if took > within {
			slow = append(slow, i)
		}
	}
	return slow
}

// originOf is t0 of the span that begins at a decision.
func (t *truth) originOf(decision time.Duration) time.Duration {
	for i, s := range t.spans {
		if s.From == decision {
			return t.t0[i]
		}
	}
	return decision
}

// target is the site's greatest time for what made the row true.
func (v *Verifier) target(t *truth) time.Duration {
	if t.slow {
		return v.plan.In.Targets.Detector
	}
	return v.plan.In.Targets.CallPoint
}

// ownCells notes which cells of the run's own row lead, and those that are not judged. A row
// that its own way did not make true leaves all its cells missing.
func (j *judgement) ownCells(row int32) {
	r := &j.w.v.m.Rows[row]
	for k := range r.Cells {
		res := cellResult{row: row, cell: int32(k), own: true, notJudged: r.Cells[k].Any}
		for i := range j.courses {
			c := &j.courses[i]
			res.leads = res.leads || c.Leads(int(row), k)
			res.notJudged = res.notJudged || c.NotJudged && c.Leads(int(row), k)
		}
		j.out.cells = append(j.out.cells, res)
	}
	if j.truthOf(row) != nil {
		return
	}
	for k := range r.Cells {
		cell := &r.Cells[k]
		if cell.Any {
			continue
		}
		for _, o := range j.w.v.m.Columns[cell.Column].Outputs {
			j.differ(difference{verdict: missing, output: int32(o), row: row, cell: int32(k), column: int32(cell.Column), own: true,
				at: j.c.stimulated, required: cell.String(), observed: "the row never became true"})
		}
	}
}

func (j *judgement) differ(d difference) {
	if d.stage == "" {
		d.stage = "fire"
	}
	j.out.diffs = append(j.out.diffs, d)
}
