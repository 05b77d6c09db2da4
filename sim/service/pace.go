package service

import (
	"math"
	"strconv"
	"time"

	"go.uber.org/zap"
	"google.golang.org/grpc/codes"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// sliceInstants is the greatest number of instants that a keeper executes before it looks at its
// mail again: about a millisecond of work.
const sliceInstants = 256

// pace says how a running drill follows the wall clock.
type pace struct {
	speed float64       // times real time; 0: as fast as it can
	since time.Time     // the wall clock when the drill stood at from
	from  time.Duration // virtual
	until time.Duration // virtual time at which it pauses, or never
}

// due is the virtual time that belongs to a wall-clock time, at most the given one.
func (p *pace) due(now time.Time, most time.Duration) time.Duration {
	run := float64(now.Sub(p.since)) * p.speed
	if run >= float64(most-p.from) {
		return most
	}
	return p.from + time.Duration(run)
}

// wall is the wall-clock time that belongs to a virtual one, to the nanosecond.
func (p *pace) wall(at time.Duration) time.Time {
	run := math.Ceil(float64(at-p.from) / p.speed)
	return p.since.Add(time.Duration(min(run, math.MaxInt64/2)))
}

// goal is the last instant that a running drill may execute.
func (k *keeper) goal() time.Duration {
	if until := k.owned.pace.until; until != never {
		return until
	}
	return k.limits.Horizon
}

// wait is how long a running drill has nothing to do.
func (k *keeper) wait() (time.Duration, bool) {
	p := k.owned.pace
	switch {
	case p == nil:
		return 0, false
	case p.speed == 0:
		return 0, true
	}
	return max(0, time.Until(p.wall(k.upcoming()))), true
}

// upcoming is the next instant at which a running drill has anything to do.
func (k *keeper) upcoming() time.Duration {
	goal := k.goal()
	if at, ok := k.owned.d.Next(); ok && at < goal {
		return at
	}
	return goal
}

// run executes a slice of a running drill, if anything is due. It pauses the drill at its goal,
// and a free one without a goal where nothing is left to happen.
func (k *keeper) run() {
	p := k.owned.pace
	if p == nil {
		return
	}
	goal := k.goal()
	limit, move := goal, p.until != never
	if p.speed > 0 {
		limit, move = k.dueNow(time.Now()), true
	}
	_, finished, err := k.execute(limit, sliceInstants, move)
	switch {
	case err != nil:
		// execute has ended or paused it
	case finished && (limit == goal):
		k.owned.pace = nil
		k.setState(pb.DrillState_DRILL_STATE_PAUSED)
	}
}

// dueNow is the virtual time to which a paced drill is to be executed. The instant for which the
// keeper woke is due however the product with the speed is rounded.
func (k *keeper) dueNow(now time.Time) time.Duration {
	p := k.owned.pace
	limit := p.due(now, k.goal())
	at := k.upcoming()
	if late := now.Sub(p.wall(at)); late >= 0 {
		k.metrics.lag.Observe(late.Seconds())
		limit = max(limit, at)
	}
	return limit
}

// execute runs at most so many instants up to and including limit, within the limits on events.
// finished says that none is left up to limit; then, with move, the drill stands at limit. What
// happened is published. An error is one of the API; the drill has ended or paused then.
func (k *keeper) execute(limit time.Duration, most int, move bool) (n int, finished bool, err error) {
	d := k.owned.d
	before := d.Log().Len()
	for ; n < most && err == nil; n++ {
		at, ok := d.Next()
		if finished = !ok || at > limit; finished {
			break
		}
		if err = k.roomForEvents(d.Log().Len() - before); err == nil {
			_, err = d.RunInstant()
			err = k.failed(err)
		}
	}
	if finished && move && limit > d.Instant() {
		err = k.failed(d.RunUntil(limit))
	}
	k.publish(false)
	return n, finished && err == nil, err
}

// failed ends the drill if err is not nil.
func (k *keeper) failed(err error) error {
	if err == nil {
		return nil
	}
	return k.fail(err)
}

// roomForEvents ends a drill whose log is full, and pauses one where all logs together are; fresh
// events of it are not charged yet.
func (k *keeper) roomForEvents(fresh int) error {
	if n := k.owned.d.Log().Len(); n >= k.limits.DrillEvents {
		k.owned.pace, k.owned.reason = nil, "its log reached the server's limit drill_events of "+strconv.Itoa(k.limits.DrillEvents)
		k.setState(pb.DrillState_DRILL_STATE_ENDED)
		return apiError(codes.ResourceExhausted, "LIMIT_REACHED", map[string]string{"limit": "drill_events", "value": strconv.Itoa(k.limits.DrillEvents)},
			"the drill has ended: "+k.owned.reason)
	}
	if k.events.used.Load()+int64(fresh) < k.events.most {
		return nil
	}
	if k.owned.pace != nil {
		k.owned.pace = nil
		k.setState(pb.DrillState_DRILL_STATE_PAUSED)
		k.log.Warn("drill paused at a limit", zap.String("drill", k.about.name), zap.String("limit", k.events.limit))
	}
	return exhausted(k.events.limit, k.events.most)
}
