package service

import (
	"context"
	"math"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// AdvanceDrill executes a paused drill slice by slice, so that the end of the request's context
// is seen, and others reach the drill in between.
func (s *drillServer) AdvanceDrill(ctx context.Context, req *pb.AdvanceDrillRequest) (*pb.AdvanceDrillResponse, error) {
	k, err := s.find("name", req.GetName())
	if err != nil {
		return nil, err
	}
	if err := s.advances.take(1); err != nil {
		return nil, err
	}
	defer s.advances.give(1)
	var goal distance
	err = k.do(ctx, func() error {
		if err := k.still(); err != nil {
			return err
		}
		goal, err = s.distance(req, max(0, k.owned.d.Instant()))
		k.owned.advancing = err == nil
		return err
	})
	if err != nil {
		return nil, err
	}
	defer k.do(context.WithoutCancel(ctx), func() error { //nolint:errcheck // fails only where the drill is gone
		k.owned.advancing = false
		return nil
	})
	out := &pb.AdvanceDrillResponse{}
	for finished := false; !finished; {
		if err := ctx.Err(); err != nil {
			return nil, tooLate(err)
		}
		err := k.do(ctx, func() error {
			most := min(sliceInstants, goal.instants)
			n, done, err := k.execute(goal.until, most, goal.moves)
			goal.instants -= n
			out.Instants += uint64(n)
			out.Drill = k.message()
			finished = done || goal.instants == 0
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// still refuses a drill that is not paused and at nobody's hands.
func (k *keeper) still() error {
	switch {
	case k.owned.advancing:
		return precondition("DRILL_ADVANCING", k.about.name, "another AdvanceDrill is under way")
	case k.owned.pace != nil:
		return precondition("DRILL_RUNNING", k.about.name, "the drill runs by itself; pause it first")
	}
	return k.alive()
}

// distance is how far an AdvanceDrill goes.
type distance struct {
	until    time.Duration
	moves    bool // the drill stands at until afterwards, whether anything happened there or not
	instants int
}

func (s *drillServer) distance(req *pb.AdvanceDrillRequest, now time.Duration) (distance, error) {
	switch d := req.GetDistance().(type) {
	case *pb.AdvanceDrillRequest_By:
		if by := d.By.AsDuration(); by <= s.limits.Horizon-now {
			return distance{now + by, true, math.MaxInt}, nil
		}
		return distance{}, beyond("by", "horizon", s.limits.Horizon)
	case *pb.AdvanceDrillRequest_Until:
		if until := d.Until.AsDuration(); until <= s.limits.Horizon {
			return distance{until, true, math.MaxInt}, nil
		}
		return distance{}, beyond("until", "horizon", s.limits.Horizon)
	}
	return distance{s.limits.Horizon, false, int(req.GetInstants())}, nil
}

// RunDrill lets a drill run by itself.
func (s *drillServer) RunDrill(ctx context.Context, req *pb.RunDrillRequest) (*pb.RunDrillResponse, error) {
	p := &pace{speed: req.GetSpeed(), until: never}
	if req.GetUntil() != nil {
		p.until = req.GetUntil().AsDuration()
		if p.until > s.limits.Horizon {
			return nil, beyond("until", "horizon", s.limits.Horizon)
		}
	}
	m, err := s.present(ctx, req.GetName(), func(k *keeper) error {
		if err := k.alive(); err != nil {
			return err
		}
		if k.owned.advancing {
			return k.still()
		}
		p.since, p.from = time.Now(), max(0, k.owned.d.Instant())
		if p.until != never { // an instant that is executed already is reached at once
			p.until = max(p.until, p.from)
		}
		k.owned.pace = p
		k.setState(pb.DrillState_DRILL_STATE_RUNNING)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &pb.RunDrillResponse{Drill: m}, nil
}

// PauseDrill stops a running drill.
func (s *drillServer) PauseDrill(ctx context.Context, req *pb.PauseDrillRequest) (*pb.PauseDrillResponse, error) {
	m, err := s.present(ctx, req.GetName(), func(k *keeper) error {
		if k.owned.pace != nil {
			k.owned.pace = nil
			k.setState(pb.DrillState_DRILL_STATE_PAUSED)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &pb.PauseDrillResponse{Drill: m}, nil
}
