package diff

import (
	"context"
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Times that every run keeps, on both sites alike.
const (
	betweenSignals = 2 * time.Second  // from a decision to the next signal
	actsAfter      = time.Second      // from the last decision to what operators do
	settleMargin   = time.Second      // beyond the rounds that a panel takes to settle
	horizonMargin  = 60 * time.Second // beyond the longest delay and plant time
	awayMargin     = 2 * time.Second  // beyond two rounds, signals away -> reset
	watchMargin    = 3 * time.Second  // beyond the longest delay, after reset
)

// maxRuns bounds the runs of one comparison: each is played on both sites.
const maxRuns = 600

// runner plays stimuli on both sites.
type runner struct {
	pairing *pairing
	plans   [2]*drill.Plan
	bases   [2]map[string]*drill.Drill
	scratch [2]map[string]*drill.Drill
	done    map[string]*outcome
	runs    int
	left    int // runs asked for beyond maxRuns

	round, horizon, wait, held, watch time.Duration
	slot                              time.Duration // the longest command slot
	explained                         []int32       // outputs of which the programs ask something else
	tolerance                         time.Duration // within which times count as equal
}

// outcome is what one stimulus came to on both sites.
type outcome struct {
	text    string
	missing bool // one of the sites lacks what the stimulus takes
	courses [2]*course
}

func newRunner(p *pairing) *runner {
	r := &runner{pairing: p, done: map[string]*outcome{}}
	outputs, slot := 0, time.Duration(0)
	for s, b := range p.built {
		plan := b.Plan()
		r.plans[s], r.bases[s], r.scratch[s] = plan, map[string]*drill.Drill{}, map[string]*drill.Drill{}
		d := drill.New(plan, 0)
		for l := range plan.In.Loops {
			r.round = max(r.round, d.Round(int32(l)))
			slot = max(slot, plan.In.Loops[l].Line.Config().CommandSlot)
		}
		for i := range plan.Program.Pairs() {
			r.held = max(r.held, plan.Program.Pair(i).Hold)
		}
		delay := max(plan.Program.LongestDelay(), written(b.Site.GetProgram())) + chained(plan, b.Site.GetProgram())
		r.horizon = max(r.horizon, delay+plan.In.Plant.LongestTime()+horizonMargin)
		r.watch = max(r.watch, delay+plan.In.Plant.LongestTime()+watchMargin)
		for i := range plan.In.Points {
			r.horizon = max(r.horizon, plan.In.Points[i].Retard+delay+plan.In.Plant.LongestTime()+horizonMargin)
		}
		outputs = max(outputs, len(plan.In.Outputs))
	}
	r.wait = awayMargin + 2*time.Duration(outputs)*slot
	r.slot = slot
	r.tolerance = r.toleranceOf(false)
	return r
}

// play runs a stimulus on both sites, or returns what it came to before; nil once maxRuns are made.
func (r *runner) play(ctx context.Context, s *stimulus) (*outcome, error) {
	key := fmt.Sprint(r.pairing.text(s), s.late, s.lowest)
	if o := r.done[key]; o != nil {
		return o, nil
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if r.runs >= maxRuns {
		r.left++
		return nil, nil
	}
	o := &outcome{text: r.pairing.text(s)}
	r.done[key] = o
	if !r.possible(s) {
		o.missing = true
		return o, nil
	}
	r.runs++
	for side := range r.plans {
		c, err := r.playOn(side, s)
		if err != nil {
			return nil, fmt.Errorf("running %s on %s: %w", o.text, sideWord(side), err)
		}
		o.courses[side] = c
	}
	return o, nil
}

func sideWord(side int) string { return [...]string{"the old site", "the new site"}[side] }

// possible reports whether both sites have everything that a stimulus takes.
func (r *runner) possible(s *stimulus) bool {
	p := r.pairing
	for side := range r.plans {
		for _, list := range [][]bdd.Setting{s.given, s.faults, s.acts} {
			for _, g := range list {
				if _, ok := p.setAct(side, g, 0); !ok {
					return false
				}
			}
		}
		for _, e := range s.stuck {
			if _, ok := p.stuckAct(side, e, 0); !ok {
				return false
			}
		}
		for _, g := range s.signals {
			f, ok := p.sideFact(side, g.Fact)
			if !ok || r.plans[side].In.Points[f.Index].Input == loop.NoInput {
				return false
			}
		}
		if _, ok := p.points.side(side, s.again); s.again >= 0 && !ok {
			return false
		}
	}
	return true
}

// base is a settled drill with the given settings made. Replies that the file lets be garbled by chance
// are not: they would make a difference of every draw.
func (r *runner) base(side int, given []bdd.Setting, begins *time.Duration) (*drill.Drill, error) {
	key := baseKey(given, begins)
	if d := r.bases[side][key]; d != nil {
		return d, nil
	}
	plan := r.plans[side]
	d := drill.New(plan, 0)
	if begins != nil {
		d = drill.NewAt(plan, 0, *begins)
	}
	for l := range plan.In.Loops {
		if plan.In.Loops[l].Line.Config().ErrorRate > 0 {
			if err := d.Do(drill.Act{Kind: drill.ActLineErrors, Index: int32(l), Level: 3}); err != nil {
				return nil, err
			}
		}
	}
	for _, g := range given {
		a, _ := r.pairing.setAct(side, g, 0)
		if err := d.Do(a); err != nil {
			return nil, err
		}
	}
	r.bases[side][key] = d
	return d, d.RunUntil(2*r.round + settleMargin)
}

func baseKey(given []bdd.Setting, begins *time.Duration) string {
	if begins == nil {
		return fmt.Sprint(given)
	}
	return fmt.Sprint(given, *begins)
}

// playOn runs a stimulus on one site.
func (r *runner) playOn(side int, s *stimulus) (*course, error) {
	given := s.given
	if s.late {
		given = nil
	}
	base, err := r.base(side, given, s.begins)
	if err != nil {
		return nil, err
	}
	key := baseKey(given, s.begins)
	d := r.scratch[side][key]
	if d == nil {
		d = base.Fork()
		r.scratch[side][key] = d
	} else {
		d.CopyFrom(base)
	}
	c := &course{began: d.Log().Len()}
	if s.count() == 0 {
		c.began = 0 // what the site does at rest is all there is to see
	}
	if err := r.stimulate(side, s, d, c); err != nil {
		return nil, err
	}
	return c, r.finish(side, s, d, c)
}

// stimulate makes the faults, gives the signals, each just after a sample of its own device, and lets the
// operators act.
func (r *runner) stimulate(side int, s *stimulus, d *drill.Drill, c *course) error {
	p := r.pairing
	from := d.Instant() + 1
	for _, f := range s.faults {
		a, _ := p.setAct(side, f, from)
		if err := d.Do(a); err != nil {
			return err
		}
	}
	for _, e := range s.stuck {
		a, _ := p.stuckAct(side, e, from)
		if err := d.Do(a); err != nil {
			return err
		}
	}
	if s.count() > 0 {
		c.stimulated = from
	}
	if len(s.faults) > 0 {
		from += 10*r.round + settleMargin
	}
	for _, g := range s.signals {
		f, _ := p.sideFact(side, g.Fact)
		if err := d.RunUntil(from); err != nil {
			return err
		}
		decided, err := r.signal(side, d, c, f, g.On, s.lowest, from)
		if err != nil {
			return err
		}
		from = decided + betweenSignals
	}
	acts := s.acts
	if s.late {
		acts = append(slices.Clip(acts), s.given...)
	}
	for _, g := range acts {
		a, _ := p.setAct(side, g, max(from, d.Instant()+1)+actsAfter)
		if err := d.Do(a); err != nil {
			return err
		}
	}
	return nil
}

// signal gives one signal and runs until it is decided, at most as long as a device takes.
func (r *runner) signal(side int, d *drill.Drill, c *course, f term.Fact, on, lowest bool, from time.Duration) (time.Duration, error) {
	plan := r.plans[side]
	at := d.SampleAfter(f.Index, from) + 1
	a := plan.Stimulus(f.Index, f.Kind == term.DevicePrealarm, at)
	if lowest {
		a.Value = r.lowest(side, a, f)
	}
	if !on {
		a = drill.Act{At: at, Kind: drill.ActClear, Index: f.Index}
	}
	if err := d.Do(a); err != nil {
		return at, err
	}
	c.stimulated, c.points = at, append(c.points, f.Index)
	limit := at + 10*r.round + plan.In.Points[f.Index].Retard + settleMargin
	seen := d.Log().Len()
	for {
		next, ok := d.Next()
		if !ok || next > limit {
			return limit, d.RunUntil(limit)
		}
		if _, err := d.RunInstant(); err != nil {
			return next, err
		}
		for _, e := range d.Log().Since(uint64(seen)) {
			if e.Subject == f.Index && decides(e.Kind, plan.In.Points[f.Index].Input, f.Kind) {
				return next, nil
			}
		}
		seen = d.Log().Len()
	}
}

// lowest is the lower of the levels at which the two sites have a device in alarm: at which one of them
// may not have it so.
func (r *runner) lowest(side int, a drill.Act, f term.Fact) int64 {
	other, ok := r.pairing.points.side(1-side, r.pairing.commonFact(side, f).Index)
	if !ok {
		return a.Value
	}
	b := r.plans[1-side].Stimulus(other, f.Kind == term.DevicePrealarm, 0)
	if b.Kind != a.Kind {
		return a.Value
	}
	return min(a.Value, b.Value)
}

// finish lets the run go on: silence, signals away, reset, and what fires later.
func (r *runner) finish(side int, s *stimulus, d *drill.Drill, c *course) error {
	operate := func(kind drill.ActKind, at time.Duration) error {
		if err := d.Do(drill.Act{At: at, Kind: kind, Level: 3}); err != nil {
			return err
		}
		return d.RunUntil(at)
	}
	if err := d.RunUntil(d.Instant() + 2*actsAfter); err != nil {
		return err
	}
	c.silence = max(c.stimulated, d.Instant()) + r.horizon
	if err := operate(drill.ActSilence, c.silence); err != nil {
		return err
	}
	away := c.silence + r.wait
	if s.again >= 0 {
		point, _ := r.pairing.points.side(side, s.again)
		if err := d.Do(r.plans[side].Stimulus(point, false, d.SampleAfter(point, away)+1)); err != nil {
			return err
		}
		c.points = append(c.points, point)
		away += 10*r.round + r.wait
	}
	if err := d.RunUntil(away); err != nil {
		return err
	}
	if !s.standing {
		for _, point := range c.points {
			if err := d.Do(drill.Act{At: away + 1, Kind: drill.ActClear, Index: point}); err != nil {
				return err
			}
		}
	}
	c.reset = away + 1 + 2*r.round + awayMargin + r.held
	if err := operate(drill.ActReset, c.reset); err != nil {
		return err
	}
	c.end = c.reset + r.watch + r.wait
	if err := d.RunUntil(c.end); err != nil {
		return err
	}
	r.collect(side, d, c)
	return nil
}

// chained is how much longer a program can go on where what one action does makes the next cause true, over the command
// of an output or over equipment that proves itself: without a circle each of its times counts once.
func chained(plan *drill.Plan, m *pb.Program) time.Duration {
	follows := slices.ContainsFunc(plan.In.Points, func(p loop.Point) bool { return p.ProvesEquipment >= 0 })
	for o := range plan.In.Outputs {
		follows = follows || plan.Program.Watched(o)
	}
	var total time.Duration
	for _, a := range m.GetActions() {
		if follows {
			total += a.GetAfter().AsDuration() + a.GetFor().AsDuration() + a.GetHold().AsDuration()
		}
	}
	return total
}

// written is the longest time that a program adds on purpose, by what it says: what the panel decides before
// the alarm and the steps of phased evacuation included.
func written(m *pb.Program) time.Duration {
	var longest, before time.Duration
	for _, a := range m.GetActions() {
		longest = max(longest, a.GetAfter().AsDuration()+a.GetFor().AsDuration()+a.GetHold().AsDuration())
	}
	for _, ph := range m.GetPhasings() {
		longest = max(longest, time.Duration(len(ph.GetFloors()))*ph.GetStepTime().AsDuration())
	}
	for _, d := range m.GetDetection() {
		hold := d.GetInvestigate().GetAcknowledgeWithin().AsDuration() + d.GetInvestigate().GetExtra().AsDuration()
		before = max(before, hold, d.GetVerification().GetRestart().AsDuration()+d.GetVerification().GetWindow().AsDuration())
	}
	return longest + before
}
