package drill

import (
	"fmt"
	"runtime/debug"
	"time"

	"loopdrill.dev/loopdrill/sim"
)

// CrashError says that an invariant of the bench broke: the drill has ended, the bench goes on.
type CrashError struct {
	Seed  uint64
	Event int
	At    time.Duration
	Cause any
	Stack string
}

// Error names what broke and how to come there again.
func (c *CrashError) Error() string {
	return fmt.Sprintf("the drill crashed at %v after event %d (seed %d): %v", c.At, c.Event, c.Seed, c.Cause)
}

// guard turns a panic inside the models into the drill's end.
func (d *Drill) guard(run func()) (err error) {
	if d.crashed != nil {
		return d.crashed
	}
	defer func() {
		switch cause := recover().(type) {
		case nil:
		case *sim.BoundError:
			d.crashed = cause
		default:
			d.crashed = &CrashError{Seed: d.seed, Event: d.log.Len(), At: d.instant, Cause: cause, Stack: string(debug.Stack())}
		}
		err = d.crashed
	}()
	run()
	return nil
}
