package drill

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/sim"
)

// runScript executes the acts of this instant, in the order of their entry. Operators' acts
// wait for the program.
func (d *Drill) runScript(now time.Duration) {
	for d.done < len(d.order) && d.journal[d.order[d.done]].At == now {
		number := d.order[d.done]
		act := d.journal[number]
		d.done++
		if act.Kind.operator() {
			d.operators = append(d.operators, deed{Act: act})
			d.changed = true
			continue
		}
		d.apply(now, number, act)
	}
	if d.done < len(d.order) {
		d.agenda.Set(sourceScript, d.journal[d.order[d.done]].At, sim.Stimulus)
	}
}

// apply executes a stimulus, a fault or a repair.
func (d *Drill) apply(now time.Duration, number int32, a Act) {
	switch {
	case a.Kind == ActRepair:
		d.repair(now, a)
	case a.Kind.Fault():
		d.fault(now, number, a, d.add(sim.Event{Kind: FaultInjected, Subject: a.Index, Value: int64(a.Kind), Extra: a.extra()}))
	case a.Kind == ActStandIn || a.Kind == ActSignal:
		d.outside(now, &a)
	default:
		p := &d.points[a.Index]
		event := d.add(sim.Event{Kind: StimulusApplied, Subject: a.Index, Value: int64(a.Kind), Extra: a.Value})
		switch a.Kind {
		case ActSmoke:
			p.smoke = int32(a.Value)
		case ActHeat:
			p.heat = int32(a.Value)
		case ActClear:
			p.smoke, p.heat = 0, 0
			d.contact(now, a.Index, false, event)
		default:
			d.contact(now, a.Index, true, event)
		}
		d.sense(now, a.Index, event)
	}
}

// contact moves a point's contact.
func (d *Drill) contact(now time.Duration, i int32, on bool, event uint64) {
	d.points[i].contact = on
	d.see(now, i, event)
}

// sense works out what the device's own output says, and tells its loop.
func (d *Drill) sense(now time.Duration, i int32, event uint64) {
	p, fixed := &d.points[i], &d.plan.In.Points[i]
	active := p.retarded ||
		fixed.SmokeMicroPct > 0 && int64(p.smoke) >= fixed.SmokeMicroPct ||
		fixed.HeatMicroC > 0 && int64(p.heat) >= fixed.HeatMicroC
	pre := fixed.Prealarm && (active ||
		fixed.SmokeMicroPct > 0 && int64(p.smoke) >= loop.PrealarmMicro(fixed.SmokeMicroPct) ||
		fixed.HeatMicroC > 0 && int64(p.heat) >= loop.PrealarmMicro(fixed.HeatMicroC))
	if p.stuck != free {
		active = p.stuck == stuckActive
		pre = fixed.Prealarm && active
	}
	if active == p.active && pre == p.prealarm {
		return
	}
	p.active, p.prealarm = active, pre
	p.event = d.add(sim.Event{Kind: InputChanged, Subject: i, Value: flag(active), Extra: flag(pre), Parent: event})
	d.lines[fixed.Loop].SetInput(now, fixed.Device, active, pre, p.event)
	d.schedule(int(fixed.Loop))
}

// fault injects a fault.
func (d *Drill) fault(now time.Duration, number int32, a Act, event uint64) {
	if a.Kind.placed() {
		d.cable(now, number, &a, event)
		return
	}
	d.standing = append(d.standing, number)
	d.stand(now, &a, event)
}

// repair takes the latest fault of that name that still stands back. A name without a fault is refused
// when the script is read; an interactive repair of nothing does nothing.
func (d *Drill) repair(now time.Duration, r Act) {
	for _, number := range slices.Backward(d.order[:d.done]) {
		a := d.journal[number]
		if a.Name != r.Name || !a.Kind.Fault() || !d.stands(number) {
			continue
		}
		event := d.add(sim.Event{Kind: FaultRepaired, Subject: a.Index, Value: int64(a.Kind), Extra: a.extra()})
		if a.Kind.placed() {
			d.mend(now, number, &a, event)
			return
		}
		d.standing = slices.DeleteFunc(d.standing, func(n int32) bool { return n == number })
		d.stand(now, &a, event)
		return
	}
}

// stands reports whether the fault of an act is not repaired yet.
func (d *Drill) stands(number int32) bool {
	return slices.Contains(d.standing, number) || slices.ContainsFunc(d.cables, func(c placedFault) bool { return c.act == number })
}

// stand lets a thing have the faults that stand, of which the act's own has just begun or ended:
// another on the same thing outlasts it.
func (d *Drill) stand(now time.Duration, a *Act, event uint64) {
	switch {
	case a.Kind == ActIsolatorStuck:
		d.stick(now, a, event)
	case a.Kind == ActSupply:
		d.supplyFault(now, a, event)
	case a.Kind == ActPanelStop:
		d.heed(now, event)
	case a.Kind.circuit():
		d.circuitFault(now, a.Index, event)
	case a.Kind == ActStuck:
		d.stuckFault(now, a, event)
	case a.Kind == ActLineErrors:
		rate := d.plan.In.Loops[a.Index].Line.Config().ErrorRate
		if latest := d.latest(a); latest != nil {
			rate = latest.Rate
		}
		d.lines[a.Index].SetErrorRate(now, rate, d.loopSink(a.Index))
		d.schedule(int(a.Index))
	case a.Kind == ActRelayStuck:
		d.relayFault(now, a, event)
	case a.Kind == ActPlantFault:
		d.plantFault(now, a.Index, event)
	case a.Kind == ActFieldWireOpen || a.Kind == ActFieldWireShort:
		d.fieldFault(now, a.Index, event)
	case a.Kind == ActRelayWireOpen || a.Kind == ActRelayWireShort:
		d.relayWireFault(now, a.Index, event)
	default:
		d.presence(now, a, event)
	}
}

// latest is the latest standing fault of an act's own kind and subject; nil without one.
func (d *Drill) latest(a *Act) *Act {
	for _, number := range slices.Backward(d.standing) {
		if other := &d.journal[number]; other.Kind == a.Kind && other.Index == a.Index {
			return other
		}
	}
	return nil
}

// stuckFault lets an input show what the latest such fault says.
func (d *Drill) stuckFault(now time.Duration, a *Act, event uint64) {
	p := &d.points[a.Index]
	p.stuck = free
	if latest := d.latest(a); latest != nil {
		p.stuck = stuckRest
		if latest.On {
			p.stuck = stuckActive
		}
	}
	d.sense(now, a.Index, event)
}

// relayFault keeps an output where it is, or lets it go where it was told last.
func (d *Drill) relayFault(now time.Duration, a *Act, event uint64) {
	out := &d.outputs[a.Index]
	if d.latest(a) != nil {
		out.held, out.stuck = out.position(), true
		return
	}
	out.stuck = false
	d.settleOutput(now, a.Index, event)
}

// plantFault lets a piece of equipment have the faults that stand; of several that make it slow, the
// latest.
func (d *Drill) plantFault(now time.Duration, e int32, event uint64) {
	fault, factor := plant.NoFault, 1.0
	for _, number := range d.standing {
		if a := &d.journal[number]; a.Kind == ActPlantFault && a.Index == e {
			fault |= plant.Fault(a.Value)
			if plant.Fault(a.Value) == plant.Slow {
				factor = a.Rate
			}
		}
	}
	d.plan.In.Plant.SetFault(d.plant, now, int(e), fault, factor, event, plantSink{d})
	d.schedulePlant()
}

// presence lets stand at an address what the faults that stand leave there. A module that is taken out
// does with its contact what the contact does when it loses the loop, and a circuit goes off; put back,
// it restarts before it answers.
func (d *Drill) presence(now time.Duration, a *Act, event uint64) {
	p, s := &d.plan.In.Points[a.Index], &d.points[a.Index]
	l := d.lines[p.Loop]
	at := line.Presence{Unfed: l.Presence(p.Device).Unfed, Removed: l.Presence(p.Device).Removed}
	out := false
	for _, number := range d.standing {
		if other := &d.journal[number]; other.Index == a.Index {
			other.stand(&at)
			out = out || other.Kind == ActRemove
		}
	}
	l.SetPresence(now, p.Device, at, event)
	switch {
	case a.Kind != ActRemove:
	case out:
		s.restarts++
		d.lose(now, a.Index, event)
		d.takeOut(a.Index, now, true, event)
	default:
		s.restarts++
		d.takeOut(a.Index, now, false, event)
		d.after(timer{at: now + loop.RestartTime, kind: restartOver, point: a.Index, version: s.restarts, event: event})
	}
	d.schedule(int(p.Loop))
}

// after enters a timer; runTimers finds the earliest.
func (d *Drill) after(t timer) {
	at, _ := slices.BinarySearchFunc(d.timers, t, func(a, b timer) int {
		if a.at != b.at {
			return int(min(max(a.at-b.at, -1), 1))
		}
		if a.point != b.point {
			return int(a.point - b.point)
		}
		return -1 // of one point and instant, in the order of entry
	})
	d.timers = slices.Insert(d.timers, at, t)
	d.agenda.Set(sourceTimers, d.timers[0].at, sim.Stimulus)
}

// drop takes timers back: an instant at which nothing comes of one is no instant of the drill.
func (d *Drill) drop(stale func(*timer) bool) {
	d.timers = slices.DeleteFunc(d.timers, func(t timer) bool { return stale(&t) })
	d.agenda.Clear(sourceTimers)
	if len(d.timers) > 0 {
		d.agenda.Set(sourceTimers, d.timers[0].at, sim.Stimulus)
	}
}

// runTimers executes the timers of this instant.
func (d *Drill) runTimers(now time.Duration) {
	for len(d.timers) > 0 && d.timers[0].at == now {
		t := d.timers[0]
		d.timers = slices.Delete(d.timers, 0, 1)
		switch {
		case t.kind == proofArrives:
			d.contact(now, t.point, t.on, t.event)
			d.sense(now, t.point, t.event)
		case t.kind == retardOver && t.version == d.points[t.point].version:
			d.points[t.point].retarded = true
			d.sense(now, t.point, t.event)
		case t.kind == loadChanges:
			d.load(t.point, now, t.event)
		case t.kind == drainChanges:
			d.drain(now, t.point, t.event)
		case t.kind == circuitRests:
			d.readPanelCircuit(t.point, t.event)
		case t.kind == farEnd:
			d.plan.In.Loops[t.point].Wire.DriveFarEnd(d.wires[t.point], now, t.on, t.event, wireSink{d, t.point})
			d.wired(t.point, now, t.event)
		case t.kind == proofsAnew:
			d.proveAnew(now, t.event)
		case t.kind == proofAsked:
			d.askProofs(now, t.point, t.event)
		case t.kind == proofMissed:
			d.lapsed = append(d.lapsed, t)
			d.agenda.Set(sourceLapsed, now, sim.Logic)
		case t.kind == panelStarts:
			d.startPanel(now, t.event)
		case t.kind == restartOver && t.version == d.points[t.point].restarts:
			d.restart(now, t)
		}
	}
	if len(d.timers) > 0 {
		d.agenda.Set(sourceTimers, d.timers[0].at, sim.Stimulus)
	}
}

// restart lets a module that was put back answer again. Without voltage it restarts when that is
// back.
func (d *Drill) restart(now time.Duration, t timer) {
	p := &d.plan.In.Points[t.point]
	event := d.add(sim.Event{Kind: ModuleRestarted, Subject: t.point, Parent: t.event})
	l := d.lines[p.Loop]
	at := l.Presence(p.Device)
	at.Removed = false
	l.SetPresence(now, p.Device, at, event)
	if !d.points[t.point].lost {
		d.wake(now, t.point, event)
	}
	d.schedule(int(p.Loop))
}

// Stimulus is the act that makes a point give its signal at an instant: the very level of its
// alarm threshold or, with prealarm, of its pre-alarm.
func (p *Plan) Stimulus(point int32, prealarm bool, at time.Duration) Act {
	fixed := &p.In.Points[point]
	a := Act{At: at, Index: point, Kind: ActActivate}
	switch {
	case fixed.SmokeMicroPct > 0:
		a.Kind, a.Value = ActSmoke, fixed.SmokeMicroPct
	case fixed.HeatMicroC > 0:
		a.Kind, a.Value = ActHeat, fixed.HeatMicroC
	case fixed.Kind == "flame_detector":
		a.Kind = ActFlame
	case fixed.Input == loop.CallPoint:
		a.Kind = ActPress
	}
	if prealarm {
		a.Value = loop.PrealarmMicro(a.Value)
	}
	return a
}
