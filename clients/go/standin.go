package client

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// StandIn is somebody outside who takes the place of the model of a piece of equipment: a lift
// controller, a building management system. The drill tells which of its inputs the fire alarm
// operates; its signals are what Signal says, until Leave gives the place back to the model.
type StandIn struct {
	Drill     *Drill
	Equipment string
	at        time.Duration // since when
}

// Input is a change of one input of the equipment, in the words of its kind, such as `recall` of a
// lift. Operated is the fire action: of an input that operates when its voltage goes away, that the
// voltage is gone.
type Input struct {
	Name     string
	Operated bool
	At       time.Duration // virtual time
	Sequence uint64        // of the event
}

// StandIn takes the place of a piece of equipment from a virtual time on, or at once.
func (d *Drill) StandIn(ctx context.Context, equipment string, at ...time.Duration) (*StandIn, error) {
	s := &StandIn{Drill: d, Equipment: equipment}
	step, err := s.stand(ctx, true, at)
	s.at = step.GetAt().AsDuration()
	return s, err
}

// Leave gives the place back to the model, from a virtual time on or at once; the model goes on from
// where it stood.
func (s *StandIn) Leave(ctx context.Context, at ...time.Duration) error {
	_, err := s.stand(ctx, false, at)
	return err
}

func (s *StandIn) stand(ctx context.Context, on bool, at []time.Duration) (*pb.Step, error) {
	return s.Drill.Act(ctx, timed(&pb.Step{Kind: &pb.Step_StandIn{StandIn: &pb.StandInStep{Equipment: s.Equipment, On: &on}}}, at))
}

// Signal gives a signal of the equipment, or takes it away, from a virtual time on or at once.
func (s *StandIn) Signal(ctx context.Context, signal string, on bool, at ...time.Duration) error {
	_, err := s.Drill.Act(ctx, timed(&pb.Step{Kind: &pb.Step_Signal{Signal: &pb.SignalStep{Equipment: s.Equipment, Signal: signal, On: &on}}}, at))
	return err
}

// timed gives a step its time; without one it acts at once.
func timed(step *pb.Step, at []time.Duration) *pb.Step {
	if len(at) > 0 {
		step.At = durationpb.New(at[0])
	}
	return step
}

// Inputs calls each for every change of an input of the equipment since the stand-in began, those
// operated already included, until ctx ends, the drill is deleted, or each returns an error, which
// Inputs returns; ErrStop ends it without one. It sees every change once and in order, as Watch does.
func (s *StandIn) Inputs(ctx context.Context, each func(Input) error) error {
	return s.Drill.Watch(ctx, 0, func(e *pb.Event) error {
		if e.GetKind() != "equipment-input" || e.GetSubject() != s.Equipment || e.GetAt().AsDuration() < s.at {
			return nil
		}
		return each(Input{Name: e.GetDetail(), Operated: e.GetOn(), At: e.GetAt().AsDuration(), Sequence: e.GetSequence()})
	})
}
