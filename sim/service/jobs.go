package service

import (
	"context"
	"sync"

	"go.uber.org/zap"
	"google.golang.org/protobuf/types/known/timestamppb"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// jobServer is JobService.
type jobServer struct {
	pb.UnimplementedJobServiceServer
	*core
	prepare prepare
	turns   chan struct{} // one token for each job that may run now

	mu      sync.Mutex
	byName  map[string]*job
	stopped bool
}

func newJobServer(c *core, p prepare) *jobServer {
	return &jobServer{core: c, prepare: p, turns: make(chan struct{}, c.limits.RunningJobs), byName: map[string]*job{}}
}

func (s *jobServer) find(name string) (*job, error) {
	if err := checkName("name", name, "jobs"); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	j, ok := s.byName[name]
	if !ok {
		return nil, notFound(name)
	}
	return j, nil
}

// CreateJob makes work ready and hands it to a worker.
func (s *jobServer) CreateJob(ctx context.Context, req *pb.CreateJobRequest) (*pb.CreateJobResponse, error) {
	name := jobName(orNewID(req.GetJobId()))
	if err := s.free(name); err != nil { // before the costly part
		return nil, err
	}
	built, findings, err := s.build(ctx, req.GetFiles())
	if err != nil {
		return nil, err
	}
	if refuses(findings) {
		return nil, unusable(findings)
	}
	do, more, points, err := s.ready(ctx, built, req.GetWork())
	if err != nil {
		return nil, err
	}
	if findings = append(findings, more...); refuses(findings) {
		return nil, unusable(findings)
	}
	finding.Sort(findings)
	// The work outlives the request that asks for it.
	work, cancel := context.WithCancelCause(context.WithoutCancel(ctx))
	j := &job{
		cancel: cancel, ended: make(chan struct{}), changed: make(chan struct{}), points: points,
		findings: findings[:min(len(findings), s.limits.Files.Findings)],
		bare: &pb.Job{
			Name: name, Site: built.Site.GetSite(), Work: withoutFiles(req.GetWork()), State: pb.JobState_JOB_STATE_PENDING,
			Revision: 1, CreateTime: timestamppb.Now(),
		},
	}
	if err := s.admit(name, j); err != nil {
		cancel(err)
		return nil, err
	}
	s.log.Info("job created", zap.String("job", name), zap.String("site", built.Site.GetSite()), requestID(ctx))
	m, _, _ := j.now(true)
	go j.work(work, s.core, s.turns, do)
	return &pb.CreateJobResponse{Job: m}, nil
}

// ready makes work ready, and says how many points it holds in memory. A comparison needs a second site.
func (s *jobServer) ready(ctx context.Context, built *site.Built, work *pb.Work) (task, []*pb.Finding, int, error) {
	points := len(built.Installation.Points)
	compare, isDiff := work.GetKind().(*pb.Work_Diff)
	if !isDiff {
		do, findings, err := s.prepare(built, work)
		return do, findings, points, err
	}
	if compare.Diff.GetOld() == nil {
		return nil, nil, 0, badField("work.diff.old", "OLD_MISSING", "a comparison needs the files of the older site")
	}
	old, findings, err := s.build(ctx, compare.Diff.GetOld())
	if err != nil {
		return nil, nil, 0, err
	}
	if refuses(findings) {
		return nil, findings, 0, nil
	}
	return diffTask(old, built, compare.Diff), nil, points + len(old.Installation.Points), nil
}

// free reports whether a job may have this name.
func (s *jobServer) free(name string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.taken(name)
}

func (s *jobServer) taken(name string) error {
	if s.stopped {
		return stopping()
	}
	if _, taken := s.byName[name]; taken {
		return exists(name)
	}
	return nil
}

func (s *jobServer) admit(name string, j *job) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.taken(name); err != nil {
		return err
	}
	if err := s.jobs.take(1); err != nil {
		return err
	}
	if err := s.points.take(j.points); err != nil {
		s.jobs.give(1)
		return err
	}
	s.byName[name] = j
	s.metrics.jobs.WithLabelValues(jobStates[j.bare.GetState()]).Inc()
	return nil
}

// GetJob returns a job with its result.
func (s *jobServer) GetJob(_ context.Context, req *pb.GetJobRequest) (*pb.GetJobResponse, error) {
	j, err := s.find(req.GetName())
	if err != nil {
		return nil, err
	}
	m, _, _ := j.now(true)
	return &pb.GetJobResponse{Job: m}, nil
}

// ListJobs lists jobs without results.
func (s *jobServer) ListJobs(_ context.Context, req *pb.ListJobsRequest) (*pb.ListJobsResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	names := make([]string, 0, len(s.byName))
	for name := range s.byName {
		names = append(names, name)
	}
	picked, next, err := page(names, req.GetPageSize(), req.GetPageToken())
	if err != nil {
		return nil, err
	}
	out := &pb.ListJobsResponse{NextPageToken: next}
	for _, name := range picked {
		m, _, _ := s.byName[name].now(true)
		m.Findings, m.Result = nil, nil
		out.Jobs = append(out.Jobs, m)
	}
	return out, nil
}

// WatchJob streams a job until it is over.
func (s *jobServer) WatchJob(req *pb.WatchJobRequest, stream pb.JobService_WatchJobServer) error {
	j, err := s.find(req.GetName())
	if err != nil {
		return err
	}
	closed, err := s.watch()
	if err != nil {
		return err
	}
	defer closed()
	for {
		m, changed, gone := j.now(false)
		if gone != nil && !over(m.GetState()) {
			return gone
		}
		if err := stream.Send(&pb.WatchJobResponse{Job: m}); err != nil {
			return err
		}
		if over(m.GetState()) {
			return nil
		}
		select {
		case <-changed:
		case <-stream.Context().Done():
			return tooLate(stream.Context().Err())
		}
	}
}

// CancelJob asks a job to stop.
func (s *jobServer) CancelJob(ctx context.Context, req *pb.CancelJobRequest) (*pb.CancelJobResponse, error) {
	j, err := s.find(req.GetName())
	if err != nil {
		return nil, err
	}
	j.cancel(errCancelled)
	s.log.Info("job cancelled", zap.String("job", req.GetName()), requestID(ctx))
	m, _, _ := j.now(true)
	return &pb.CancelJobResponse{Job: m}, nil
}

// DeleteJob cancels a job and forgets it. It waits for the work to end, as far as the request's
// time goes: then what the job used is free when the answer comes.
func (s *jobServer) DeleteJob(ctx context.Context, req *pb.DeleteJobRequest) (*pb.DeleteJobResponse, error) {
	if err := checkName("name", req.GetName(), "jobs"); err != nil {
		return nil, err
	}
	s.mu.Lock()
	j, ok := s.byName[req.GetName()]
	delete(s.byName, req.GetName())
	s.mu.Unlock()
	if !ok {
		return nil, notFound(req.GetName())
	}
	j.cancel(errCancelled)
	j.end(notFound(req.GetName()))
	freed := make(chan struct{})
	go func() {
		defer close(freed)
		<-j.ended
		m, _, _ := j.now(false)
		s.jobs.give(1)
		s.results.give(j.size)
		s.metrics.jobs.WithLabelValues(jobStates[m.GetState()]).Dec()
	}()
	select {
	case <-freed:
	case <-ctx.Done():
	}
	s.log.Info("job deleted", zap.String("job", req.GetName()), requestID(ctx))
	return &pb.DeleteJobResponse{}, nil
}

// stop cancels all jobs, ends their watches and waits for their goroutines, or for ctx.
func (s *jobServer) stop(ctx context.Context) {
	s.mu.Lock()
	s.stopped = true
	jobs := make([]*job, 0, len(s.byName))
	for _, j := range s.byName {
		jobs = append(jobs, j)
	}
	s.mu.Unlock()
	for _, j := range jobs {
		j.end(stopping())
		j.cancel(stopping())
	}
	for _, j := range jobs {
		select {
		case <-j.ended:
		case <-ctx.Done():
			return
		}
	}
}
