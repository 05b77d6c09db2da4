package service

import (
	"context"

	"go.uber.org/zap"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

// core is what the services share.
type core struct {
	limits  Limits
	log     *zap.Logger
	metrics *Metrics
	builds  chan struct{} // one token for each site that may be compiled now

	drills, points, acts, events, advances, watchers, jobs, results *budget
}

func newCore(limits Limits, log *zap.Logger, metrics *Metrics) *core {
	return &core{
		limits: limits, log: log, metrics: metrics, builds: make(chan struct{}, limits.Builds),
		drills: newBudget("drills", limits.Drills), points: newBudget("points", limits.Points), acts: newBudget("acts", limits.Acts), events: newBudget("events", limits.Events),
		advances: newBudget("advances", limits.Advances), watchers: newBudget("watchers", limits.Watchers), jobs: newBudget("jobs", limits.Jobs),
		results: newBudget("results", limits.Results),
	}
}

// charge charges what a drill or a snapshot keeps, apart from its log, to the limits.
func (c *core) charge(d *drill.Drill) error {
	if err := c.points.take(len(d.Plan().In.Points)); err != nil {
		return err
	}
	if err := c.acts.take(len(d.Journal())); err != nil {
		c.points.give(len(d.Plan().In.Points))
		return err
	}
	return nil
}

// refund gives back what charge took, and what acts entered since took.
func (c *core) refund(d *drill.Drill) {
	c.points.give(len(d.Plan().In.Points))
	c.acts.give(len(d.Journal()))
}

// build compiles files. It waits for its turn: compiling the largest site takes much memory. A
// site that is refused comes back with its findings and no error.
func (c *core) build(ctx context.Context, files *pb.SiteFiles) (*site.Built, []*pb.Finding, error) {
	if n := len(files.GetScenarios()); n > c.limits.Files.Scenarios {
		return nil, nil, beyond("files.scenarios", "scenarios", c.limits.Files.Scenarios)
	}
	leave, err := c.enter(ctx)
	if err != nil {
		return nil, nil, err
	}
	defer leave()
	built, findings := c.limits.Files.Build(bundleOf(files))
	return built, findings, nil
}

// enter waits for one of the places at which files are worked on; leave gives it back.
func (c *core) enter(ctx context.Context) (leave func(), err error) {
	select {
	case c.builds <- struct{}{}:
		return func() { <-c.builds }, nil
	case <-ctx.Done():
		return nil, tooLate(ctx.Err())
	}
}

// usable compiles files and refuses those that cannot be used.
func (c *core) usable(ctx context.Context, files *pb.SiteFiles) (*site.Built, error) {
	built, findings, err := c.build(ctx, files)
	if err != nil {
		return nil, err
	}
	if refuses(findings) {
		return nil, unusable(findings)
	}
	return built, nil
}

func bundleOf(files *pb.SiteFiles) site.Bundle {
	file := func(f *pb.SourceFile) site.File { return site.File{Path: f.GetPath(), Data: f.GetContent()} }
	b := site.Bundle{Site: file(files.GetSite())}
	if files.GetMatrix() != nil {
		matrix := file(files.GetMatrix())
		b.Matrix = &matrix
	}
	for _, f := range files.GetScenarios() {
		b.Scenarios = append(b.Scenarios, file(f))
	}
	return b
}

// watch opens a watch, within the limit; close ends it.
func (c *core) watch() (closed func(), err error) {
	if err := c.watchers.take(1); err != nil {
		return nil, err
	}
	c.metrics.watchers.Inc()
	return func() {
		c.watchers.give(1)
		c.metrics.watchers.Dec()
	}, nil
}
