package service

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func TestHealthAndReflection(t *testing.T) {
	r := newRig(t, nil)
	health := healthpb.NewHealthClient(r.conn)
	for _, service := range []string{"", "loopdrill.v1.DrillService", "loopdrill.v1.JobService", "loopdrill.v1.SiteService"} {
		got, err := health.Check(t.Context(), &healthpb.HealthCheckRequest{Service: service})
		if err != nil || got.GetStatus() != healthpb.HealthCheckResponse_SERVING {
			t.Errorf("health of %q: %v, %v", service, got, err)
		}
	}
	stream, err := reflectionpb.NewServerReflectionClient(r.conn).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := stream.Send(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}}); err != nil {
		t.Fatal(err)
	}
	answer, err := stream.Recv()
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, s := range answer.GetListServicesResponse().GetService() {
		names = append(names, s.GetName())
	}
	for _, service := range []string{"loopdrill.v1.DrillService", "loopdrill.v1.JobService", "loopdrill.v1.SiteService", "grpc.health.v1.Health"} {
		if !slices.Contains(names, service) {
			t.Errorf("reflection does not list %s: %v", service, names)
		}
	}
}

// Stop answers what is under way, ends watches with UNAVAILABLE, stops drills and jobs, and lets
// Serve return without an error.
func TestGracefulStop(t *testing.T) {
	work := newFakeWork()
	r := newRig(t, func(o *Options) { o.prepare = work.prepare })
	name := r.create("a", kioskFiles(), 0)
	if _, err := r.drills.RunDrill(t.Context(), &pb.RunDrillRequest{Name: name, Speed: new(float64(1))}); err != nil {
		t.Fatal(err)
	}
	stream := r.watch(name, 1)
	r.next(stream)
	job := r.createJob("j", verifyWork)
	watch := r.watchJob(job)
	work.awaitStart()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	r.server.Stop(ctx)
	if ctx.Err() != nil {
		t.Error("the stop was not graceful")
	}
	if err := <-r.served; err != nil {
		t.Errorf("Serve returned %v", err)
	}
	for {
		_, err := stream.Recv()
		if err == nil {
			continue
		}
		want(t, err, codes.Unavailable, "SERVER_STOPS", "", "")
		break
	}
	for {
		part, err := watch.Recv()
		if err != nil {
			want(t, err, codes.Unavailable, "SERVER_STOPS", "", "")
			break
		}
		if over(part.GetJob().GetState()) { // the watcher saw the cancelled job first
			break
		}
	}
	if _, err := r.drills.GetDrill(t.Context(), &pb.GetDrillRequest{Name: name}); status.Code(err) != codes.Unavailable {
		t.Errorf("a call after the stop: %v", err)
	}
}

// A client that does not let go is cut off when the time for stopping is up.
func TestStopCutsOff(t *testing.T) {
	r := newRig(t, nil)
	stream, err := healthpb.NewHealthClient(r.conn).Watch(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	r.server.Stop(ctx)
	if got := r.logs.FilterMessage("calls were cut off").Len(); got != 1 {
		t.Errorf("the log says %d times that calls were cut off", got)
	}
}

// A hundred drills of one site at once, each with its own watcher, act and fork, have the same
// log. Run with -race.
func TestAHundredDrills(t *testing.T) {
	const drills = 100
	r := newRig(t, nil)
	digests := make([]string, drills)
	var group sync.WaitGroup
	for i := range drills {
		group.Go(func() {
			digest, err := r.course(t.Context(), fmt.Sprintf("d-%d", i))
			if err != nil {
				t.Error(err)
			}
			digests[i] = digest
		})
	}
	group.Wait()
	for i, d := range digests {
		if d != digests[0] || d == "" {
			t.Errorf("drill %d has digest %s, the first %s", i, d, digests[0])
		}
	}
	if n := sample(t, r.registry, "loopdrill_drills", "state", "paused"); n != drills {
		t.Errorf("%v drills are left, want the %d forks", n, drills)
	}
}

// course takes one drill through everything a client does, and returns the digest of its fork.
func (r *rig) course(ctx context.Context, id string) (string, error) {
	created, err := r.drills.CreateDrill(ctx, &pb.CreateDrillRequest{DrillId: id, Files: kioskFiles(), Seed: 5})
	if err != nil {
		return "", err
	}
	name := created.GetDrill().GetName()
	stream, err := r.drills.WatchDrill(ctx, &pb.WatchDrillRequest{Name: name})
	if err != nil {
		return "", err
	}
	for _, step := range []*pb.Step{noise(0.2), smoke("HALL-SD", 2*time.Second)} {
		if _, err := r.drills.Act(ctx, &pb.ActRequest{Name: name, Step: step}); err != nil {
			return "", err
		}
	}
	advance := func(name string, until time.Duration) error {
		_, err := r.drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(until)}})
		return err
	}
	if err := advance(name, 15*time.Second); err != nil {
		return "", err
	}
	fork, err := r.drills.ForkDrill(ctx, &pb.ForkDrillRequest{Source: name})
	if err != nil {
		return "", err
	}
	if _, err := r.drills.RunDrill(ctx, &pb.RunDrillRequest{Name: name, Until: durationpb.New(20 * time.Second)}); err != nil {
		return "", err
	}
	if err := advance(fork.GetDrill().GetName(), time.Minute); err != nil {
		return "", err
	}
	if _, err := r.drills.DeleteDrill(ctx, &pb.DeleteDrillRequest{Name: name}); err != nil {
		return "", err
	}
	for {
		if _, err := stream.Recv(); err != nil {
			if status.Code(err) != codes.NotFound {
				return "", err
			}
			break
		}
	}
	seen, err := r.drills.InspectDrill(ctx, &pb.InspectDrillRequest{Name: fork.GetDrill().GetName()})
	return seen.GetDigest(), err
}
