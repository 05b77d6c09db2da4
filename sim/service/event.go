package service

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// eventMessage is event number n of a drill of the plan, as the API carries it.
func eventMessage(plan *drill.Plan, n uint64, e *sim.Event) *pb.Event {
	detail, on := plan.DetailOf(e)
	return &pb.Event{
		Detail: detail, On: on, Sequence: n, At: durationpb.New(e.At), Phase: e.Phase.String(), Kind: drill.KindName(e.Kind),
		Subject: plan.SubjectOf(e), Text: plan.Describe(e), Parent: e.Parent, Also: e.Also, Visibility: visibility(drill.VisibilityOf(e.Kind)),
	}
}

func visibility(v drill.Visibility) pb.Visibility {
	switch v {
	case drill.OnPanel:
		return pb.Visibility_VISIBILITY_PANEL
	case drill.AtPlant:
		return pb.Visibility_VISIBILITY_PLANT
	case drill.Hidden:
		return pb.Visibility_VISIBILITY_HIDDEN
	}
	panic("service: an event without a visibility class")
}

// instantMessage is an instant as the API carries it: absent before the first one.
func instantMessage(instant time.Duration) *durationpb.Duration {
	if instant < 0 {
		return nil
	}
	return durationpb.New(instant)
}
