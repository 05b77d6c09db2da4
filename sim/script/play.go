package script

import (
	"context"
	"errors"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Outcomes of expectations and scenarios.
const (
	Passed  = "passed"
	Failed  = "failed"
	Errored = "errored" // could not be judged
)

// Play runs a script on a drill of its own and judges it. The report has no positions yet: see
// Place. The error is ctx's, when it ended first; a run that reaches a bound of the bench or
// crashes is an errored scenario, not an error.
func Play(ctx context.Context, s *Script) (*pb.ScenarioReport, error) { return play(ctx, s, nil) }

// play is Play, and lets a coverage that is not nil watch.
func play(ctx context.Context, s *Script, c *Coverage) (*pb.ScenarioReport, error) {
	r := &playing{s: s, traces: make([]trace, len(s.expect))}
	d, err := s.start()
	if err != nil {
		return nil, err
	}
	r.d = d
	if c != nil {
		r.watcher = c.watch(d)
	}
	for i := range s.expect {
		r.traces[i].before = d.Holds(s.expect[i].when)
	}
	ended, err := r.run(ctx)
	if r.watcher != nil {
		r.watcher.end()
	}
	if err != nil && ctx.Err() != nil {
		return nil, err
	}
	return r.report(ended, err), nil
}

// start returns a drill at the very start, with all steps entered.
func (s *Script) start() (*drill.Drill, error) {
	d := drill.NewAt(s.plan, s.seed, s.begins)
	for _, a := range s.acts {
		if err := d.Do(a); err != nil {
			return nil, err
		}
	}
	return d, nil
}

// playing is one run of a script.
type playing struct {
	s       *Script
	d       *drill.Drill
	traces  []trace  // by expectation
	looked  int      // moments of the script that are behind
	watcher *watcher // nil where nobody asks what is exercised
}

// run executes every instant up to the end, and observes every condition after each. It returns
// the last instant of which everything is known.
func (r *playing) run(ctx context.Context) (time.Duration, error) {
	for {
		at, ok := r.d.Next()
		if err := r.moments(at, ok); err != nil {
			return r.d.Instant(), err
		}
		if !ok || at > r.s.end {
			return r.s.end, r.d.RunUntil(r.s.end)
		}
		if err := ctx.Err(); err != nil {
			return r.d.Instant(), err
		}
		known := r.d.Instant()
		if _, err := r.d.RunInstant(); err != nil {
			return known, err
		}
		if r.watcher != nil {
			r.watcher.observe()
		}
		r.observe()
	}
}

// moments observes what sounds at those instants, asked for by `at`, that come before the next one at
// which anything happens; more is false where nothing more does.
func (r *playing) moments(next time.Duration, more bool) error {
	for ; r.looked < len(r.s.moments) && (!more || r.s.moments[r.looked] < next); r.looked++ {
		if err := r.d.RunUntil(r.s.moments[r.looked]); err != nil {
			return err
		}
		r.observe()
	}
	return nil
}

// observe notes the truth of every condition at the drill's last instant.
func (r *playing) observe() {
	for i := range r.s.expect {
		r.traces[i].observe(r.d.Instant(), r.d.Holds(r.s.expect[i].when))
	}
}

// report judges everything. crash is what ended the run early, nil if nothing did.
func (r *playing) report(ended time.Duration, crash error) *pb.ScenarioReport {
	out := &pb.ScenarioReport{
		Scenario: r.s.name, Outcome: Passed, Seed: r.s.seed, Digest: r.d.Digest(), Events: int32(r.d.Log().Len()),
		EndedS: inSeconds(max(ended, 0)), Counts: &pb.OutcomeCounts{},
	}
	var failures []failure
	for i := range r.s.expect {
		e := &r.s.expect[i]
		x := &pb.ExpectationReport{Path: e.path, Text: e.text(), Note: e.note}
		out.Expectations = append(out.Expectations, x)
		if e.to > ended {
			x.Outcome, x.AtS = Errored, inSeconds(ended)
			x.Expected, x.Got = "due at "+drill.Seconds(e.to), "the run ended at "+drill.Seconds(max(ended, 0))
			out.Counts.Errored++
			continue
		}
		v := e.judge(&r.traces[i], ended)
		x.AtS = inSeconds(v.at)
		if v.passed {
			x.Outcome = Passed
			out.Counts.Passed++
			continue
		}
		x.Outcome, x.Expected, x.Got = Failed, v.expected, v.got
		out.Counts.Failed++
		failures = append(failures, failure{report: x, when: e.when, verdict: v})
	}
	r.explain(failures)
	if r.s.othersNone {
		out.Others = r.others()
	}
	r.conclude(out, crash)
	return out
}

// conclude gives the scenario its outcome: errored is worse than failed.
func (r *playing) conclude(out *pb.ScenarioReport, crash error) {
	var bound *sim.BoundError
	switch {
	case errors.As(crash, &bound):
		out.Outcome, out.Reason = Errored, bound.Error()
	case crash != nil:
		out.Outcome, out.Reason = Errored, crash.Error()
	case len(r.s.expect) == 0 && !r.s.othersNone:
		out.Outcome, out.Reason = Errored, "the scenario expects nothing"
	case out.GetCounts().GetFailed() > 0 || len(out.GetOthers()) > 0:
		out.Outcome = Failed
	}
}

// others lists the outputs that left rest and that no expectation names, in the site's order.
func (r *playing) others() []*pb.OtherOutput {
	first := make([]uint64, len(r.s.named))
	for i, e := range r.d.Log().Since(0) {
		if e.Kind == drill.OutputOperated && e.Value != 0 && !r.s.named[e.Subject] && first[e.Subject] == 0 {
			first[e.Subject] = uint64(i + 1)
		}
	}
	var all []*pb.OtherOutput
	for o, event := range first {
		if event == 0 {
			continue
		}
		e := r.d.Log().Event(event)
		all = append(all, &pb.OtherOutput{
			Output: r.s.plan.In.Outputs[o].Label, AtS: inSeconds(e.At), State: stateWord(e.Value), Chain: r.chain(event),
		})
	}
	return all
}

// inSeconds is a time as reports print it: the float64 nearest to it, so that 1.872 s is not printed
// as 1.8719999999999999 (Duration.Seconds adds two roundings).
func inSeconds(d time.Duration) float64 { return float64(d) / float64(time.Second) }
