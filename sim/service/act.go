package service

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"go.uber.org/zap"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Act enters a step.
func (s *drillServer) Act(ctx context.Context, req *pb.ActRequest) (*pb.ActResponse, error) {
	k, err := s.find("name", req.GetName())
	if err != nil {
		return nil, err
	}
	step := req.GetStep()
	if step.GetAt().AsDuration() > s.limits.Horizon {
		return nil, beyond("step.at", "horizon", s.limits.Horizon)
	}
	act, findings := k.plan.Resolve(step, "step")
	if len(findings) > 0 {
		return nil, refusedStep(findings)
	}
	out := &pb.ActResponse{}
	err = k.do(ctx, func() error {
		if err := k.enter(&act, step.GetAt() == nil); err != nil {
			return err
		}
		out.Drill = k.message()
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Step = proto.CloneOf(step)
	out.Step.At = durationpb.New(act.At)
	s.log.Debug("act entered", zap.String("drill", req.GetName()), zap.Duration("at", act.At), requestID(ctx))
	return out, nil
}

// enter enters an act, at once if now. A journal is bounded, because every act of it is kept.
func (k *keeper) enter(act *drill.Act, now bool) error {
	d := k.owned.d
	if err := k.alive(); err != nil {
		return err
	}
	if len(d.Journal()) >= k.limits.DrillActs {
		return exhausted("drill_acts", int64(k.limits.DrillActs))
	}
	if act.Kind == drill.ActRepair && !injected(d.Journal(), act.Name) {
		return refusedStep([]*pb.Finding{finding.Refuse("scenario.nothing-to-repair", "step.repair.step",
			"no step of this drill has the id "+act.Name, "give the step that injects the fault an id, and name it here")})
	}
	if now {
		act.At = d.Instant() + time.Nanosecond
		if d.Instant() < 0 {
			act.At = 0
		}
	}
	if act.At <= d.Instant() {
		return precondition("INSTANT_EXECUTED", k.about.name,
			"step.at is "+drill.Seconds(act.At)+", and the drill is executed up to "+drill.Seconds(d.Instant())+"; leave `at` out to act at once")
	}
	if act.Kind == drill.ActSignal && !drill.StoodIn(d.Journal(), act, len(d.Journal())) {
		return refusedStep([]*pb.Finding{drill.NotStoodIn("step")})
	}
	if err := k.acts.take(1); err != nil {
		return err
	}
	return d.Do(*act) // which can only fail for the time just checked
}

// injected reports whether a fault of that id has been entered.
func injected(journal []drill.Act, id string) bool {
	for i := range journal {
		if a := &journal[i]; a.Name == id && a.Kind.Fault() {
			return true
		}
	}
	return false
}
