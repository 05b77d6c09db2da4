package service

import (
	"sync"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// feed is what a keeper has published of its drill. The log only grows, and an event is never
// changed once it is in: a watcher reads the events it was given while the keeper appends more.
type feed struct {
	mu      sync.Mutex
	view    view
	changed chan struct{} // closed when there is something new
}

// view is a feed at one moment. Its parts must not be changed.
type view struct {
	events   []sim.Event
	drill    *pb.Drill
	revision uint64 // of the drill's state
	ended    error  // the drill is gone
}

func newFeed() *feed { return &feed{changed: make(chan struct{})} }

// publish replaces the view. drill is a message of its own. newState tells watchers of it.
func (f *feed) publish(events []sim.Event, drill *pb.Drill, newState bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	news := newState || len(events) > len(f.view.events)
	f.view.events, f.view.drill = events, drill
	if newState {
		f.view.revision++
	}
	if news {
		f.wake()
	}
}

// end tells every watcher that there is nothing more to come. The first reason stays.
func (f *feed) end(reason error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.view.ended == nil {
		f.view.ended = reason
		f.wake()
	}
}

func (f *feed) wake() {
	close(f.changed)
	f.changed = make(chan struct{})
}

// now returns the view, and a channel that is closed once there is a newer one.
func (f *feed) now() (view, <-chan struct{}) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.view, f.changed
}
