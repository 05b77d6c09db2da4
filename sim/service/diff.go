package service

import (
	"context"
	"fmt"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/diff"
	"loopdrill.dev/loopdrill/sim/site"
)

// diffTask compares two sites. A comparison that is cancelled has no result: what it has not looked at yet
// would count as the same.
func diffTask(old, changed *site.Built, work *pb.DiffWork) task {
	return func(ctx context.Context, progress func(done, total int)) (result, error) {
		report, err := diff.Compare(ctx, old, changed, diff.Options{Retest: work.GetRetest(), Progress: func(runs int) { progress(runs, 0) }})
		switch {
		case ctx.Err() != nil:
			return result{}, ctx.Err()
		case err != nil:
			return result{}, fmt.Errorf("comparing the sites: %w", err)
		}
		progress(int(report.GetCounts().GetRuns()), int(report.GetCounts().GetRuns()))
		return result{diff: report}, nil
	}
}

// withoutFiles is what a job says of its work: the files of an older site stay with whoever sent them.
func withoutFiles(work *pb.Work) *pb.Work {
	if compare, ok := work.GetKind().(*pb.Work_Diff); ok {
		return &pb.Work{Kind: &pb.Work_Diff{Diff: &pb.DiffWork{Retest: compare.Diff.GetRetest()}}}
	}
	return work
}
