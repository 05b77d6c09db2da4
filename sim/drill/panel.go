package drill

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/sim"
)

// loopSink logs what a loop's line does and turns it into facts and decisions.
func (d *Drill) loopSink(l int32) lineSink { return lineSink{d, l} }

type lineSink struct {
	d    *Drill
	loop int32
}

// Uniform draws from the loop's own stream.
func (s lineSink) Uniform(n uint64) uint64 {
	name := "line/" + s.d.plan.loopName(s.loop)
	return sim.NewStream(s.d.seed, name).At(n)
}

// lineKinds are the kinds of events whose subject is the point.
var lineKinds = [...]sim.Kind{
	line.Counted: ReadingCounted, line.FireSignal: FireSignalled, line.ActiveRead: ActiveRead, line.PrealarmRead: PrealarmRead,
	line.MissingFault: MissingFault, line.WrongType: WrongTypeFault, line.DuplicateSeen: DuplicateFault, line.Garbled: ReplyGarbled,
	line.OutputFault: OutputFault, line.CircuitRead: CircuitFault, line.CommandSent: CommandSent, line.CommandDone: CommandHeard, line.RepeatQueued: CommandRepeated,
}

// Note logs a change of the line.
func (s lineSink) Note(c line.Change) uint64 {
	d := s.d
	if c.Kind == line.RoundEnded {
		now, _ := d.agenda.Now()
		d.look(s.loop, now, c.Parent)
		return c.Parent
	}
	point := d.plan.In.Loops[s.loop].Points[c.Device]
	p := &d.plan.In.Points[point]
	e := sim.Event{Kind: lineKinds[c.Kind], Subject: point, Value: flag(c.On), Parent: c.Parent}
	switch c.Kind {
	case line.Counted:
		e.Value = int64(c.N)
	case line.CommandSent, line.RepeatQueued:
		e.Subject, e.Value, e.Extra = p.Output, int64(c.State), int64(c.N)
	case line.CommandDone:
		e.Subject, e.Value, e.Extra = p.Output, int64(c.State), flag(c.On)
	case line.OutputFault:
		e.Subject = p.Output
	case line.CircuitRead:
		e.Value, e.Extra = int64(c.Circuit), flag(p.Output < 0)
		if p.Output >= 0 {
			e.Subject = p.Output
		}
	}
	event := d.add(e)
	d.follow(c, s.loop, point, p, event)
	return event
}

// follow draws the consequences of a change of the line.
func (d *Drill) follow(c line.Change, l, point int32, p *loop.Point, event uint64) {
	now, _ := d.agenda.Now()
	switch c.Kind {
	case line.FireSignal:
		d.decide(decision{at: now + d.plan.In.DecisionTime, kind: FireDecided, point: point, on: true, event: event})
	case line.PrealarmRead:
		d.decide(decision{at: now + d.plan.In.DecisionTime, kind: PrealarmDecided, point: point, on: c.On, event: event})
	case line.ActiveRead:
		d.points[point].read = c.On
		d.set(term.DeviceActive, point, c.On, event)
		if p.Input == loop.Supervisory {
			d.decide(decision{at: now + d.plan.In.DecisionTime, kind: SupervisoryDecided, point: point, on: c.On, event: event})
		}
		if p.ProvesEquipment >= 0 {
			d.setProven(p.ProvesEquipment, event)
			d.awaitProof(now, point, now, event)
		}
		if p.WatchesSupply >= 0 {
			d.setSupply(p.WatchesSupply, event)
		}
	case line.CommandDone:
		if c.On {
			d.move(move{at: now, output: p.Output, state: term.State(c.State), event: event})
		}
	case line.OutputFault, line.CircuitRead:
		if on := p.Output >= 0 && d.lines[l].OutputFault(p.Device); p.Output >= 0 && (c.On || !on) {
			d.set(term.OutputFault, p.Output, on, event)
		}
		d.setFault(l, point, c.On, event)
	case line.MissingFault, line.WrongType, line.DuplicateSeen:
		d.setFault(l, point, c.On, event)
	}
}

// setFault tells the program whether the point, and so its loop, has any fault; a missed proof is one. A
// further fault that is raised of what is in fault already is told as well: it is news.
func (d *Drill) setFault(l, point int32, raised bool, event uint64) {
	on := d.lines[l].Fault(d.plan.In.Points[point].Device) || d.proofMissing(point)
	if on == d.points[point].fault {
		if raised {
			d.set(term.DeviceFault, point, true, event)
		}
		return
	}
	d.points[point].fault = on
	d.set(term.DeviceFault, point, on, event)
	d.countFault(l, on, event)
}

// countFault counts one fault of a loop's devices or wiring more, or less; the loop is in fault
// while there is any.
func (d *Drill) countFault(l int32, on bool, event uint64) {
	was := d.faulty[l] > 0
	if on {
		d.faulty[l]++
	} else {
		d.faulty[l]--
	}
	if is := d.faulty[l] > 0; is != was {
		d.set(term.LoopFault, l, is, d.add(sim.Event{Kind: LoopFault, Subject: l, Value: flag(is), Parent: event}))
	} else if on {
		d.set(term.LoopFault, l, true, event)
	}
}

// setProven tells the program whether any input proves the equipment's fire action.
func (d *Drill) setProven(e int32, event uint64) {
	proven := false
	for _, point := range d.plan.proofs[e] {
		p := &d.plan.In.Points[point]
		level, ok := d.plan.In.Plant.Proof(int(e), int(p.ProvesSignal))
		shows := d.points[point].read != p.ClosedAtRest
		proven = proven || ok && shows == level
	}
	if proven != d.Fact(term.Fact{Kind: term.EquipmentProven, Index: e}) {
		d.set(term.EquipmentProven, e, proven, event)
	}
}

// setSupply tells the program whether any input that watches a supply reads a fault of it.
func (d *Drill) setSupply(supply int32, event uint64) {
	fault := false
	for i := range d.plan.In.Points {
		fault = fault || d.plan.In.Points[i].WatchesSupply == supply && d.points[i].read
	}
	if fault != d.Fact(term.Fact{Kind: term.SupplyFault, Index: supply}) {
		d.set(term.SupplyFault, supply, fault, event)
	}
}

// decide enters a signal whose decision falls after the decision time, whatever is read
// meanwhile. The decision time is one for the panel, so decisions fall in the order of entry.
func (d *Drill) decide(c decision) {
	d.decisions = append(d.decisions, c)
	d.scheduleProgram(d.instant)
}

// runProgram is the logic phase of an instant: decisions, operators, one evaluation.
func (d *Drill) runProgram(now time.Duration) {
	if d.halt.stopped {
		d.deadKeys()
		return
	}
	n := 0
	for ; n < len(d.decisions) && d.decisions[n].at == now; n++ {
		d.decided(d.decisions[n])
	}
	d.decisions = append(d.decisions[:0], d.decisions[n:]...)
	for k := range d.operators {
		d.operator(&d.operators[k])
	}
	d.operators = d.operators[:0]
	d.changed = false
	d.plan.Program.Evaluate(d.program, now, programSink{d, now})
	d.askedNow(now)
	d.alarmLoad(now)
	d.scheduleProgram(now)
}

var decidedFacts = map[sim.Kind]term.Kind{
	FireDecided: term.DeviceFire, PrealarmDecided: term.DevicePrealarm, SupervisoryDecided: term.DeviceSupervisory,
}

func (d *Drill) decided(c decision) {
	event := d.add(sim.Event{Kind: c.kind, Subject: c.point, Value: flag(c.on), Parent: c.event})
	d.set(decidedFacts[c.kind], c.point, c.on, event)
	if c.kind == FireDecided {
		d.fireChange = event
	}
	if c.kind == FireDecided && !d.points[c.point].indicator && d.present(c.point) {
		d.points[c.point].indicator = true
		d.loadLater(c.point, event)
	}
}

// present reports whether a point is in its base and has not lost its voltage for longer than it rides
// through: only then does it take a command.
func (d *Drill) present(point int32) bool {
	p := &d.plan.In.Points[point]
	return !d.points[point].lost && !d.lines[p.Loop].Presence(p.Device).Removed
}

// scheduleProgram enters the program's next evaluation in the agenda.
func (d *Drill) scheduleProgram(now time.Duration) {
	if d.halt.stopped {
		d.agenda.Clear(sourceProgram)
		return
	}
	at, ok := d.plan.Program.Next(d.program)
	if len(d.decisions) > 0 && (!ok || d.decisions[0].at < at) {
		at, ok = d.decisions[0].at, true
	}
	if d.changed {
		at, ok = max(now, 0), true
	}
	if ok {
		d.agenda.Set(sourceProgram, at, sim.Logic)
	} else {
		d.agenda.Clear(sourceProgram)
	}
}
