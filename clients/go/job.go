package client

import (
	"context"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// cancelTime is how long a job is given to end after the caller has had enough.
const cancelTime = 10 * time.Second

// RunJob gives the server work and waits for its end; progress, which may be nil, is called with
// what is done and the whole. The job is deleted afterwards. When ctx ends first the job is
// cancelled, and what was found so far comes back together with ctx's error.
func (c *Client) RunJob(ctx context.Context, files *pb.SiteFiles, work *pb.Work, progress func(done, total uint64)) (*pb.Job, error) {
	created, err := c.Jobs.CreateJob(ctx, &pb.CreateJobRequest{Files: files, Work: work})
	if err != nil {
		return nil, err
	}
	name := created.GetJob().GetName()
	job, err := c.AwaitJob(ctx, name, progress)
	// The job is tidied away whatever became of ctx.
	rest, cancel := context.WithTimeout(context.WithoutCancel(ctx), cancelTime)
	defer cancel()
	if err != nil && ctx.Err() != nil {
		if _, failed := c.Jobs.CancelJob(rest, &pb.CancelJobRequest{Name: name}); failed == nil {
			job, _ = c.AwaitJob(rest, name, nil)
		}
		err = ctx.Err()
	}
	if job != nil {
		_, _ = c.Jobs.DeleteJob(rest, &pb.DeleteJobRequest{Name: name}) // the result is here: a job left behind is only untidy
	}
	return job, err
}

// AwaitJob watches a job to its end and returns it with its result. A watch that breaks is begun
// again.
func (c *Client) AwaitJob(ctx context.Context, name string, progress func(done, total uint64)) (*pb.Job, error) {
	var last uint64 // revision
	for idle := 0; ; {
		before := last
		job, err := c.watchJob(ctx, name, &last, progress)
		if err == nil {
			return job, nil
		}
		if idle++; last > before {
			idle = 0
		}
		if status.Code(err) != codes.Unavailable || ctx.Err() != nil || idle >= attempts {
			return nil, err
		}
	}
}

// watchJob watches until the job is over.
func (c *Client) watchJob(ctx context.Context, name string, last *uint64, progress func(done, total uint64)) (*pb.Job, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := c.Jobs.WatchJob(ctx, &pb.WatchJobRequest{Name: name})
	if err != nil {
		return nil, err
	}
	for {
		part, err := stream.Recv()
		if err != nil {
			return nil, err
		}
		job := part.GetJob()
		if progress != nil && job.GetRevision() > *last {
			progress(job.GetDone(), job.GetTotal())
		}
		*last = max(*last, job.GetRevision())
		switch job.GetState() {
		case pb.JobState_JOB_STATE_DONE, pb.JobState_JOB_STATE_FAILED, pb.JobState_JOB_STATE_CANCELLED:
			return job, nil
		}
	}
}
