package client

import (
	"context"
	"errors"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A lift controller of somebody else takes the place of the lift's model, over real gRPC: it hears of
// the recall, and what the panel knows of the lift is what it signals. The controller of the test takes
// 20 s for the way, which the model of the demo would not.
func TestStandIn(t *testing.T) {
	c, ctx := dial(t, start(t, nil)), t.Context()
	d, err := c.CreateDrill(ctx, &pb.CreateDrillRequest{Files: demoFiles(t), DrillId: "quay", Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	lift, err := d.StandIn(ctx, "lift-a", time.Second)
	if err != nil {
		t.Fatal(err)
	}
	level := 8.0
	smoke := timed(&pb.Step{Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: "B1-SD-LIFT", LevelPctPerM: &level}}}, []time.Duration{2 * time.Second})
	if _, err := d.Act(ctx, smoke); err != nil {
		t.Fatal(err)
	}
	if _, err := d.AdvanceTo(ctx, 10*time.Second); err != nil {
		t.Fatal(err)
	}
	var recalled Input
	err = lift.Inputs(ctx, func(in Input) error {
		if in.Name == "recall" && in.Operated {
			recalled = in
			return ErrStop
		}
		return nil
	})
	if err != nil || recalled.At < 2*time.Second || recalled.At > 10*time.Second {
		t.Fatalf("the recall is %+v, %v", recalled, err)
	}

	const travel = 20 * time.Second
	if err := lift.Signal(ctx, "at-floor", true, recalled.At+travel); err != nil {
		t.Fatal(err)
	}
	state := func(until time.Duration) *pb.EquipmentStatus {
		t.Helper()
		if _, err := d.AdvanceTo(ctx, until); err != nil {
			t.Fatal(err)
		}
		seen, err := d.Inspect(ctx)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range seen.GetInspection().GetEquipment() {
			if e.GetEquipment() == "lift-a" {
				return e
			}
		}
		t.Fatal("there is no lift")
		return nil
	}
	if e := state(recalled.At + travel - time.Second); !e.GetStandIn() || e.GetProven() {
		t.Errorf("on the way: %v", e)
	}
	signalled := time.Duration(-1)
	if e := state(recalled.At + travel + 5*time.Second); !e.GetStandIn() {
		t.Errorf("at the floor: %v", e)
	}
	err = d.Watch(ctx, 0, func(e *pb.Event) error {
		if e.GetKind() == "signal" && e.GetSubject() == "lift-a" && e.GetDetail() == "at-floor" && e.GetOn() {
			signalled = e.GetAt().AsDuration()
			return ErrStop
		}
		return nil
	})
	if err != nil || signalled != recalled.At+travel {
		t.Errorf("the lift is at its floor at %v, %v; want %v", signalled, err, recalled.At+travel)
	}

	if err := lift.Leave(ctx); err != nil {
		t.Fatal(err)
	}
	if e := state(recalled.At + travel + 10*time.Second); e.GetStandIn() {
		t.Error("the model is not back")
	}
	if err := lift.Signal(ctx, "at-floor", false); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a signal of equipment that nobody stands in for: %v", err)
	}
	if _, err := d.StandIn(ctx, "lift-z"); status.Code(err) != codes.InvalidArgument {
		t.Errorf("a stand-in for nothing: %v", err)
	}
	enough := errors.New("enough")
	if err := lift.Inputs(context.WithoutCancel(ctx), func(Input) error { return enough }); !errors.Is(err, enough) {
		t.Errorf("the error of the caller is %v", err)
	}
}
