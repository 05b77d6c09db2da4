package service

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/script"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/verify"
)

var (
	verifyWork = &pb.Work{Kind: &pb.Work_Verify{Verify: &pb.VerifyWork{}}}
	playWork   = &pb.Work{Kind: &pb.Work_Play{Play: &pb.PlayWork{}}}
)

// fakeWork is work that waits for the test.
type fakeWork struct {
	started  chan struct{}
	progress chan [2]int
	finish   chan error
}

func newFakeWork() *fakeWork {
	return &fakeWork{started: make(chan struct{}, 10), progress: make(chan [2]int), finish: make(chan error)}
}

func (f *fakeWork) awaitStart() { <-f.started }

func (f *fakeWork) prepare(*site.Built, *pb.Work) (task, []*pb.Finding, error) {
	return func(ctx context.Context, progress func(done, total int)) (result, error) {
		f.started <- struct{}{}
		for {
			select {
			case p := <-f.progress:
				if p[0] < 0 {
					panic("broken")
				}
				progress(p[0], p[1])
			case err := <-f.finish:
				return result{verify: &pb.VerifyReport{Passed: err == nil}}, err
			case <-ctx.Done():
				return result{verify: &pb.VerifyReport{Interrupted: true}}, nil
			}
		}
	}, nil, nil
}

func (r *rig) createJob(id string, work *pb.Work) string {
	r.t.Helper()
	answer, err := r.jobs.CreateJob(r.t.Context(), &pb.CreateJobRequest{JobId: id, Files: kioskFiles(), Work: work})
	if err != nil {
		r.t.Fatal(err)
	}
	return answer.GetJob().GetName()
}

func (r *rig) watchJob(name string) pb.JobService_WatchJobClient {
	r.t.Helper()
	stream, err := r.jobs.WatchJob(r.t.Context(), &pb.WatchJobRequest{Name: name})
	if err != nil {
		r.t.Fatal(err)
	}
	return stream
}

// await reads a watch to its end and returns the last job it brought.
func (r *rig) await(stream pb.JobService_WatchJobClient) *pb.Job {
	r.t.Helper()
	var last *pb.Job
	for {
		part, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return last
		}
		if err != nil {
			r.t.Fatal(err)
		}
		if job := part.GetJob(); job.GetRevision() <= last.GetRevision() {
			r.t.Fatalf("revision %d follows %d", job.GetRevision(), last.GetRevision())
		}
		last = part.GetJob()
	}
}

// A job's report is the one that the same work gives without a server.
func TestReportsAreThoseOfLocalWork(t *testing.T) {
	r := newRig(t, nil)
	built, _ := site.Build(bundleOf(kioskFiles()))
	plan := built.Plan()
	v, err := verify.New(t.Context(), plan, built.Matrix)
	if err != nil {
		t.Fatal(err)
	}
	verified, err := v.Run(t.Context(), verify.Options{MatrixFile: built.MatrixFile})
	if err != nil {
		t.Fatal(err)
	}
	job := r.await(r.watchJob(r.createJob("v", verifyWork)))
	if job.GetState() != pb.JobState_JOB_STATE_DONE || job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_PASSED || job.GetDone() != uint64(v.Runs()) || job.GetTotal() != job.GetDone() {
		t.Errorf("the verification is %v", prototext.Format(job))
	}
	if !proto.Equal(job.GetVerifyReport(), verified) {
		t.Errorf("its report is %v, want %v", job.GetVerifyReport(), verified)
	}

	s, _ := script.Compile(plan, built.Scenarios[0].Message)
	played, err := script.Play(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	job = r.await(r.watchJob(r.createJob("p", playWork)))
	if got := job.GetPlayReport().GetScenarios(); job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_PASSED || len(got) != 1 || got[0].GetDigest() != played.GetDigest() {
		t.Errorf("the scenario is %v, want digest %s", prototext.Format(job), played.GetDigest())
	}
	if file := job.GetPlayReport().GetScenarios()[0].GetFile(); file != "kiosk/scenarios/smoke.scenario.yaml" {
		t.Errorf("its file is %q", file)
	}
	again, err := r.jobs.GetJob(t.Context(), &pb.GetJobRequest{Name: "jobs/v"})
	if err != nil || !proto.Equal(again.GetJob().GetVerifyReport(), verified) {
		t.Errorf("asked again, the report is %v, %v", again.GetJob().GetVerifyReport(), err)
	}
}

// What cannot be done is refused before a job is made.
func TestWorkIsRefused(t *testing.T) {
	r := newRig(t, nil)
	for missing, work := range map[string]*pb.Work{"files.matrix": verifyWork, "files.scenarios": playWork} {
		files := kioskFiles()
		files.Matrix, files.Scenarios = nil, nil
		_, err := r.jobs.CreateJob(t.Context(), &pb.CreateJobRequest{Files: files, Work: work})
		reason := map[string]string{"files.matrix": "MATRIX_MISSING", "files.scenarios": "SCENARIOS_MISSING"}[missing]
		field(t, want(t, err, codes.InvalidArgument, reason, "", ""), missing)
	}
	files := kioskFiles()
	files.Scenarios[0].Content = []byte("scenario: x\nsteps: [{at: 1s, smoke: {device: NOWHERE, level_pct_per_m: 8}}]\n")
	_, err := r.jobs.CreateJob(t.Context(), &pb.CreateJobRequest{Files: files, Work: playWork})
	field(t, want(t, err, codes.InvalidArgument, "SITE_REFUSED", "", ""), "steps[0].smoke.device")
}

// A watch begins with the job as it is, brings every later state in time, and ends with the
// result; one that begins late, or again, ends in the same way.
func TestWatchJob(t *testing.T) {
	work := newFakeWork()
	r := newRig(t, func(o *Options) { o.prepare = work.prepare })
	name := r.createJob("j", verifyWork)
	work.awaitStart()
	work.progress <- [2]int{3, 10}
	work.progress <- [2]int{4, 10}
	first := r.watchJob(name)
	part, err := first.Recv()
	for err == nil && part.GetJob().GetDone() < 4 {
		part, err = first.Recv()
	}
	if job := part.GetJob(); err != nil || job.GetState() != pb.JobState_JOB_STATE_RUNNING || job.GetTotal() != 10 || job.GetResult() != nil {
		t.Errorf("the watch brings %v, %v", job, err)
	}
	work.finish <- nil
	for _, stream := range []pb.JobService_WatchJobClient{first, r.watchJob(name)} {
		job := r.await(stream)
		if job.GetState() != pb.JobState_JOB_STATE_DONE || job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_PASSED || !job.GetVerifyReport().GetPassed() || job.GetEndTime() == nil {
			t.Errorf("the watch ends with %v", job)
		}
	}
}

// A cancelled job keeps what it found; a failed one says why; neither has a verdict. Deleting
// makes room.
func TestJobsEnd(t *testing.T) {
	work := newFakeWork()
	r := newRig(t, func(o *Options) {
		o.prepare = work.prepare
		o.Limits.Jobs, o.Limits.RunningJobs = 4, 1
	})
	ctx := t.Context()
	running := r.createJob("running", verifyWork)
	work.awaitStart() // which of two that wait together starts first is not said
	pending := r.createJob("pending", verifyWork)
	for _, name := range []string{pending, running} {
		if _, err := r.jobs.CancelJob(ctx, &pb.CancelJobRequest{Name: name}); err != nil {
			t.Fatal(err)
		}
		job := r.await(r.watchJob(name))
		if job.GetState() != pb.JobState_JOB_STATE_CANCELLED || job.GetVerdict() != pb.JobVerdict_JOB_VERDICT_UNSPECIFIED ||
			job.GetVerifyReport().GetInterrupted() != (name == running) {
			t.Errorf("cancelled, %s is %v", name, job)
		}
	}
	failing := r.createJob("failing", verifyWork)
	work.awaitStart()
	work.finish <- errors.New("out of luck")
	if job := r.await(r.watchJob(failing)); job.GetState() != pb.JobState_JOB_STATE_FAILED || job.GetReason() != "out of luck" {
		t.Errorf("failed, it is %v", job)
	}
	crashing := r.createJob("crashing", verifyWork)
	work.awaitStart()
	work.progress <- [2]int{-1, 0}
	if job := r.await(r.watchJob(crashing)); job.GetState() != pb.JobState_JOB_STATE_FAILED || r.logs.FilterMessage("job panicked").Len() != 1 {
		t.Errorf("crashed, it is %v", job)
	}

	_, err := r.jobs.CreateJob(ctx, &pb.CreateJobRequest{Files: kioskFiles(), Work: verifyWork})
	want(t, err, codes.ResourceExhausted, "LIMIT_REACHED", "limit", "jobs")
	list, err := r.jobs.ListJobs(ctx, &pb.ListJobsRequest{PageSize: 3})
	if err != nil || len(list.GetJobs()) != 3 || list.GetJobs()[0].GetName() != crashing || list.GetNextPageToken() == "" {
		t.Errorf("the first page is %v, %v", list, err)
	}
	if _, err := r.jobs.DeleteJob(ctx, &pb.DeleteJobRequest{Name: failing}); err != nil {
		t.Fatal(err)
	}
	_, err = r.jobs.GetJob(ctx, &pb.GetJobRequest{Name: failing})
	want(t, err, codes.NotFound, "NOT_FOUND", "name", failing)
	want(t, r.jobAgain("running"), codes.AlreadyExists, "NAME_TAKEN", "name", running)
	if err := r.jobAgain("failing"); err != nil {
		t.Error(err)
	}
}

func (r *rig) jobAgain(id string) error {
	_, err := r.jobs.CreateJob(r.t.Context(), &pb.CreateJobRequest{JobId: id, Files: kioskFiles(), Work: verifyWork})
	return err
}

// A result that is too large, or for which there is no room, fails its job; what jobs used is
// given back.
func TestLimitsOnResults(t *testing.T) {
	for limit, set := range map[string]func(*Limits){
		"result_bytes": func(l *Limits) { l.ResultBytes = 500 },
		"results":      func(l *Limits) { l.Results = 500 },
	} {
		r := newRig(t, func(o *Options) { set(&o.Limits) })
		name := r.createJob("v", verifyWork)
		last := r.await(r.watchJob(name))
		if last.GetState() != pb.JobState_JOB_STATE_FAILED || last.GetResult() != nil || !strings.Contains(last.GetReason(), "limit "+limit+" of 500") {
			t.Errorf("%s: the job is %v", limit, last)
		}
		if _, err := r.jobs.DeleteJob(t.Context(), &pb.DeleteJobRequest{Name: name}); err != nil {
			t.Fatal(err)
		}
		if c := r.server.jobs.core; c.jobs.used.Load() != 0 || c.points.used.Load() != 0 || c.results.used.Load() != 0 {
			t.Errorf("%s: still charged: %d jobs, %d points, %d bytes", limit, c.jobs.used.Load(), c.points.used.Load(), c.results.used.Load())
		}
	}
}
