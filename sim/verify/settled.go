package verify

import (
	"time"

	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Bounds of a run that goes on because something in it still does.
const (
	drainLimit  = 10 * time.Minute // longest wait for commands still queued
	maxInstants = 200_000          // in which such a run goes on
)

// longestChain bounds how long a program can go on by itself where what one action does makes the next cause
// true, over `output(..).commanded` or over equipment that proves itself: without a circle each of its times counts
// once. A circle has shown in that time whatever it does.
func (v *Verifier) longestChain() time.Duration {
	total := drainLimit
	for i := range v.plan.Program.Pairs() {
		p := v.plan.Program.Pair(i)
		total += p.After + p.For + p.Hold
	}
	for i := range v.plan.In.Points {
		total += v.plan.In.Points[i].Retard + v.plan.In.Points[i].ProvesWithin
	}
	plant := v.plan.In.Plant
	for e := range plant.Len() {
		for in := range plant.InputCount(e) {
			total += plant.Takes(e, in)
		}
	}
	return total
}

// settled finds the instant from which on nothing more comes by itself: the given one or later, once nothing has been
// running for as long as the panel takes to read what came of it. Where a program does not come to rest it is after the
// longest chain. The drill has run up to it, and has not begun it.
func (v *Verifier) settled(d *drill.Drill, until time.Duration) (time.Duration, error) {
	reading := 2*longestRound(d) + v.plan.In.DecisionTime + time.Second
	limit := until + v.watch.chain
	if err := d.RunUntil(until - reading); err != nil {
		return until, err
	}
	for n := 0; ; n++ {
		at, ok := d.Next()
		if ok && d.Running() {
			until = max(until, min(at+reading, limit))
		}
		if !ok || at >= until {
			return until, d.RunUntil(until - 1)
		}
		if n >= maxInstants {
			return until, &sim.BoundError{Bound: "instants in which the program does not come to rest", Limit: maxInstants, At: at}
		}
		if _, err := d.RunInstant(); err != nil {
			return at, err
		}
	}
}

// commanded runs to an instant, and on while commands wait.
func commanded(d *drill.Drill, until time.Duration) (time.Duration, error) {
	if err := d.RunUntil(until); err != nil {
		return until, err
	}
	for limit := until + drainLimit; d.Pending() && until < limit; {
		until += time.Second
		if err := d.RunUntil(until); err != nil {
			return until, err
		}
	}
	return until, nil
}
