package service

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Everything a client can make big has a limit, and the answer names it. What is deleted can be
// made again.
func TestLimits(t *testing.T) {
	r := newRig(t, func(o *Options) {
		o.Limits.Drills = 2
		o.Limits.Snapshots = 2
		o.Limits.Points = 4 * kioskPoints
		o.Limits.DrillActs = 3
		o.Limits.Acts = 5
		o.Limits.Horizon = time.Hour
		o.Limits.Watchers = 1
	})
	ctx := t.Context()
	a := r.create("a", kioskFiles(), 0)
	create := func(id string) error {
		_, err := r.drills.CreateDrill(ctx, &pb.CreateDrillRequest{DrillId: id, Files: kioskFiles()})
		return err
	}
	want(t, create("a"), codes.AlreadyExists, "NAME_TAKEN", "name", a)
	b := r.create("b", kioskFiles(), 0)
	want(t, create("c"), codes.ResourceExhausted, "LIMIT_REACHED", "limit", "drills")
	_, err := r.drills.ForkDrill(ctx, &pb.ForkDrillRequest{Source: a})
	want(t, err, codes.ResourceExhausted, "LIMIT_REACHED", "limit", "drills")

	snap := func(parent, id string) error {
		_, err := r.drills.CreateSnapshot(ctx, &pb.CreateSnapshotRequest{Parent: parent, SnapshotId: id})
		return err
	}
	for _, id := range []string{"one", "two"} {
		if err := snap(a, id); err != nil {
			t.Fatal(err)
		}
	}
	want(t, snap(a, "three"), codes.ResourceExhausted, "LIMIT_REACHED", "limit", "snapshots")
	want(t, snap(b, "one"), codes.ResourceExhausted, "LIMIT_REACHED", "limit", "points")
	if _, err := r.drills.DeleteSnapshot(ctx, &pb.DeleteSnapshotRequest{Name: a + "/snapshots/one"}); err != nil {
		t.Fatal(err)
	}
	if err := snap(b, "one"); err != nil {
		t.Error(err)
	}

	for range 3 {
		r.act(a, smoke("HALL-SD", time.Second))
	}
	_, err = r.drills.Act(ctx, &pb.ActRequest{Name: a, Step: smoke("HALL-SD", time.Second)})
	want(t, err, codes.ResourceExhausted, "LIMIT_REACHED", "limit", "drill_acts")
	if _, err := r.drills.DeleteSnapshot(ctx, &pb.DeleteSnapshotRequest{Name: b + "/snapshots/one"}); err != nil {
		t.Fatal(err)
	}
	want(t, snap(a, "acts"), codes.ResourceExhausted, "LIMIT_REACHED", "limit", "acts")
	_, err = r.drills.Act(ctx, &pb.ActRequest{Name: b, Step: smoke("HALL-SD", time.Hour+1)})
	field(t, want(t, err, codes.InvalidArgument, "BEYOND_LIMIT", "limit", "horizon"), "step.at")
	_, err = r.drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: b, Distance: &pb.AdvanceDrillRequest_By{By: durationpb.New(time.Hour + 1)}})
	field(t, want(t, err, codes.InvalidArgument, "BEYOND_LIMIT", "limit", "horizon"), "by")

	r.next(r.watch(a, 1))
	_, err = r.watch(a, 1).Recv()
	want(t, err, codes.ResourceExhausted, "LIMIT_REACHED", "limit", "watchers")

	for _, name := range []string{a, b} {
		if _, err := r.drills.DeleteDrill(ctx, &pb.DeleteDrillRequest{Name: name}); err != nil {
			t.Fatal(err)
		}
	}
	c := r.server.drills.core
	if c.drills.used.Load() != 0 || c.points.used.Load() != 0 || c.acts.used.Load() != 0 || c.events.used.Load() != 0 {
		t.Errorf("after all is deleted %d drills, %d points, %d acts, %d events are still charged",
			c.drills.used.Load(), c.points.used.Load(), c.acts.used.Load(), c.events.used.Load())
	}
}

// A log that is full ends its drill; all logs together only pause one.
func TestLimitsOnEvents(t *testing.T) {
	r := newRig(t, func(o *Options) { o.Limits.DrillEvents, o.Limits.Events = 2000, 5000 })
	advance := func(name string) error {
		_, err := r.drills.AdvanceDrill(t.Context(), &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(time.Hour)}})
		return err
	}
	for i, limit := range []string{"drill_events", "drill_events", "events"} {
		name := r.create(fmt.Sprintf("noisy-%d", i), kioskFiles(), 0)
		r.act(name, noise(0.9))
		want(t, advance(name), codes.ResourceExhausted, "LIMIT_REACHED", "limit", limit)
		got := r.inspect(name).GetDrill()
		if ended := got.GetState() == pb.DrillState_DRILL_STATE_ENDED; ended != (limit == "drill_events") || got.GetEvents() < 900 || got.GetEvents() > 2100 {
			t.Errorf("%s: %v", limit, got)
		}
	}
	want(t, advance("drills/noisy-0"), codes.FailedPrecondition, "DRILL_OVER", "", "")
	if _, err := r.drills.RunDrill(t.Context(), &pb.RunDrillRequest{Name: "drills/noisy-2"}); err != nil {
		t.Fatal(err)
	}
	for r.inspect("drills/noisy-2").GetDrill().GetState() != pb.DrillState_DRILL_STATE_PAUSED {
	}
	if got := r.logs.FilterMessage("drill paused at a limit").Len(); got != 1 {
		t.Errorf("the log says %d times that a drill was paused at a limit", got)
	}
	for _, name := range []string{"drills/noisy-0", "drills/noisy-1"} {
		if _, err := r.drills.DeleteDrill(t.Context(), &pb.DeleteDrillRequest{Name: name}); err != nil {
			t.Fatal(err)
		}
	}
	want(t, advance("drills/noisy-2"), codes.ResourceExhausted, "LIMIT_REACHED", "limit", "drill_events") // there was room again
}

// Files, requests and results are bounded.
func TestLimitsOnSizes(t *testing.T) {
	r := newRig(t, func(o *Options) {
		o.Limits.RequestBytes = 64 << 10
		o.Limits.Files.SiteBytes = 8 << 10
		o.Limits.Files.Scenarios = 1
	})
	files := kioskFiles()
	files.Site.Content = append(files.GetSite().GetContent(), strings.Repeat("# padding\n", 1000)...)
	_, err := r.drills.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: files})
	if bad := want(t, err, codes.InvalidArgument, "SITE_REFUSED", "findings", "1"); bad.GetFieldViolations()[0].GetReason() != "FILE_TOO_LARGE" {
		t.Errorf("a large site.yaml: %v", bad)
	}
	files = kioskFiles()
	files.Scenarios = append(files.Scenarios, files.GetScenarios()...)
	_, err = r.sites.CheckSite(t.Context(), &pb.CheckSiteRequest{Files: files})
	field(t, want(t, err, codes.InvalidArgument, "BEYOND_LIMIT", "limit", "scenarios"), "files.scenarios")
	files = kioskFiles()
	files.Matrix.Content = make([]byte, 65<<10)
	if _, err := r.sites.CheckSite(t.Context(), &pb.CheckSiteRequest{Files: files}); status.Code(err) != codes.ResourceExhausted {
		t.Errorf("a large request: %v", err)
	}
	if got := sample(t, r.registry, "loopdrill_rpc_handled_total", "rpc_method", "CheckSite", "code", "ResourceExhausted"); got != 1 {
		t.Errorf("%v requests that were too large are counted, want 1", got)
	}
}

// An advance keeps what it has executed when its deadline comes first, and only one goes on at a
// time in one drill.
func TestAdvanceAndDeadline(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	k, err := r.server.drills.find("name", name)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Nanosecond)
	defer cancel()
	<-ctx.Done()
	// The handler itself: a client would not send a request whose deadline is past.
	_, err = r.server.drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(time.Hour)}})
	if status.Code(err) != codes.DeadlineExceeded {
		t.Errorf("an advance whose time is up: %v", err)
	}
	if err := k.do(t.Context(), func() error { k.owned.advancing = true; return nil }); err != nil {
		t.Fatal(err)
	}
	_, err = r.drills.AdvanceDrill(t.Context(), &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Instants{Instants: 1}})
	want(t, err, codes.FailedPrecondition, "DRILL_ADVANCING", "name", name)
	_, err = r.drills.RunDrill(t.Context(), &pb.RunDrillRequest{Name: name})
	want(t, err, codes.FailedPrecondition, "DRILL_ADVANCING", "name", name)
}

// A deadline that comes in the middle of an advance leaves the drill where it came to, paused.
func TestAdvanceIsCutBetweenSlices(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	r.act(name, noise(0.9))
	k, err := r.server.drills.find("name", name)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	_, changed := k.feed.now()
	go func() {
		<-changed // the first slice is published
		cancel()
	}()
	_, err = r.server.drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(2 * time.Hour)}})
	if status.Code(err) != codes.Canceled {
		t.Fatalf("an advance that was left: %v", err)
	}
	got := r.inspect(name).GetDrill()
	if at := got.GetInstant().AsDuration(); at <= 0 || at >= 2*time.Hour || got.GetState() != pb.DrillState_DRILL_STATE_PAUSED {
		t.Errorf("it left the drill at %v, %v", at, got.GetState())
	}
	r.advance(name, got.GetInstant().AsDuration()+time.Second) // and it can go on
}
