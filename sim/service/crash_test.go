package service

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// A drill that crashes ends as crashed, with seed, event number and stack in the log. It can still
// be watched and forked from a snapshot; the server and its other drills live on.
func TestCrash(t *testing.T) {
	r := newRig(t, nil)
	ctx := t.Context()
	name, other := r.create("a", kioskFiles(), 42), r.create("b", kioskFiles(), 0)
	r.advance(name, time.Second)
	if _, err := r.drills.CreateSnapshot(ctx, &pb.CreateSnapshotRequest{Parent: name, SnapshotId: "before"}); err != nil {
		t.Fatal(err)
	}
	k, err := r.server.drills.find("name", name)
	if err != nil {
		t.Fatal(err)
	}
	// No step resolves to a point that does not exist; the models trust that.
	broken := drill.Act{At: 2 * time.Second, Kind: drill.ActSmoke, Index: 1 << 20}
	if err := k.do(ctx, func() error { return k.enter(&broken, false) }); err != nil {
		t.Fatal(err)
	}
	stream := r.watch(name, 1)
	_, err = r.drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(time.Minute)}})
	want(t, err, codes.Internal, "DRILL_CRASHED", "name", name)
	got := r.awaitState(stream, pb.DrillState_DRILL_STATE_CRASHED)
	if !strings.Contains(got.GetReason(), "seed 42") || strings.Contains(got.GetReason(), "goroutine") {
		t.Errorf("the reason is %q", got.GetReason())
	}
	logged := r.logs.FilterMessage("drill crashed").All()
	if len(logged) != 1 {
		t.Fatalf("the log has %v", logged)
	}
	entry := logged[0].ContextMap()
	if entry["seed"] != uint64(42) || entry["event_number"] == nil || !strings.Contains(entry["stack"].(string), "runInstant") {
		t.Errorf("the log entry is %v", entry)
	}
	if n := sample(t, r.registry, "loopdrill_drills", "state", "crashed"); n != 1 {
		t.Errorf("%v drills are counted as crashed", n)
	}
	_, err = r.drills.RunDrill(ctx, &pb.RunDrillRequest{Name: name})
	want(t, err, codes.FailedPrecondition, "DRILL_OVER", "name", name)
	_, err = r.drills.ForkDrill(ctx, &pb.ForkDrillRequest{Source: name})
	want(t, err, codes.FailedPrecondition, "DRILL_OVER", "name", name)
	fork, err := r.drills.ForkDrill(ctx, &pb.ForkDrillRequest{Source: name + "/snapshots/before"})
	if err != nil {
		t.Fatal(err)
	}
	r.advance(fork.GetDrill().GetName(), time.Minute)
	r.advance(other, time.Minute)
}

// A panic of the keeper's own code ends its drill too, not the server.
func TestPanicInTheKeeper(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("a", kioskFiles(), 7)
	k, err := r.server.drills.find("name", name)
	if err != nil {
		t.Fatal(err)
	}
	err = k.do(t.Context(), func() error { panic("broken") })
	want(t, err, codes.Internal, "DRILL_CRASHED", "name", name)
	if got := r.inspect(name).GetDrill(); got.GetState() != pb.DrillState_DRILL_STATE_CRASHED {
		t.Errorf("the drill is %v", got)
	}
}
