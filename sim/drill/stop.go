package drill

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/sim"
)

// halt is how far the panel is from working. It stops when its processor does or its own supply gives
// nothing, feeds its loops again as soon as that is over, and starts its restart time later.
type halt struct {
	dead    bool   // no processor or no power: the loops are not fed
	stopped bool   // nothing is polled, evaluated or commanded
	began   uint64 // the event with which it began to work: what is true at rest follows from it
}

// heed stops the panel, or lets it come back, when its processor or its own supply have changed; what
// it does follows from event.
func (d *Drill) heed(now time.Duration, event uint64) {
	dead := d.plan.In.Power.MicroV(d.power, d.plan.In.Power.Panel()) == 0 || slices.ContainsFunc(d.standing, func(number int32) bool {
		return d.journal[number].Kind == ActPanelStop
	})
	if dead == d.halt.dead {
		return
	}
	d.halt.dead = dead
	d.drop(func(t *timer) bool { return t.kind == panelStarts })
	if dead && !d.halt.stopped {
		event = d.stopPanel(now, event)
	}
	for l := range d.wires {
		d.plan.In.Loops[l].Wire.Feed(d.wires[l], now, !dead, event, wireSink{d, int32(l)})
		d.wired(int32(l), now, event)
	}
	if !dead {
		d.after(timer{at: now + max(d.plan.In.PanelRestart, d.plan.In.SwitchTime), kind: panelStarts, event: event})
	}
}

// stopPanel is what happens on the panel when it stops: polling and commands cease, the program does
// nothing and forgets all but what operators have set, circuits of the panel go off, and its relays do
// as they do without power. Nothing is indicated.
func (d *Drill) stopPanel(now time.Duration, event uint64) uint64 {
	event = d.add(sim.Event{Kind: PanelStopped, Value: 1, Parent: event})
	d.halt.stopped = true
	for l := range d.lines {
		d.lines[l].Stop(now)
		d.schedule(l)
		d.wirings[l] = wiring{}
	}
	clear(d.faulty)
	d.decisions, d.moves = d.decisions[:0], d.moves[:0]
	d.drop(func(t *timer) bool { return t.kind == farEnd || t.kind == proofAsked || t.kind == proofMissed })
	d.lapsed = d.lapsed[:0]
	d.plan.Program.Halt(d.program, now)
	d.fireChange = event
	d.alarmLoad(now)
	for o := range d.outputs {
		fixed := &d.plan.In.Outputs[o]
		if fixed.Point >= 0 {
			continue
		}
		d.outputs[o].read = circuit.Normal
		switch fixed.OnLoss {
		case loop.Operates:
			d.operate(now, int32(o), term.On, event)
		case loop.Rests:
			d.operate(now, int32(o), term.Rest, event)
		}
	}
	d.scheduleProgram(now)
	return event
}

// deadKeys is what operators do at a panel that has stopped: nothing comes of a key. A switch stands where
// it was put last, and is read when the panel starts.
func (d *Drill) deadKeys() {
	d.changed = false
	switches := d.operators[:0]
	for _, a := range d.operators {
		d.pressed(&a)
		if a.Kind != ActOverride {
			d.add(sim.Event{Kind: OperationUnheeded, Subject: a.Index, Value: int64(a.Kind), Parent: a.event})
			continue
		}
		switches = slices.DeleteFunc(switches, func(o deed) bool { return o.Index == a.Index && o.Level == a.Level })
		switches = append(switches, a)
	}
	d.operators = switches
}

// startPanel lets the panel work again, quiescent: what still stands it finds through readings.
func (d *Drill) startPanel(now time.Duration, event uint64) {
	event = d.add(sim.Event{Kind: PanelStopped, Value: 0, Parent: event})
	d.halt.stopped, d.halt.began = false, event
	d.plan.Program.Restart(d.program, now)
	for l := range d.lines {
		d.lines[l].Start(now, d.loopSink(int32(l)))
	}
	for i := range d.points {
		d.forget(int32(i), event)
	}
	for o := range d.outputs {
		if d.plan.In.Outputs[o].Point < 0 {
			d.operate(now, int32(o), term.Rest, event)
			d.readPanelCircuit(int32(o), event)
		}
	}
	if panel := d.plan.In.Power.Panel(); d.plan.In.Power.Signal(d.power, panel, power.Fault) {
		d.set(term.SupplyFault, int32(panel), true, event)
	}
	for e := range d.plan.proofs {
		d.askOne(now, int32(e), event)
	}
	for l := range d.lines {
		d.wired(int32(l), now, event)
		d.schedule(l)
	}
	d.changed = true
}

// forget lets the panel know nothing of a point. An input that proves an action is taken to prove
// nothing until it is read.
func (d *Drill) forget(i int32, event uint64) {
	p, s := &d.plan.In.Points[i], &d.points[i]
	s.read, s.fault = false, false
	if p := d.proof(i); p != nil {
		*p = proofState{}
	}
	if level, proves := d.plan.proves(i); proves {
		s.read = level == p.ClosedAtRest
		if s.read && p.Input == loop.Supervisory {
			d.set(term.DeviceSupervisory, i, true, event)
		}
		d.lines[p.Loop].Presume(p.Device, s.read)
		d.set(term.DeviceActive, i, s.read, event)
	}
	if s.indicator {
		s.indicator = false
		d.loadLater(i, event)
	}
}

// proves is the level of a point's signal that proves a fire action, if it proves one.
func (p *Plan) proves(i int32) (level, ok bool) {
	point := &p.In.Points[i]
	if point.ProvesEquipment < 0 || point.Input.Fire() {
		return false, false
	}
	return p.In.Plant.Proof(int(point.ProvesEquipment), int(point.ProvesSignal))
}
