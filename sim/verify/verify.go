// Package verify proves a required matrix against simulated runs: every smallest way in which
// each row's condition can arise, the required course of every output, the silence and the reset
// that follow.
//
// A run is simulated once, from a quiescent panel, and judged for all rows that are true in it.
// Which rows those are is worked out from the confirmed readings in the log, never through the
// panel's program. The worst polling phase is tried for each signal of a way: just after a
// sample of its device, in a round after the first.
//
// Left out: faults of the installation. Facts that are no device signals (modes, controls,
// disablements, faults) hold in a row's runs as its `given` says, else as on a healthy panel.
//
// Validated by sites whose verdicts are known, by mutants of the demo's program, and by the
// computed worst case against ten thousand phases.
package verify

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Options are the choices of one verification.
type Options struct {
	Workers    int                     // runs simulated at once; 0: one for each processor
	Progress   func(done, total int)   // called after each run, never twice at once
	Inspect    func(i int, run Record) // called in order for every run; for tests and `why`
	MatrixFile string                  // path of the matrix, for positions in the report
	Errors     int                     // findings in the files that count as errors: with any the report fails
}

// Verifier is a site and its matrix, made ready to verify.
type Verifier struct {
	plan  *drill.Plan
	m     *matrix.Matrix
	runs  []*run
	rows  []rowPlan
	bases map[string]*drill.Drill // settled drills by the text of `given`
	watch watch
	index factIndex
	mode  int32 // in which the panel begins

	outputColumns [][]int32 // output -> columns that stand for it
	digests       bool      // records carry the digest of their log
}

// rowPlan is what is to be done for one row.
type rowPlan struct {
	ways    int
	errored *pb.Finding
}

// New enumerates the runs of a matrix. A row that cannot be judged is errored, never left out.
// When ctx ends, its error is returned.
func New(ctx context.Context, plan *drill.Plan, m *matrix.Matrix) (*Verifier, error) {
	return newLimited(ctx, plan, m, maxRuns)
}

// newLimited is New with another limit of runs.
func newLimited(ctx context.Context, plan *drill.Plan, m *matrix.Matrix, limit int) (*Verifier, error) {
	v := &Verifier{plan: plan, m: m, bases: map[string]*drill.Drill{}, rows: make([]rowPlan, len(m.Rows))}
	v.index = indexFacts(m)
	if drill.New(plan, 0).Fact(term.Fact{Kind: term.PanelMode, Value: term.Night}) {
		v.mode = term.Night
	}
	v.outputColumns = make([][]int32, len(plan.In.Outputs))
	for c := range m.Columns {
		for _, o := range m.Columns[c].Outputs {
			v.outputColumns[o] = append(v.outputColumns[o], int32(c))
		}
	}
	if err := v.enumerate(ctx, limit); err != nil {
		return nil, err
	}
	v.watch = v.watchTimes()
	for _, r := range v.runs {
		if _, ok := v.bases[r.givenKey]; ok {
			continue
		}
		base, err := v.base(r.given)
		if err != nil {
			return nil, fmt.Errorf("settling the panel with %q: %w", r.givenKey, err)
		}
		v.bases[r.givenKey] = base
	}
	v.errTrueAtRest()
	return v, nil
}

// Runs is the number of distinct runs.
func (v *Verifier) Runs() int { return len(v.runs) }

// Run verifies everything. When ctx ends, the report covers the runs done so far and says that
// it was interrupted; the error is nil.
func (v *Verifier) Run(ctx context.Context, opt Options) (*pb.VerifyReport, error) {
	workers := opt.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	workers = max(1, min(workers, len(v.runs)))
	v.digests = opt.Inspect != nil
	tally := newTally(v, opt.MatrixFile)
	results := make(chan *verdicts, workers)
	next := make(chan int)
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			w := v.newWorker()
			for i := range next {
				results <- w.judge(i)
			}
		})
	}
	go func() {
		defer close(next)
		for i := range v.runs {
			select {
			case next <- i:
			case <-ctx.Done():
				return
			}
		}
	}()
	go func() { group.Wait(); close(results) }()

	waiting := map[int]*verdicts{}
	turn, done := 0, 0
	for r := range results {
		waiting[r.run] = r
		for ; waiting[turn] != nil; turn++ {
			tally.add(waiting[turn])
			if opt.Inspect != nil {
				opt.Inspect(turn, v.record(waiting[turn]))
			}
			delete(waiting, turn)
		}
		if done++; opt.Progress != nil {
			opt.Progress(done, len(v.runs))
		}
	}
	for i := range v.runs { // after an interruption results may have gaps
		if r := waiting[i]; r != nil {
			tally.add(r)
		}
	}
	report := tally.report(done < len(v.runs))
	report.FindingsErrors = int32(opt.Errors)
	report.Passed = report.GetPassed() && opt.Errors == 0
	return report, nil
}

// Record is what one run came to, for tests and for `why`.
type Record struct {
	Text    string // the way, as reports show it
	Rows    []string
	Digest  string // of the run's log
	Outside string // of the log without the program's own works: what two programs may be compared by
	Failed  bool
	Timings []Timing
}

// Timing is one output's observed and computed response in one run.
type Timing struct {
	Output          int32
	Observed, Bound time.Duration
}

func (v *Verifier) record(r *verdicts) Record {
	out := Record{Text: r.text, Digest: r.digest, Outside: r.outside, Failed: r.failed, Timings: r.timings}
	for _, row := range v.runs[r.run].rows {
		out.Rows = append(out.Rows, v.m.Rows[row].Cause)
	}
	return out
}
