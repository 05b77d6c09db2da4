package verify

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Why runs one way and tells how an effect came about in it, or which link is the first that is
// missing. way is written as reports write it: labels or loop/addresses joined by ` and ` (at
// once) or `, then ` (one after another), with ` (given mode=night)` behind it if need be. target
// is an effect's id or an output. where finds the place of a field path in the site file.
func Why(plan *drill.Plan, way, target string, where func(path string) *pb.Position) (*pb.WhyReport, error) {
	v := &Verifier{plan: plan, m: &matrix.Matrix{}, bases: map[string]*drill.Drill{}}
	v.index = indexFacts(v.m)
	r, err := v.parseWay(way)
	if err != nil {
		return nil, err
	}
	outputs, err := v.outputsOf(target)
	if err != nil {
		return nil, err
	}
	v.watch = v.watchTimes()
	if v.bases[r.givenKey], err = v.base(r.given); err != nil {
		return nil, err
	}
	w := v.newWorker()
	c := w.simulate(r)
	if c.err != nil {
		return nil, c.err
	}
	j := &judgement{w: w, r: r, c: c, out: &verdicts{}}
	j.operations = j.collect()
	out := &pb.WhyReport{Site: plan.In.Site, Caution: sim.Caution, Run: v.text(r), Effect: target}
	for _, o := range outputs {
		out.Outputs = append(out.Outputs, j.story(o, where))
	}
	return out, nil
}

// story tells of one output.
func (j *judgement) story(o int32, where func(string) *pb.Position) *pb.WhyOutput {
	plan := j.w.v.plan
	out := &pb.WhyOutput{Output: plan.In.Outputs[o].Label}
	var end uint64
	if ops := j.operations[o]; len(ops) > 0 && ops[0].t4 < j.c.silence {
		op := &ops[0]
		out.Operated, out.State, end = true, op.state.String(), op.event
		out.T4S = optional(op.t4)
		if !op.spontaneous {
			out.T2S, out.T3S = optional(op.t2), optional(op.t3)
		}
		if op.done > 0 {
			out.T5S = optional(op.done)
			end = j.doneEvent(op)
		}
	} else {
		out.BrokenLink = j.brokenLink(&difference{output: o, row: -1})
		end = j.lastTowards(o)
	}
	if end == 0 {
		return out
	}
	log := j.c.d.Log()
	for _, n := range j.c.d.Chain(end) {
		e := log.Event(n)
		switch e.Kind {
		case drill.InputChanged:
			if out.T0S == nil {
				out.T0S = optional(e.At)
			}
		case drill.FireDecided, drill.SupervisoryDecided, drill.PrealarmDecided:
			out.T1S = optional(e.At)
		case drill.CauseChanged:
			if out.T1S == nil {
				out.T1S = optional(e.At)
			}
		}
		link := &pb.ChainLink{AtS: seconds(e.At), What: plan.Describe(e)}
		if path := plan.Path(e); path != "" && where != nil {
			link.Position = where(path)
		}
		out.Chain = append(out.Chain, link)
	}
	return out
}

// doneEvent is the event with which the equipment of an operation was done.
func (j *judgement) doneEvent(op *operation) uint64 {
	log := j.c.d.Log()
	for n := op.event + 1; n <= uint64(log.Len()); n++ {
		if e := log.Event(n); e.Kind == drill.EquipmentDone && e.At == op.done && slices.Contains(j.c.d.Chain(n), op.event) {
			return n
		}
	}
	return op.event
}

// outputsOf resolves an effect or an output.
func (v *Verifier) outputsOf(name string) ([]int32, error) {
	plan := v.plan
	if i := slices.Index(plan.Effects, name); i >= 0 {
		return plan.Program.EffectOutputs(i), nil
	}
	if o, ok := plan.In.Output(name); ok {
		return []int32{o}, nil
	}
	known := slices.Clone(plan.Effects)
	for i := range plan.In.Outputs {
		known = append(known, plan.In.Outputs[i].Label)
	}
	return nil, unknown("effect or output", name, known)
}

func unknown(what, name string, known []string) error {
	if near, ok := finding.Nearest(name, known); ok {
		return fmt.Errorf("there is no %s %q: did you mean %q?", what, name, near)
	}
	return fmt.Errorf("there is no %s %q: known are %s", what, name, finding.Sample(known, 8))
}

// parseWay reads a way as text writes it.
func (v *Verifier) parseWay(way string) (*run, error) {
	r := &run{atOnce: -1, rows: nil}
	way, given, _ := strings.Cut(way, "(given ")
	var err error
	if r.given, err = matrix.ParseGiven(strings.TrimSuffix(given, ")"), v.plan.World); err != nil {
		return nil, err
	}
	way, first, atOnce := strings.Cut(way, " at once, just after a sample of ")
	joint := ", then "
	if !strings.Contains(way, joint) && (strings.Contains(way, " and ") || atOnce) { // no label holds a comma
		joint, r.atOnce = " and ", 0
	}
	for i, word := range strings.Split(way, joint) {
		word = strings.TrimSpace(word)
		label, prealarm := strings.CutSuffix(word, " (pre-alarm)")
		point, ok := v.plan.In.Point(label)
		if !ok && strings.Contains(label, " and ") {
			return nil, errors.New("a way joins its devices by \" and \" (at once) or by \", then \" (one after another), not by both")
		}
		if !ok {
			return nil, unknown("device", label, v.plan.PointNames())
		}
		s, ok := signalOf(v.plan, point, prealarm)
		if !ok {
			return nil, fmt.Errorf("%q gives no such signal: a way names detectors, call points and inputs", word)
		}
		r.signals = append(r.signals, s)
		if label == strings.TrimSpace(first) {
			r.atOnce = i
		}
	}
	if len(r.signals) == 1 {
		r.atOnce = 0
	}
	r.givenKey = givenText(v, r.given)
	return r, nil
}

// signalOf is the signal that a point gives.
func signalOf(plan *drill.Plan, point int32, prealarm bool) (matrix.Signal, bool) {
	p := &plan.World.Points[point]
	s := matrix.Signal{Point: int(point), Kind: matrix.ActiveSignal}
	switch {
	case prealarm:
		s.Kind = matrix.PrealarmSignal
		return s, p.Prealarm
	case p.Input.Fire():
		s.Kind = matrix.FireSignal
	case p.Input == term.Supervisory:
		s.Kind = matrix.SupervisorySignal
	case p.Input == term.NoInput:
		return s, false
	}
	return s, true
}

// lastTowards is the last event on the way from the run's signals to an output that did not
// operate.
func (j *judgement) lastTowards(o int32) (last uint64) {
	log := j.c.d.Log()
	dropped := map[int32]bool{} // a signal that was dropped comes again and again: its first time tells all
	for n := uint64(1); n <= uint64(log.Len()) && log.Event(n).At < j.c.silence; n++ {
		e := log.Event(n)
		_, held := drill.Holds(e.Kind)
		_, on, ok := confirmed(e)
		towards := (held || ok && on) && j.signals(e.Subject) && !dropped[e.Subject]
		if towards || e.Kind == drill.InputChanged && last == 0 || aboutOutput(e, o) {
			last = n
		}
		dropped[e.Subject] = dropped[e.Subject] || e.Kind == drill.SignalDropped
	}
	return last
}

// signals reports whether the run stimulates a point.
func (j *judgement) signals(point int32) bool {
	return slices.ContainsFunc(j.r.signals, func(s matrix.Signal) bool { return int32(s.Point) == point })
}

// WhyText writes the page for people.
func WhyText(r *pb.WhyReport) string {
	t := &text{}
	t.Line("why %s, on %s", r.GetEffect(), r.GetRun())
	for _, o := range r.GetOutputs() {
		t.Line("")
		if o.GetOperated() {
			t.Line("%s: %s", o.GetOutput(), o.GetState())
		} else {
			t.Wrap("", "  ", fmt.Sprintf("%s: stays at rest; the first link that is missing: %s", o.GetOutput(), o.GetBrokenLink()))
		}
		t.times(o)
		for _, link := range o.GetChain() {
			t.Link(link)
		}
	}
	t.Line("")
	t.Hang("", r.GetCaution())
	return t.String()
}

func (t *text) times(o *pb.WhyOutput) {
	names := [...]string{"device's own output", "decided", "demanded", "commanded", "operated", "equipment done"}
	before := (*float64)(nil)
	for i, at := range []*float64{o.T0S, o.T1S, o.T2S, o.T3S, o.T4S, o.T5S} { //nolint:protogetter // presence is asked for
		if at == nil {
			continue
		}
		took := ""
		if before != nil {
			took = fmt.Sprintf("  (+%s)", drill.Seconds(time.Duration((*at-*before)*1e9+0.5)))
		}
		t.Line("  t%d %-20s %17.9f s%s", i, names[i], *at, took)
		before = at
	}
}
