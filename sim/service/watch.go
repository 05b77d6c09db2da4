package service

import (
	"context"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// batch is the greatest number of events in one message of a watch.
const batch = 256

// watcher is one stream of a drill's events.
type watcher struct {
	feed     *feed
	plan     *drill.Plan
	next     uint64 // sequence of the next event to send, from 1
	lag      int    // events that it may fall behind once it is up to date
	live     bool   // it was up to date once
	revision uint64 // of the drill's state as last sent
	lagged   func(events uint64)
}

// run sends until the context or the drill ends. send may block as long as it likes.
func (w *watcher) run(ctx context.Context, send func(*pb.WatchDrillResponse) error) error {
	for {
		v, changed := w.feed.now()
		if response := w.response(v); response != nil {
			if err := send(response); err != nil {
				return err
			}
			continue
		}
		if v.ended != nil {
			return v.ended
		}
		w.live = true
		select {
		case <-changed:
		case <-ctx.Done():
			return tooLate(ctx.Err())
		}
	}
}

// response makes the next message, nil if there is nothing to say. A watcher that reads a long
// log from its beginning is not slow, only late: it is not skipped until it was up to date once.
func (w *watcher) response(v view) *pb.WatchDrillResponse {
	out := &pb.WatchDrillResponse{}
	behind := uint64(len(v.events)) + 1 - w.next
	if w.live && behind > uint64(w.lag) {
		out.Lag = &pb.Lag{First: w.next, Events: behind}
		w.lagged(behind)
		w.next += behind
		behind = 0
	}
	for _, e := range v.events[w.next-1 : w.next-1+min(behind, batch)] {
		out.Events = append(out.Events, eventMessage(w.plan, w.next, &e))
		w.next++
	}
	if v.revision != w.revision {
		w.revision, out.Drill = v.revision, v.drill
	}
	if out.GetLag() == nil && out.GetDrill() == nil && len(out.GetEvents()) == 0 {
		return nil
	}
	return out
}
