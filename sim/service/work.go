package service

import (
	"context"
	"errors"
	"fmt"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/script"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/verify"
)

// task is work made ready. It tells its progress from one goroutine at a time. When ctx ends it
// returns what it has so far.
type task func(ctx context.Context, progress func(done, total int)) (result, error)

// result is what came of a task: one of the reports.
type result struct {
	verify *pb.VerifyReport
	play   *pb.PlayReport
	diff   *pb.DiffReport
}

func (r result) passed() bool { return r.verify.GetPassed() || r.play.GetPassed() || r.diff.GetSame() }

// prepare makes the work of a job ready. Findings that refuse mean that it cannot be done. It is
// the seam at which tests put work that waits for them.
type prepare func(built *site.Built, work *pb.Work) (task, []*pb.Finding, error)

// prepareWork is the prepare of the product.
func prepareWork(built *site.Built, work *pb.Work) (task, []*pb.Finding, error) {
	switch work.GetKind().(type) {
	case *pb.Work_Verify:
		if built.Matrix == nil {
			return nil, nil, badField("files.matrix", "MATRIX_MISSING", "a verification needs the required matrix")
		}
		return verifyTask(built), nil, nil
	case *pb.Work_Play:
		if len(built.Scenarios) == 0 {
			return nil, nil, badField("files.scenarios", "SCENARIOS_MISSING", "there is no scenario to play")
		}
		play, findings := playTask(built, work.GetPlay())
		return play, findings, nil
	}
	return nil, nil, badField("work", "WORK_UNKNOWN", "this server does not know the kind of work")
}

func verifyTask(built *site.Built) task {
	return func(ctx context.Context, progress func(done, total int)) (result, error) {
		v, err := verify.New(ctx, built.Plan(), built.Matrix)
		if err != nil {
			return result{}, fmt.Errorf("preparing the verification: %w", err)
		}
		progress(0, v.Runs())
		report, err := v.Run(ctx, verify.Options{MatrixFile: built.MatrixFile, Errors: built.Errors, Progress: progress})
		return result{verify: report}, err
	}
}

// playTask compiles every scenario; findings stand in their files.
func playTask(built *site.Built, work *pb.PlayWork) (task, []*pb.Finding) {
	plan := built.Plan()
	scripts := make([]*script.Script, len(built.Scenarios))
	var all []*pb.Finding
	for i, s := range built.Scenarios {
		compiled, findings := script.Compile(plan, s.Message)
		s.Index.Place(findings)
		scripts[i] = compiled
		all = append(all, findings...)
	}
	finding.Sort(all)
	return func(ctx context.Context, progress func(done, total int)) (result, error) {
		play, covered := script.Play, (*script.Coverage)(nil)
		if work.GetCoverage() {
			covered = script.NewCoverage(plan, built.Site)
			play = covered.Play
		}
		var reports []*pb.ScenarioReport
		for i, s := range scripts {
			progress(i, len(scripts))
			report, err := play(ctx, s)
			if err != nil && ctx.Err() != nil && errors.Is(err, ctx.Err()) {
				break
			}
			if err != nil {
				return result{}, fmt.Errorf("playing %q: %w", s.Name(), err)
			}
			script.Place(report, built.Scenarios[i].Index)
			reports = append(reports, report)
		}
		progress(len(reports), len(scripts))
		out := script.Report(built.Site.GetSite(), reports, len(reports) < len(scripts))
		if covered != nil {
			out.Coverage = covered.Report(built.Index)
		}
		return result{play: out}, nil
	}, all
}
