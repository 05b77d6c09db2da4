package service

import (
	"bytes"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/diff"
	"loopdrill.dev/loopdrill/sim/site"
)

// diffJob makes a comparison of the kiosk with an older site.
func (r *rig) diffJob(old *pb.SiteFiles, retest bool) (*pb.Job, error) {
	answer, err := r.jobs.CreateJob(r.t.Context(), &pb.CreateJobRequest{Files: kioskFiles(), Work: &pb.Work{Kind: &pb.Work_Diff{Diff: &pb.DiffWork{Old: old, Retest: retest}}}})
	return answer.GetJob(), err
}

// A comparison as a job reports what it does without a server; a site passes if it does the same.
func TestDiffJob(t *testing.T) {
	r := newRig(t, nil)
	same, err := r.diffJob(kioskFiles(), false)
	if err != nil {
		t.Fatal(err)
	}
	if job := r.await(r.watchJob(same.GetName())); job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_PASSED || !job.GetDiffReport().GetSame() {
		t.Errorf("the kiosk beside itself: %v", prototext.Format(job))
	}

	old := kioskFiles()
	old.Matrix, old.Scenarios = nil, nil
	changed := bytes.Replace(old.GetSite().GetContent(), []byte("smoke_detector: {}"), []byte("smoke_detector: {alarm_pct_per_m: 2}"), 1)
	if bytes.Equal(changed, old.GetSite().GetContent()) {
		t.Fatal("the kiosk has no smoke detector")
	}
	old.Site.Content = changed
	made, err := r.diffJob(old, true)
	if err != nil {
		t.Fatal(err)
	}
	if made.GetWork().GetDiff().GetOld() != nil {
		t.Error("the job carries the older site's files")
	}
	job := r.await(r.watchJob(made.GetName()))
	before, _ := site.Build(bundleOf(old))
	now, _ := site.Build(bundleOf(kioskFiles()))
	want, err := diff.Compare(t.Context(), before, now, diff.Options{Retest: true})
	if err != nil {
		t.Fatal(err)
	}
	if job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_FAILED || job.GetDiffReport().GetSame() || !proto.Equal(job.GetDiffReport(), want) {
		t.Errorf("the report is %v, want %v", job.GetDiffReport(), want)
	}
}

// An older site that is missing or refused refuses the job.
func TestDiffJobRefused(t *testing.T) {
	r := newRig(t, nil)
	if _, err := r.diffJob(nil, false); status.Code(err) != codes.InvalidArgument {
		t.Errorf("without an older site: %v", err)
	}
	bad := kioskFiles()
	bad.Site.Content = []byte("site: [")
	if _, err := r.diffJob(bad, false); status.Code(err) != codes.InvalidArgument {
		t.Errorf("with an older site that cannot be read: %v", err)
	}
}
