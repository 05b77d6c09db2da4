package verify

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

type errorFinding = pb.Finding

// Times that every run keeps.
const (
	afterDecision = 2 * time.Second  // before the next of several signals
	silenceWait   = 2 * time.Second  // silence -> stimuli away
	resetMargin   = 2 * time.Second  // beyond two rounds, stimuli away -> reset
	watchMargin   = 3 * time.Second  // beyond the longest delay, after reset
	horizonMargin = 60 * time.Second // beyond the longest delay and plant time
)

// watch is how long runs of this site and matrix go on.
type watch struct {
	horizon time.Duration // last signal -> silence
	held    time.Duration // two rounds beyond stimuli away -> reset, beyond its margin
	reset   time.Duration // reset -> end
	chain   time.Duration // how much longer each of these may take where one delay leads to another
}

// watchTimes follows from the longest delay that program or matrix know, how long a signal can be held
// before that, and the slowest plant.
func (v *Verifier) watchTimes() watch {
	longest := v.plan.Program.LongestDelay() + v.plan.Program.LongestHeld()
	var held time.Duration
	for i := range v.plan.Program.Pairs() {
		held = max(held, v.plan.Program.Pair(i).Hold)
	}
	for i := range v.m.Rows {
		for _, c := range v.m.Rows[i].Cells {
			for _, s := range c.Stages {
				held = max(held, s.Hold+s.HoldTolerance)
				longest = max(longest, s.After+s.Tolerance+s.For+s.Hold+s.HoldTolerance)
			}
		}
	}
	plant := v.plan.In.Plant.LongestTime()
	var retard time.Duration // after the stimulus, before the device's own output says anything
	for i := range v.plan.In.Points {
		retard = max(retard, v.plan.In.Points[i].Retard)
	}
	return watch{horizon: retard + longest + plant + horizonMargin, held: held, reset: longest + plant + watchMargin, chain: v.longestChain()}
}

// longestRound is the longest round of any loop as things stand.
func longestRound(d *drill.Drill) time.Duration {
	var longest time.Duration
	for l := range d.Plan().In.Loops {
		longest = max(longest, d.Round(int32(l)))
	}
	return longest
}

// base is a drill on which the given settings were made at the start and have settled. The
// installation is a healthy one: replies that the file lets be garbled by chance would make a figure
// of each response that is neither the worst nor the same under another seed.
func (v *Verifier) base(given []matrix.Setting) (*drill.Drill, error) {
	d := drill.New(v.plan, 0)
	for l := range v.plan.In.Loops {
		if v.plan.In.Loops[l].Line.Config().ErrorRate == 0 {
			continue
		}
		if err := d.Do(drill.Act{Kind: drill.ActLineErrors, Index: int32(l), Rate: 0, Level: 3}); err != nil {
			return nil, err
		}
	}
	for _, s := range given {
		a := drill.Act{Index: int32(s.Index), On: true, Level: 3}
		switch s.Kind {
		case matrix.Acknowledge:
			continue // in the course of the run
		case matrix.SetMode:
			a.Kind, a.Value, a.On = drill.ActMode, int64(s.Value), false
		case matrix.SetControl:
			a.Kind = drill.ActControl
		case matrix.DisablePoint:
			a.Kind = drill.ActDisableDevice
		case matrix.DisableOutput:
			a.Kind = drill.ActDisableOutput
		case matrix.DisableZone:
			a.Kind = drill.ActDisableZone
		case matrix.DisableEquipment:
			a.Kind = drill.ActDisableEquipment
		case matrix.TestZone:
			a.Kind = drill.ActTest
		case matrix.SetOverride:
			a.Kind, a.Value, a.On = drill.ActOverride, int64(s.Value), false
		}
		if err := d.Do(a); err != nil {
			return nil, err
		}
	}
	return d, d.RunUntil(2*longestRound(d) + time.Second)
}

// worker simulates and judges runs, one at a time, in one drill's memory.
type worker struct {
	v      *Verifier
	drills map[string]*drill.Drill
}

func (v *Verifier) newWorker() *worker {
	return &worker{v: v, drills: map[string]*drill.Drill{}}
}

// course is a simulated run: its drill at the end, and the states on the way.
type course struct {
	d           *drill.Drill
	stimulated  time.Duration // when the last signal was given
	silence     time.Duration
	silenced    time.Duration // when the silence stage is judged
	reset       time.Duration
	end         time.Duration
	beforeReset []term.State // output states when the silence stage is judged
	err         error
}

// simulate executes a run.
func (w *worker) simulate(r *run) *course {
	base := w.v.bases[r.givenKey]
	d := w.drills[r.givenKey]
	if d == nil {
		d = base.Fork()
		w.drills[r.givenKey] = d
	} else {
		d.CopyFrom(base)
	}
	c := &course{d: d}
	c.err = w.execute(r, c)
	return c
}

func (w *worker) execute(r *run, c *course) error {
	d := c.d
	if err := w.stimulate(r, c); err != nil {
		return err
	}
	acknowledged, _ := matrix.Acknowledged(r.given)
	silence, err := w.v.settled(d, c.stimulated+acknowledged+w.v.watch.horizon)
	if err != nil {
		return err
	}
	c.silence = silence
	if err := act(d, c.silence, drill.Act{Kind: drill.ActSilence}); err != nil {
		return err
	}
	away, err := commanded(d, c.silence+silenceWait)
	if err != nil {
		return err
	}
	c.silenced = away
	c.beforeReset = states(d)
	for _, s := range r.signals {
		if err := d.Do(drill.Act{At: away + 1, Kind: drill.ActClear, Index: int32(s.Point)}); err != nil {
			return err
		}
	}
	c.reset, err = w.v.settled(d, away+1+2*longestRound(d)+resetMargin+w.v.watch.held)
	if err != nil {
		return err
	}
	if err := act(d, c.reset, drill.Act{Kind: drill.ActReset}); err != nil {
		return err
	}
	if c.end, err = w.v.settled(d, c.reset+w.v.watch.reset); err != nil {
		return err
	}
	return d.RunUntil(c.end)
}

// act lets an operator do something at an instant, and runs to it.
func act(d *drill.Drill, at time.Duration, a drill.Act) error {
	a.At, a.Level = at, 3
	if err := d.Do(a); err != nil {
		return err
	}
	return d.RunUntil(at)
}

// stimulate gives the signals of a run, each at its worst moment, and lets somebody acknowledge if the run asks for it.
func (w *worker) stimulate(r *run, c *course) error {
	if r.atOnce >= 0 {
		return w.together(r, c)
	}
	d := c.d
	from := d.Instant() + 1
	for i, s := range r.signals {
		if err := d.RunUntil(from); err != nil {
			return err
		}
		at := d.SampleAfter(int32(s.Point), from) + 1
		if err := d.Do(w.stimulus(s, at)); err != nil {
			return err
		}
		if err := d.RunUntil(at); err != nil {
			return err
		}
		c.stimulated = at
		if i+1 == len(r.signals) {
			return nil
		}
		decided, err := w.awaitDecision(d, s)
		if err != nil {
			return err
		}
		if i == 0 {
			if err := acknowledge(r, d, decided); err != nil {
				return err
			}
		}
		from = decided + afterDecision
	}
	return nil
}

// together gives all signals at once, just after the sample of one of their devices.
func (w *worker) together(r *run, c *course) error {
	d := c.d
	at := d.SampleAfter(int32(r.signals[r.atOnce].Point), d.Instant()+1) + 1
	for _, s := range r.signals {
		if err := d.Do(w.stimulus(s, at)); err != nil {
			return err
		}
	}
	c.stimulated = at
	if err := d.RunUntil(at); err != nil {
		return err
	}
	if _, ok := matrix.Acknowledged(r.given); !ok {
		return nil
	}
	decided, err := w.awaitDecision(d, r.signals...)
	if err != nil {
		return err
	}
	return acknowledge(r, d, decided)
}

// acknowledge enters that somebody acknowledges, if the run asks for it: so long after the first decision.
func acknowledge(r *run, d *drill.Drill, decided time.Duration) error {
	after, ok := matrix.Acknowledged(r.given)
	if !ok {
		return nil
	}
	return d.Do(drill.Act{At: decided + after, Kind: drill.ActAcknowledge, Level: 3})
}

// awaitDecision runs until any of the signals is confirmed, at most as long as a hundred rounds, and
// returns when that was.
func (w *worker) awaitDecision(d *drill.Drill, signals ...matrix.Signal) (time.Duration, error) {
	start := d.Log().Len()
	limit := d.Instant() + 100*longestRound(d) + time.Minute
	for _, s := range signals {
		limit = max(limit, d.Instant()+100*longestRound(d)+w.v.plan.In.Points[s.Point].Retard+time.Minute)
	}
	for {
		at, ok := d.Next()
		if !ok || at > limit {
			return limit, nil
		}
		if _, err := d.RunInstant(); err != nil {
			return at, err
		}
		for _, e := range d.Log().Since(uint64(start)) {
			f, on, ok := confirmed(&e)
			if ok && on && slices.ContainsFunc(signals, func(s matrix.Signal) bool { return s.Makes(f, w.v.plan.World) && decides(s, f) }) {
				return at, nil
			}
		}
		start = d.Log().Len()
	}
}

// decides reports whether the fact is the signal's own decision, and not the reading before it.
func decides(s matrix.Signal, f term.Fact) bool {
	switch s.Kind {
	case matrix.FireSignal:
		return f.Kind == term.DeviceFire
	case matrix.SupervisorySignal:
		return f.Kind == term.DeviceSupervisory
	case matrix.PrealarmSignal:
		return f.Kind == term.DevicePrealarm
	}
	return f.Kind == term.DeviceActive
}

// stimulus is the act that makes a device give a signal.
func (w *worker) stimulus(s matrix.Signal, at time.Duration) drill.Act {
	return w.v.plan.Stimulus(int32(s.Point), s.Kind == matrix.PrealarmSignal, at)
}

// states are the outputs as the matrix would say them.
func states(d *drill.Drill) []term.State {
	all := make([]term.State, len(d.Plan().In.Outputs))
	for o := range all {
		all[o] = inMatrix(d.Output(int32(o)))
	}
	return all
}
