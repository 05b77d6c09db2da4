package service

import (
	"context"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"loopdrill.dev/loopdrill/logic/panel"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// drillServer is DrillService.
type drillServer struct {
	pb.UnimplementedDrillServiceServer
	*core

	mu      sync.Mutex
	keepers map[string]*keeper
	stopped bool
}

func newDrillServer(c *core) *drillServer {
	s := &drillServer{core: c, keepers: map[string]*keeper{}}
	s.retarget()
	return s
}

// find returns the keeper of a drill.
func (s *drillServer) find(field, name string) (*keeper, error) {
	if err := checkName(field, name, "drills"); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	k, ok := s.keepers[name]
	if !ok {
		return nil, notFound(name)
	}
	return k, nil
}

// free reports whether a drill may have this name.
func (s *drillServer) free(name string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.taken(name)
}

func (s *drillServer) taken(name string) error {
	if s.stopped {
		return stopping()
	}
	if _, taken := s.keepers[name]; taken {
		return exists(name)
	}
	return nil
}

// admit starts a keeper for a drill that nobody else knows yet, within the limits. The events
// that a fork inherits are charged to it too: it keeps them when its parent is deleted.
func (s *drillServer) admit(about about, d *drill.Drill, inherited int) (*keeper, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.taken(about.name); err != nil {
		return nil, err
	}
	if err := s.drills.take(1); err != nil {
		return nil, err
	}
	if err := s.charge(d); err != nil {
		s.drills.give(1)
		return nil, err
	}
	if err := s.events.take(inherited); err != nil {
		s.drills.give(1)
		s.refund(d)
		return nil, err
	}
	k := newKeeper(s.core, about, d, inherited)
	s.keepers[about.name] = k
	s.retarget()
	return k, nil
}

// remove takes a drill out of the list; the caller closes its keeper.
func (s *drillServer) remove(name string) (*keeper, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	k, ok := s.keepers[name]
	if !ok {
		return nil, notFound(name)
	}
	delete(s.keepers, name)
	s.retarget()
	return k, nil
}

// retarget shows the strictest target of all drills.
func (s *drillServer) retarget() {
	detector, callPoint := defaultTarget, defaultTarget
	first := true
	for _, k := range s.keepers {
		t := k.plan.In.Targets
		if first {
			detector, callPoint, first = t.Detector, t.CallPoint, false
		}
		detector, callPoint = min(detector, t.Detector), min(callPoint, t.CallPoint)
	}
	s.metrics.target.WithLabelValues(signalDetector).Set(detector.Seconds())
	s.metrics.target.WithLabelValues(signalCallPoint).Set(callPoint.Seconds())
}

// defaultTarget is shown while there is no drill (NFPA 72 10.11.1, EN 54-2 7.1, from memory).
const defaultTarget = 10 * time.Second

// stop ends every drill.
func (s *drillServer) stop() {
	s.mu.Lock()
	s.stopped = true
	keepers := s.keepers
	s.keepers = map[string]*keeper{}
	s.mu.Unlock()
	for _, k := range keepers {
		k.close(stopping())
	}
}

// CreateDrill compiles the files and makes a drill.
func (s *drillServer) CreateDrill(ctx context.Context, req *pb.CreateDrillRequest) (*pb.CreateDrillResponse, error) {
	name := drillName(orNewID(req.GetDrillId()))
	if err := s.free(name); err != nil { // before the costly part
		return nil, err
	}
	built, err := s.usable(ctx, req.GetFiles())
	if err != nil {
		return nil, err
	}
	about := about{name: name, site: built.Site.GetSite(), title: built.Site.GetTitle(), created: time.Now()}
	plan := built.Plan()
	begins, err := moment(plan, req.GetBegins())
	if err != nil {
		return nil, err
	}
	k, err := s.admit(about, drill.NewAt(plan, req.GetSeed(), begins), 0)
	if err != nil {
		return nil, err
	}
	s.log.Info("drill created", zap.String("drill", name), zap.String("site", about.site), zap.Uint64("seed", req.GetSeed()),
		zap.Int("points", len(k.plan.In.Points)), requestID(ctx))
	view, _ := k.feed.now()
	return &pb.CreateDrillResponse{Drill: view.drill}, nil
}

// moment is the moment of the week at which a drill begins, Monday at midnight if none is asked for.
// As in a scenario, a moment that nothing depends on is refused.
func moment(plan *drill.Plan, b *pb.Begins) (time.Duration, error) {
	switch {
	case b == nil:
		return 0, nil
	case !plan.Program.HasCalendar():
		return 0, badField("begins", "BEGINS_UNUSED", "the panel has no calendar, so the drill does not depend on the day of the week: leave `begins` out")
	}
	return panel.InWeek(b.GetDay(), b.GetAt().AsDuration()), nil
}

// GetDrill returns a drill as it is now.
func (s *drillServer) GetDrill(ctx context.Context, req *pb.GetDrillRequest) (*pb.GetDrillResponse, error) {
	m, err := s.present(ctx, req.GetName(), func(*keeper) error { return nil })
	if err != nil {
		return nil, err
	}
	return &pb.GetDrillResponse{Drill: m}, nil
}

// present runs f in the goroutine of a drill and returns the drill as it is afterwards.
func (s *drillServer) present(ctx context.Context, name string, f func(*keeper) error) (*pb.Drill, error) {
	k, err := s.find("name", name)
	if err != nil {
		return nil, err
	}
	var m *pb.Drill
	err = k.do(ctx, func() error {
		err := f(k)
		m = k.message()
		return err
	})
	return m, err
}

// ListDrills lists drills as they last showed themselves.
func (s *drillServer) ListDrills(_ context.Context, req *pb.ListDrillsRequest) (*pb.ListDrillsResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	names := make([]string, 0, len(s.keepers))
	for name := range s.keepers {
		names = append(names, name)
	}
	picked, next, err := page(names, req.GetPageSize(), req.GetPageToken())
	if err != nil {
		return nil, err
	}
	out := &pb.ListDrillsResponse{NextPageToken: next}
	for _, name := range picked {
		view, _ := s.keepers[name].feed.now()
		out.Drills = append(out.Drills, view.drill)
	}
	return out, nil
}

// DeleteDrill ends a drill.
func (s *drillServer) DeleteDrill(ctx context.Context, req *pb.DeleteDrillRequest) (*pb.DeleteDrillResponse, error) {
	if err := checkName("name", req.GetName(), "drills"); err != nil {
		return nil, err
	}
	k, err := s.remove(req.GetName())
	if err != nil {
		return nil, err
	}
	k.close(notFound(req.GetName()))
	s.log.Info("drill deleted", zap.String("drill", req.GetName()), requestID(ctx))
	return &pb.DeleteDrillResponse{}, nil
}

// WatchDrill streams the log.
func (s *drillServer) WatchDrill(req *pb.WatchDrillRequest, stream pb.DrillService_WatchDrillServer) error {
	k, err := s.find("name", req.GetName())
	if err != nil {
		return err
	}
	closed, err := s.watch()
	if err != nil {
		return err
	}
	defer closed()
	next := max(1, req.GetFromSequence())
	if view, _ := k.feed.now(); next > uint64(len(view.events))+1 {
		return outOfRange("from_sequence", next, uint64(len(view.events))+1)
	}
	w := &watcher{feed: k.feed, plan: k.plan, next: next, lag: s.limits.WatchLag, lagged: func(events uint64) {
		s.metrics.watchLags.Inc()
		s.log.Warn("watcher lagged", zap.String("drill", req.GetName()), zap.Uint64("events", events), requestID(stream.Context()))
	}}
	return w.run(stream.Context(), stream.Send)
}

// ForkDrill makes a drill from another one or from a snapshot.
func (s *drillServer) ForkDrill(ctx context.Context, req *pb.ForkDrillRequest) (*pb.ForkDrillResponse, error) {
	source, parent := req.GetSource(), req.GetSource()
	if err := checkName("source", source, "drills", "snapshots"); err == nil {
		parent = parentOf(source)
	}
	k, err := s.find("source", parent)
	if err != nil {
		return nil, err
	}
	name := drillName(orNewID(req.GetDrillId()))
	var fork *drill.Drill
	err = k.do(ctx, func() error {
		from, err := k.state(source)
		if err == nil {
			fork = from.Fork()
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	about := k.about
	about.name, about.forkedFrom, about.created = name, source, time.Now()
	forked, err := s.admit(about, fork, fork.Log().Len())
	if err != nil {
		return nil, err
	}
	s.log.Info("drill forked", zap.String("drill", name), zap.String("source", source), requestID(ctx))
	view, _ := forked.feed.now()
	return &pb.ForkDrillResponse{Drill: view.drill}, nil
}

// state is what a fork of the named drill or snapshot starts from.
func (k *keeper) state(source string) (*drill.Drill, error) {
	if source == k.about.name {
		return k.owned.d, k.alive()
	}
	snap, ok := k.owned.snapshots[source]
	if !ok {
		return nil, notFound(source)
	}
	return snap.d, nil
}

// snapshotNames lists the names of a drill's snapshots, sorted.
func (k *keeper) snapshotNames() []string {
	var names []string
	for name := range k.owned.snapshots {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
