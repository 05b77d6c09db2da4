package service

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// keeper owns one drill. Only its goroutine touches the drill and the fields below owned;
// everybody else hands it closures, and watchers read the feed.
type keeper struct {
	*core
	about about
	plan  *drill.Plan
	feed  *feed

	mail chan func()
	quit chan struct{} // closed to end the goroutine
	done chan struct{} // closed when it has ended
	once sync.Once
	gone error // why it ended; set before quit is closed

	owned struct {
		d         *drill.Drill
		state     pb.DrillState
		pace      *pace // while it runs
		advancing bool  // an AdvanceDrill is under way
		reason    string
		snapshots map[string]*snapshot
		counted   int // events of the log that are measured
		charged   int // events of the log that are charged to the limit
	}
}

// about is what never changes of a drill.
type about struct {
	name       string
	site       string
	title      string
	forkedFrom string
	created    time.Time
}

// snapshot is a drill that never runs.
type snapshot struct {
	d       *drill.Drill
	created time.Time
}

// newKeeper starts a keeper for a paused drill. Its first events, as many as it inherited, were
// measured in the drill it was forked from. The caller has charged the drill and those
// events to the limits; the keeper gives all back at its end.
func newKeeper(c *core, about about, d *drill.Drill, inherited int) *keeper {
	k := &keeper{core: c, about: about, plan: d.Plan(), feed: newFeed(), mail: make(chan func()), quit: make(chan struct{}), done: make(chan struct{})}
	k.owned.d, k.owned.snapshots = d, map[string]*snapshot{}
	k.owned.counted, k.owned.charged = inherited, inherited
	k.setState(pb.DrillState_DRILL_STATE_PAUSED)
	go k.loop()
	return k
}

// loop is the drill's one writer. It answers its mail between two slices.
func (k *keeper) loop() {
	defer close(k.done)
	defer k.release()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		var tick <-chan time.Time
		if wait, running := k.wait(); running {
			timer.Reset(wait)
			tick = timer.C
		}
		select {
		case f := <-k.mail:
			f()
		case <-tick:
		case <-k.quit:
			return
		}
		k.step()
	}
}

// do runs f in the keeper's goroutine, between two slices, and returns its error. A paced drill
// is first brought to where it should be by now, as far as one slice goes.
func (k *keeper) do(ctx context.Context, f func() error) error {
	answer := make(chan error, 1)
	task := func() {
		k.step()
		answer <- k.guarded(f)
	}
	select {
	case k.mail <- task:
		return <-answer
	case <-ctx.Done():
		return tooLate(ctx.Err())
	case <-k.quit:
		return k.gone
	}
}

// step executes what is due of a running drill.
func (k *keeper) step() {
	_ = k.guarded(func() error { k.run(); return nil }) // a crash is logged and published
}

// guarded runs f. A panic, which can only be a broken invariant, ends the drill and not the server.
func (k *keeper) guarded(f func() error) (err error) {
	defer func() {
		if cause := recover(); cause != nil {
			crash := &drill.CrashError{Seed: k.owned.d.Seed(), Event: k.owned.d.Log().Len(), At: k.owned.d.Instant(), Cause: cause, Stack: string(debug.Stack())}
			err = k.fail(crash)
		}
	}()
	return f()
}

// close ends the drill. Whoever waits for it or watches it gets the reason.
func (k *keeper) close(reason error) {
	k.once.Do(func() {
		k.gone = reason
		close(k.quit)
	})
	<-k.done
	k.feed.end(k.gone)
}

// release gives back what the drill used of the limits.
func (k *keeper) release() {
	o := &k.owned
	k.metrics.drills.WithLabelValues(drillStates[o.state]).Dec()
	k.drills.give(1)
	k.refund(o.d)
	for _, kept := range o.snapshots {
		k.refund(kept.d)
	}
	k.events.give(o.charged)
}

// setState changes the state and tells watchers.
func (k *keeper) setState(state pb.DrillState) {
	if k.owned.state != pb.DrillState_DRILL_STATE_UNSPECIFIED {
		k.metrics.drills.WithLabelValues(drillStates[k.owned.state]).Dec()
	}
	k.owned.state = state
	k.metrics.drills.WithLabelValues(drillStates[state]).Inc()
	k.publish(true)
}

// publish measures what is new in the log and shows it to watchers.
func (k *keeper) publish(newState bool) {
	o := &k.owned
	events := slices.Clip(o.d.Log().Since(0))
	since := o.counted
	o.counted = len(events)
	o.charged += len(events) - since
	k.events.add(len(events) - since)
	k.feed.publish(events, k.message(), newState)
	k.metrics.measure(k.plan, events, since)
}

// message is the drill as it is now.
func (k *keeper) message() *pb.Drill {
	o := &k.owned
	m := &pb.Drill{
		Name: k.about.name, Site: k.about.site, Title: k.about.title, Seed: o.d.Seed(), State: o.state, Instant: instantMessage(o.d.Instant()),
		Events: uint64(o.d.Log().Len()), Reason: o.reason, ForkedFrom: k.about.forkedFrom, CreateTime: timestamppb.New(k.about.created),
	}
	if p := o.pace; p != nil {
		if p.speed > 0 {
			m.Speed = new(p.speed)
		}
		if p.until != never {
			m.Until = durationpb.New(p.until)
		}
	}
	return m
}

// fail ends a drill that cannot go on, and says so to the caller.
func (k *keeper) fail(cause error) error {
	o := &k.owned
	o.pace, o.reason = nil, cause.Error()
	var crash *drill.CrashError
	if !errors.As(cause, &crash) {
		k.setState(pb.DrillState_DRILL_STATE_ENDED)
		k.log.Warn("drill ended at a bound", zap.String("drill", k.about.name), zap.Error(cause))
		return apiError(codes.ResourceExhausted, "DRILL_ENDED", map[string]string{"name": k.about.name}, o.reason)
	}
	k.setState(pb.DrillState_DRILL_STATE_CRASHED)
	k.log.Error("drill crashed", zap.String("drill", k.about.name), zap.String("site", k.about.site), zap.Uint64("seed", crash.Seed),
		zap.Int("event_number", crash.Event), zap.Duration("instant", crash.At), zap.String("cause", fmt.Sprint(crash.Cause)), zap.String("stack", crash.Stack))
	return apiError(codes.Internal, "DRILL_CRASHED", map[string]string{"name": k.about.name}, o.reason)
}

// alive refuses what a drill that ended or crashed cannot do.
func (k *keeper) alive() error {
	switch k.owned.state {
	case pb.DrillState_DRILL_STATE_ENDED, pb.DrillState_DRILL_STATE_CRASHED:
		return precondition("DRILL_OVER", k.about.name, "the drill cannot go on: "+k.owned.reason)
	}
	return nil
}
