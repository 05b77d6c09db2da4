package service

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strconv"
	"sync"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// errCancelled is why the context of a cancelled job ends.
var errCancelled = errors.New("cancelled")

// job is one piece of long work. Its own goroutine does it; everybody else reads messages.
type job struct {
	cancel context.CancelCauseFunc
	ended  chan struct{} // closed when its goroutine has ended
	points int           // addressed devices of its site, charged until it is over
	size   int           // bytes of its result, charged; set before ended is closed

	mu       sync.Mutex
	bare     *pb.Job // without findings and result
	findings []*pb.Finding
	result   result
	changed  chan struct{} // closed when there is something new
	gone     error         // why watches end without a result: deleted, or the server stops
}

// update changes the job and wakes its watchers. A job that is over stays as it is.
func (j *job) update(m *Metrics, change func(*pb.Job)) {
	j.mu.Lock()
	defer j.mu.Unlock()
	before := j.bare.GetState()
	if over(before) {
		return
	}
	next := proto.CloneOf(j.bare)
	change(next)
	next.Revision++
	j.bare = next
	if before != next.GetState() {
		m.jobs.WithLabelValues(jobStates[before]).Dec()
		m.jobs.WithLabelValues(jobStates[next.GetState()]).Inc()
	}
	j.wake()
}

func (j *job) wake() {
	close(j.changed)
	j.changed = make(chan struct{})
}

// end makes watches end, whatever state the job is in.
func (j *job) end(reason error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.gone = reason
	j.wake()
}

// now returns the job, with findings and result if full or if it is over, and a channel that is
// closed once there is something newer.
func (j *job) now(full bool) (m *pb.Job, changed <-chan struct{}, gone error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	m = proto.CloneOf(j.bare)
	if full || over(m.GetState()) {
		m.Findings = j.findings
		switch {
		case j.result.verify != nil:
			m.Result = &pb.Job_VerifyReport{VerifyReport: j.result.verify}
		case j.result.play != nil:
			m.Result = &pb.Job_PlayReport{PlayReport: j.result.play}
		case j.result.diff != nil:
			m.Result = &pb.Job_DiffReport{DiffReport: j.result.diff}
		}
	}
	return m, j.changed, j.gone
}

// over reports whether a job changes no more.
func over(s pb.JobState) bool {
	return s == pb.JobState_JOB_STATE_DONE || s == pb.JobState_JOB_STATE_FAILED || s == pb.JobState_JOB_STATE_CANCELLED
}

// work waits for a worker and does the job. turns has one token for each job that may run.
func (j *job) work(ctx context.Context, c *core, turns chan struct{}, do task) {
	defer close(j.ended)
	defer c.points.give(j.points)
	select {
	case turns <- struct{}{}:
		defer func() { <-turns }()
	case <-ctx.Done():
		j.finish(ctx, c, result{}, nil)
		return
	}
	j.update(c.metrics, func(m *pb.Job) {
		m.State, m.StartTime = pb.JobState_JOB_STATE_RUNNING, timestamppb.Now()
	})
	c.log.Info("job started", zap.String("job", j.name()))
	got, err := j.attempt(ctx, c, do)
	j.finish(ctx, c, got, err)
}

func (j *job) name() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.bare.GetName()
}

// attempt does the task. A panic, which can only be a broken invariant, fails the job.
func (j *job) attempt(ctx context.Context, c *core, do task) (got result, err error) {
	defer func() {
		if cause := recover(); cause != nil {
			c.log.Error("job panicked", zap.String("job", j.name()), zap.String("cause", fmt.Sprint(cause)), zap.String("stack", string(debug.Stack())))
			err = errors.New("the bench broke one of its invariants: please report it with the files")
		}
	}()
	return do(ctx, func(done, total int) {
		j.update(c.metrics, func(m *pb.Job) { m.Done, m.Total = uint64(done), uint64(total) })
	})
}

// finish stores what came of the job.
func (j *job) finish(ctx context.Context, c *core, got result, err error) {
	size := proto.Size(got.verify) + proto.Size(got.play) + proto.Size(got.diff)
	if size > c.limits.ResultBytes*9/10 { // the rest is for findings and the job itself
		got, err, size = result{}, errors.New("the result is larger than the server's limit result_bytes of "+strconv.Itoa(c.limits.ResultBytes)), 0
	} else if full := c.results.take(size); full != nil {
		got, err, size = result{}, full, 0
	}
	j.size = size
	j.mu.Lock()
	j.result = got
	errored := finding.Worst(j.findings) >= pb.Severity_SEVERITY_ERROR
	j.mu.Unlock()
	j.update(c.metrics, func(m *pb.Job) {
		m.EndTime = timestamppb.New(time.Now())
		switch {
		case ctx.Err() != nil:
			m.State, m.Reason = pb.JobState_JOB_STATE_CANCELLED, context.Cause(ctx).Error()
		case err != nil:
			m.State, m.Reason = pb.JobState_JOB_STATE_FAILED, status.Convert(err).Message()
		case got.passed() && !errored:
			m.State, m.Verdict = pb.JobState_JOB_STATE_DONE, pb.JobVerdict_JOB_VERDICT_PASSED
		default:
			m.State, m.Verdict = pb.JobState_JOB_STATE_DONE, pb.JobVerdict_JOB_VERDICT_FAILED
		}
	})
	m, _, _ := j.now(false)
	c.log.Info("job ended", zap.String("job", m.GetName()), zap.Stringer("state", m.GetState()), zap.Stringer("verdict", m.GetVerdict()), zap.String("reason", m.GetReason()))
}
