package service

import (
	"context"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// A watch from the beginning brings the whole log, one from the middle the rest of it, and both
// what is still to come; every event is what the drill's own log says.
func TestWatchFromAnywhere(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	r.act(name, smoke("HALL-SD", 2*time.Second))
	before := r.watch(name, 0)
	n := r.advance(name, 10*time.Second).GetEvents()
	all := r.events(before, n)

	plan := planOf(t, kioskFiles())
	d := drill.New(plan, 0)
	act, _ := plan.Resolve(smoke("HALL-SD", 2*time.Second), "step")
	if err := d.Do(act); err != nil {
		t.Fatal(err)
	}
	if err := d.RunUntil(10 * time.Second); err != nil {
		t.Fatal(err)
	}
	if uint64(d.Log().Len()) != n || uint64(len(all)) != n || n < 10 {
		t.Fatalf("%d events, %d in the local log, %d watched", n, d.Log().Len(), len(all))
	}
	for i, got := range all {
		e := d.Log().Event(uint64(i) + 1)
		if got.GetSequence() != uint64(i)+1 || got.GetAt().AsDuration() != e.At || got.GetPhase() != e.Phase.String() ||
			got.GetKind() != drill.KindName(e.Kind) || got.GetSubject() != plan.SubjectOf(e) || got.GetText() != plan.Describe(e) ||
			got.GetParent() != e.Parent || len(got.GetAlso()) != len(e.Also) || got.GetVisibility() != visibility(drill.VisibilityOf(e.Kind)) {
			t.Errorf("event %d is %v, want %+v", i+1, got, e)
		}
	}

	middle := r.watch(name, n/2)
	rest := r.events(middle, n)
	if rest[0].GetSequence() != n/2 || uint64(len(rest)) != n-n/2+1 {
		t.Errorf("from %d: %d events, the first is %v", n/2, len(rest), rest[0])
	}
	fresh := r.watch(name, n+1)
	if part := r.next(fresh); len(part.GetEvents()) != 0 || part.GetDrill().GetName() != name {
		t.Errorf("the first part of a watch of what is to come is %v", part)
	}
	n2 := r.advance(name, 40*time.Second).GetEvents()
	for _, stream := range []pb.DrillService_WatchDrillClient{before, middle, fresh} {
		got := r.events(stream, n2)
		if got[0].GetSequence() != n+1 || uint64(len(got)) != n2-n {
			t.Errorf("what came later: %d events from %d, want %d from %d", len(got), got[0].GetSequence(), n2-n, n+1)
		}
	}
	_, err := r.watch(name, n2+2).Recv()
	want(t, err, codes.OutOfRange, "OUT_OF_RANGE", "", "")
}

// A watcher that does not read neither holds the drill up nor loses anything unsaid: it is told
// which events were left out, and a watch from there brings them.
func TestSlowWatcherLags(t *testing.T) {
	const lag = 500
	r := newRig(t, func(o *Options) { o.Limits.WatchLag = lag })
	name := r.create("kiosk", kioskFiles(), 0)
	r.act(name, noise(0.9))
	slow := r.watch(name, 1)
	r.awaitState(slow, pb.DrillState_DRILL_STATE_PAUSED)
	// Each event takes some 90 bytes, and the windows of the stream hold 64 KiB, so that most of
	// these events cannot be sent before the watcher reads.
	var n uint64
	for until := time.Minute; n < 10_000; until += time.Minute {
		n = r.advance(name, until).GetEvents()
	}
	next, lags := uint64(0), 0
	for next <= n {
		part := r.next(slow)
		if l := part.GetLag(); l != nil {
			if next != 0 && l.GetFirst() != next || l.GetEvents() <= lag {
				t.Fatalf("the lag is %v after event %d", l, next-1)
			}
			lags++
			next = l.GetFirst() + l.GetEvents()
		}
		for _, e := range part.GetEvents() {
			if next != 0 && e.GetSequence() != next {
				t.Fatalf("event %d follows %d", e.GetSequence(), next-1)
			}
			next = e.GetSequence() + 1
		}
	}
	if lags == 0 {
		t.Error("the watcher was never told that it lagged")
	}
	if got := r.logs.FilterMessage("watcher lagged").Len(); got != lags {
		t.Errorf("%d lags logged, %d told", got, lags)
	}
	// One that begins anew is late, not slow: it gets everything.
	if got := r.events(r.watch(name, 1), n); uint64(len(got)) != n {
		t.Errorf("a new watch brings %d events of %d", len(got), n)
	}
}

// A watch ends when its drill is deleted, and when the client has had enough.
func TestWatchEnds(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	stream := r.watch(name, 1)
	r.next(stream)
	ctx, cancel := context.WithCancel(t.Context())
	left, err := r.drills.WatchDrill(ctx, &pb.WatchDrillRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	r.next(left)
	cancel()
	if _, err := left.Recv(); status.Code(err) != codes.Canceled {
		t.Errorf("the watch that was left ends with %v", err)
	}
	if _, err := r.drills.DeleteDrill(t.Context(), &pb.DeleteDrillRequest{Name: name}); err != nil {
		t.Fatal(err)
	}
	_, err = stream.Recv()
	want(t, err, codes.NotFound, "NOT_FOUND", "name", name)
	_, err = r.drills.GetDrill(t.Context(), &pb.GetDrillRequest{Name: name})
	want(t, err, codes.NotFound, "NOT_FOUND", "name", name)
}

// A free run ends by itself where nothing is left to happen, and a watcher hears of it.
func TestFreeRunEndsWhereNothingIsLeft(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	r.act(name, smoke("HALL-SD", 2*time.Second))
	stream := r.watch(name, 1)
	r.awaitState(stream, pb.DrillState_DRILL_STATE_PAUSED)
	if _, err := r.drills.RunDrill(t.Context(), &pb.RunDrillRequest{Name: name}); err != nil {
		t.Fatal(err)
	}
	for {
		d := r.awaitState(stream, pb.DrillState_DRILL_STATE_PAUSED)
		if at := d.GetInstant().AsDuration(); at > 22*time.Second && at < 40*time.Second {
			break // the fan has been proven, soon after 2 s + 20 s + 5 s
		}
	}
}
