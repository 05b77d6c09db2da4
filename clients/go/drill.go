package client

import (
	"context"
	"errors"
	"io"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Drill is one drill of a server, by name.
type Drill struct {
	Client *Client
	Name   string
}

// CreateDrill makes a drill. An empty drill_id lets the server choose one.
func (c *Client) CreateDrill(ctx context.Context, request *pb.CreateDrillRequest) (*Drill, error) {
	answer, err := c.Drills.CreateDrill(ctx, request)
	if err != nil {
		return nil, err
	}
	return &Drill{c, answer.GetDrill().GetName()}, nil
}

// Act enters a step and returns it with the time at which it acts. A step without `at` acts at once.
func (d *Drill) Act(ctx context.Context, step *pb.Step) (*pb.Step, error) {
	answer, err := d.Client.Drills.Act(ctx, &pb.ActRequest{Name: d.Name, Step: step})
	return answer.GetStep(), err
}

// AdvanceTo executes everything up to and including a virtual time.
func (d *Drill) AdvanceTo(ctx context.Context, until time.Duration) (*pb.Drill, error) {
	answer, err := d.Client.Drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: d.Name,
		Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(until)}})
	return answer.GetDrill(), err
}

// Inspect returns what there is to see, and the digest of the log.
func (d *Drill) Inspect(ctx context.Context) (*pb.InspectDrillResponse, error) {
	return d.Client.Drills.InspectDrill(ctx, &pb.InspectDrillRequest{Name: d.Name})
}

// Fork makes another drill from the present state.
func (d *Drill) Fork(ctx context.Context, id string) (*Drill, error) {
	return d.Client.fork(ctx, d.Name, id)
}

// Snapshot keeps the present state and returns the snapshot's name.
func (d *Drill) Snapshot(ctx context.Context, id string) (string, error) {
	answer, err := d.Client.Drills.CreateSnapshot(ctx, &pb.CreateSnapshotRequest{Parent: d.Name, SnapshotId: id})
	return answer.GetSnapshot().GetName(), err
}

// ForkSnapshot makes a drill from a snapshot.
func (c *Client) ForkSnapshot(ctx context.Context, snapshot, id string) (*Drill, error) {
	return c.fork(ctx, snapshot, id)
}

func (c *Client) fork(ctx context.Context, source, id string) (*Drill, error) {
	answer, err := c.Drills.ForkDrill(ctx, &pb.ForkDrillRequest{Source: source, DrillId: id})
	if err != nil {
		return nil, err
	}
	return &Drill{c, answer.GetDrill().GetName()}, nil
}

// Delete ends the drill.
func (d *Drill) Delete(ctx context.Context) error {
	_, err := d.Client.Drills.DeleteDrill(ctx, &pb.DeleteDrillRequest{Name: d.Name})
	return err
}

// ErrStop, returned by the function given to Watch, ends the watch without an error.
var ErrStop = errors.New("the watch has seen enough")

// Watch calls each for every event from a sequence on (0 and 1: all), once and in order, until
// ctx ends, the drill is deleted, or each returns an error, which Watch returns. Where the server
// says that the watch lagged, or the connection breaks, it begins again after the last event.
func (d *Drill) Watch(ctx context.Context, from uint64, each func(*pb.Event) error) error {
	w := watch{next: max(1, from), each: each}
	for idle := 0; ; {
		before := w.next
		err := w.once(ctx, d)
		if errors.Is(err, ErrStop) {
			return nil
		}
		if w.next > before {
			idle = 0
		}
		switch {
		case errors.Is(err, errLagged):
		case status.Code(err) == codes.Unavailable && ctx.Err() == nil:
			if idle++; idle >= attempts {
				return err
			}
		default:
			return err
		}
	}
}

var errLagged = errors.New("the watch lagged")

// watch is where a watch stands.
type watch struct {
	next uint64
	each func(*pb.Event) error
}

// once watches until the stream ends or leaves events out.
func (w *watch) once(ctx context.Context, d *Drill) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := d.Client.Drills.WatchDrill(ctx, &pb.WatchDrillRequest{Name: d.Name, FromSequence: w.next})
	if err != nil {
		return err
	}
	for {
		part, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return status.Error(codes.Unavailable, "the server ended the watch")
		case err != nil:
			return err
		case part.GetLag() != nil:
			return errLagged
		}
		for _, event := range part.GetEvents() {
			if err := w.each(event); err != nil {
				return err
			}
			w.next = event.GetSequence() + 1
		}
	}
}
