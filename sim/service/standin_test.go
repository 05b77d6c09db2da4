package service

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A contractor's own controller takes the place of the fan: it is told over the watch what the contacts
// do, gives the signal, and gives the fan back. Without taking its place it may not.
func TestStandInOverTheWire(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	signal := func(at time.Duration) *pb.Step {
		return &pb.Step{At: durationpb.New(at), Kind: &pb.Step_Signal{Signal: &pb.SignalStep{Equipment: "fan", Signal: "running", On: new(true)}}}
	}
	standIn := func(at time.Duration, on bool) *pb.Step {
		return &pb.Step{At: durationpb.New(at), Kind: &pb.Step_StandIn{StandIn: &pb.StandInStep{Equipment: "fan", On: &on}}}
	}
	if _, err := r.drills.Act(t.Context(), &pb.ActRequest{Name: name, Step: signal(time.Second)}); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a signal of a fan that nobody stands in for: %v", err)
	}
	fan := func() *pb.EquipmentStatus {
		for _, e := range r.inspect(name).GetInspection().GetEquipment() {
			if e.GetEquipment() == "fan" {
				return e
			}
		}
		t.Fatal("no fan")
		return nil
	}
	r.act(name, standIn(time.Second, true))
	r.act(name, smoke("HALL-SD", 2*time.Second))
	r.advance(name, 30*time.Second)
	if f := fan(); !f.GetStandIn() || f.GetState() != "stopped" || f.GetProven() {
		t.Errorf("stood in for: %v", f)
	}
	r.act(name, signal(31*time.Second))
	r.advance(name, 40*time.Second)
	if f := fan(); f.GetState() != "stopped" || !f.GetProven() {
		t.Errorf("its signal given: %v", f)
	}
	last := r.inspect(name).GetDrill().GetEvents()
	told := false
	for _, e := range r.events(r.watch(name, 1), last) {
		told = told || e.GetKind() == "equipment-input" && e.GetSubject() == "fan"
	}
	if !told {
		t.Error("nobody was told that the fan's start contact closed")
	}
	r.act(name, standIn(41*time.Second, false))
	r.advance(name, 60*time.Second)
	if f := fan(); f.GetStandIn() || f.GetState() != "running" || !f.GetProven() {
		t.Errorf("given back: %v", f)
	}
}
