package week

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Result is what came of weeks.
type Result struct {
	Violation *Violation // nil where every invariant held
	Events    int
	Instants  int
	Rests     int // times at which the panel was found at rest
	Digest    string
}

// Run plays steps on a drill of its own and watches it, until an invariant breaks or nothing more is
// to come. The error is about a run that the bench could not make: a step that it refuses, a bound
// that it reaches, a crash.
func Run(plan *drill.Plan, m *pb.Site, weeks *pb.Scenario) (*Result, error) {
	return run(newSite(plan, m), weeks, honest)
}

// honest sees a drill as it is.
func honest(d *drill.Drill) view { return d }

// run is Run on a site made ready; see is what the watch sees of the drill.
func run(s *site, weeks *pb.Scenario, see func(*drill.Drill) view) (*Result, error) {
	acts, err := resolve(s.plan, weeks)
	if err != nil {
		return nil, err
	}
	d := drill.NewAt(s.plan, weeks.GetSeed(), begins(weeks))
	for _, a := range acts {
		if err := d.Do(a); err != nil {
			return nil, err
		}
	}
	l := newLedger(s)
	r := &running{d: d, watch: newWatch(s, see(d), l), ledger: l, acts: acts, out: &Result{}}
	r.watch.begins = begins(weeks)
	err = r.all()
	r.out.Events, r.out.Digest = d.Log().Len(), d.Digest()
	return r.out, err
}

// resolve reads the steps of a scenario, which stand in the order of their times.
func resolve(plan *drill.Plan, weeks *pb.Scenario) ([]drill.Act, error) {
	var acts []drill.Act
	for i, step := range weeks.GetSteps() {
		act, found := plan.Resolve(step, fmt.Sprintf("steps[%d]", i))
		if len(found) > 0 {
			return nil, fmt.Errorf("step %d of the weeks is refused: %s", i+1, found[0].GetTitle())
		}
		acts = append(acts, act)
	}
	return acts, nil
}

// running is one run.
type running struct {
	d      *drill.Drill
	watch  *watch
	ledger *ledger
	acts   []drill.Act
	next   int           // act that comes next
	rest   time.Duration // when the panel is to be at rest; 0 for no such time
	out    *Result
}

// all runs everything, until all that follows from the last act has had its time, with every time at
// which the panel must be at rest on the way.
func (r *running) all() error {
	var end time.Duration
	if n := len(r.acts); n > 0 {
		end = r.acts[n-1].At + r.watch.settle()
	}
	for r.out.Violation == nil {
		at, more := r.d.Next()
		if r.rest > 0 && (!more || at > r.rest) {
			if err := r.settled(); err != nil {
				return err
			}
			continue
		}
		if !more || at > end {
			r.out.Violation = r.watch.check(end)
			return r.d.RunUntil(end)
		}
		if _, err := r.d.RunInstant(); err != nil {
			return err
		}
		r.out.Instants++
		r.enter(at)
		r.out.Violation = r.watch.check(at)
	}
	return nil
}

// enter notes the acts of an instant; a reset with nothing left standing, and nothing to come for as
// long as things take, brings the panel to rest.
func (r *running) enter(at time.Duration) {
	reset := false
	for ; r.next < len(r.acts) && r.acts[r.next].At <= at; r.next++ {
		if a := r.acts[r.next]; !a.Kind.AtPanel() || a.Kind == drill.ActOverride || !r.d.Fact(term.Fact{Kind: term.PanelStopped}) {
			r.ledger.enter(a) // keys of a panel that has stopped do nothing; a switch is read when it starts
		}
		reset = reset || r.acts[r.next].Kind == drill.ActReset && r.acts[r.next].Level >= 2
		r.rest = 0
	}
	settled := at + r.watch.settle()
	if reset && r.ledger.clear(at) && (r.next == len(r.acts) || r.acts[r.next].At > settled) {
		r.rest = settled
	}
}

// settled compares the panel with a fresh one.
func (r *running) settled() error {
	if err := r.d.RunUntil(r.rest); err != nil {
		return err
	}
	if r.out.Violation = r.watch.check(r.rest); r.out.Violation != nil {
		return nil
	}
	v, err := r.watch.rest(r.d)
	r.out.Violation, r.rest = v, 0
	r.out.Rests++
	return err
}
