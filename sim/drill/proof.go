package drill

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
)

// proofState is what the panel expects of an input that proves an action of equipment.
type proofState struct {
	since  time.Duration // the operation since which it is asked for, if asking
	asking bool          // an output that asks for the action has operated
	asked  bool          // the same as of the last look
	anew   bool          // meanwhile none asked for it: what is asked now is asked anew
	waits  bool          // the proof is not there, and its time runs
	missed bool          // its time ran out: a fault of the input
}

// proof is what is expected of a point; nil for one that proves nothing.
func (d *Drill) proof(point int32) *proofState {
	if number := d.plan.proving[point]; number >= 0 {
		return &d.proofs[number]
	}
	return nil
}

// proofMissing reports whether a point has missed its proof.
func (d *Drill) proofMissing(point int32) bool {
	p := d.proof(point)
	return p != nil && p.missed
}

// askLater lets the panel look, after the switch time, at what a piece of equipment has to prove: an
// output that drives it, or a trip that cuts it or another such trip, has operated, or something was disabled.
func (d *Drill) askLater(now time.Duration, e int32, event uint64) {
	d.askOne(now, e, event)
	for _, other := range d.plan.In.Plant.Cuts(int(e)) {
		d.askLater(now, other, event)
	}
}

func (d *Drill) askOne(now time.Duration, e int32, event uint64) {
	if len(d.plan.proofs[e]) == 0 {
		return
	}
	for _, point := range d.plan.proofs[e] {
		d.ask(point, now)
	}
	d.after(timer{at: now + d.plan.In.SwitchTime, kind: proofAsked, point: e, event: event})
}

// ask notes since when, as things stand, something asks for what an input proves.
func (d *Drill) ask(point int32, now time.Duration) {
	s, asking := d.proof(point), d.askedFor(point)
	switch {
	case asking && !s.asking:
		s.since = now
	case !asking && s.asked:
		s.anew = true
	}
	s.asking = asking
}

// askedFor reports whether, as things stand, something asks for the action that an input proves.
func (d *Drill) askedFor(point int32) bool {
	p := &d.plan.In.Points[point]
	return d.plan.In.Plant.Asked(int(p.ProvesEquipment), int(p.ProvesSignal), d.asks)
}

// disabled lets the panel look at what has to be proven once something is disabled or enabled.
func (d *Drill) disabled(now time.Duration, f term.Fact, event uint64) {
	switch {
	case f.Kind == term.EquipmentDisabled:
		d.askLater(now, f.Index, event)
	case f.Kind == term.OutputDisabled && d.plan.In.Outputs[f.Index].Equipment >= 0:
		d.askLater(now, d.plan.In.Outputs[f.Index].Equipment, event)
	}
}

// askedNow notes what the disablements of this instant have begun and ended to ask for: that is known once
// the program is evaluated.
func (d *Drill) askedNow(now time.Duration) {
	for _, t := range d.timers {
		if t.kind != proofAsked || t.at != now+d.plan.In.SwitchTime {
			continue
		}
		for _, point := range d.plan.proofs[t.point] {
			d.ask(point, now)
		}
	}
}

// askProofs is that look. The time of a proof counts from the operation.
func (d *Drill) askProofs(now time.Duration, e int32, event uint64) {
	if d.halt.stopped {
		return
	}
	for _, point := range d.plan.proofs[e] {
		if _, proves := d.plan.proves(point); !proves {
			continue
		}
		s := d.proof(point)
		if s.anew {
			d.endProof(point, event)
		}
		s.asked, s.anew = s.asking, false
		d.awaitProof(now, point, s.since, event)
	}
}

// asks reports whether, as the panel has it, an input of equipment is asked to operate: an output that
// drives it has operated, and neither of the two is disabled.
func (d *Drill) asks(e, input int) bool {
	if d.Fact(term.Fact{Kind: term.EquipmentDisabled, Index: int32(e)}) {
		return false
	}
	for _, o := range d.plan.drivers[d.plan.first[e]+input] {
		if d.outputs[o].state != term.Rest && !d.Fact(term.Fact{Kind: term.OutputDisabled, Index: o}) {
			return true
		}
	}
	return false
}

// awaitProof lets the time of a proof run from an instant on, or ends it, and a missed proof with it:
// the input proves what it is asked for, or is no longer asked.
func (d *Drill) awaitProof(now time.Duration, point int32, from time.Duration, event uint64) {
	level, proves := d.plan.proves(point)
	if !proves {
		return
	}
	p, s := &d.plan.In.Points[point], d.proof(point)
	shows := d.points[point].read != p.ClosedAtRest
	if s.asked && shows != level {
		if !s.waits {
			s.waits = true
			d.after(timer{at: max(from+p.ProvesWithin, now+d.plan.In.SwitchTime), kind: proofMissed, point: point, event: event})
		}
		return
	}
	d.endProof(point, event)
}

// endProof ends the time of a proof, and a missed proof.
func (d *Drill) endProof(point int32, event uint64) {
	if s := d.proof(point); s.waits {
		s.waits = false
		d.drop(func(t *timer) bool { return t.kind == proofMissed && t.point == point })
		d.lapsed = slices.DeleteFunc(d.lapsed, func(t timer) bool { return t.point == point })
	}
	d.missProof(point, false, event)
}

// runLapsed misses the proofs whose time ends at this instant and that no reading of this instant gives:
// one that comes at the very end of its time is in time. What is no longer asked for, or asked for anew,
// is left to the look that is due for it.
func (d *Drill) runLapsed() {
	for _, t := range d.lapsed {
		if !d.proof(t.point).anew {
			d.missProof(t.point, true, t.event)
		}
	}
	d.lapsed = d.lapsed[:0]
}

// missProof raises or clears the fault of an input that did not prove in time.
func (d *Drill) missProof(point int32, on bool, event uint64) {
	s := d.proof(point)
	if s.missed == on {
		return
	}
	s.missed = on
	event = d.add(sim.Event{Kind: ProofMissed, Subject: point, Value: flag(on), Parent: event})
	d.setFault(d.plan.In.Points[point].Loop, point, on, event)
}

// proveAnew lets every missed proof be asked for anew once somebody has reset the panel (common practice: a
// fault that reset takes away comes again if it stands). A fault that is signalled by what does not
// prove itself, as a dialler that has given up its report of faults, would never go otherwise.
func (d *Drill) proveAnew(now time.Duration, event uint64) {
	if d.halt.stopped {
		return
	}
	for i := range d.points {
		if s := d.proof(int32(i)); s != nil && s.missed {
			s.waits = false
			d.missProof(int32(i), false, event)
			d.awaitProof(now, int32(i), now-d.plan.In.SwitchTime, event)
		}
	}
}
