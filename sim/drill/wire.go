package drill

import (
	"time"

	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/sim"
)

// wiring is what the controller of a loop knows of its wiring: it looks at the end of each round.
//
// A ring may hold its line from both ends only: with a short of some ohms, or a load that is too much
// for one. Having gone back to one end, and finding the ring broken again though nobody has touched
// it, the controller does not hunt: it drives both ends until something changes (common practice).
type wiring struct {
	watched bool   // a look would find something new
	touched bool   // faults, repairs or loads have changed since the ring was last found whole
	kept    bool   // both ends stay driven, whatever a look finds, until it is touched
	broken  bool   // the ring's far end does not come back: raised
	earth   bool   // an earth is raised
	over    bool   // an overload is raised: the polling knows it too
	latest  uint64 // the latest event of the wire: what the loop draws follows from it
	cause   uint64 // the latest event of the wire: what a look would find follows from it
}

// wireSink logs what a loop's wire does and tells polling and outputs.
type wireSink struct {
	d    *Drill
	loop int32
}

// Note logs a change of the wire.
func (s wireSink) Note(c wire.Change) uint64 {
	event := s.note(c)
	s.d.wirings[s.loop].latest = event
	if c.Kind == wire.IsolatorChanged || c.Kind == wire.TerminalChanged {
		s.d.wirings[s.loop].cause = event
	}
	return event
}

func (s wireSink) note(c wire.Change) uint64 {
	d := s.d
	switch c.Kind {
	case wire.FedChanged:
		point := d.plan.In.Loops[s.loop].Wired[c.Index]
		event := d.add(sim.Event{Kind: FeedChanged, Subject: point, Value: flag(c.On), Parent: c.Parent})
		d.fed(s.loop, point, c.On, event)
		return event
	case wire.HoldEnded:
		point := d.plan.In.Loops[s.loop].Wired[c.Index]
		event := d.add(sim.Event{Kind: ModuleLost, Subject: point, Parent: c.Parent})
		now, _ := d.agenda.Now()
		d.points[point].lost = true
		d.points[point].indicator, d.points[point].sounder = false, false
		d.lose(now, point, event)
		return event
	case wire.IsolatorChanged:
		return d.add(sim.Event{Kind: IsolatorMoved, Subject: s.loop, Value: int64(c.Index), Extra: flag(c.On), Parent: c.Parent})
	case wire.TerminalChanged:
		return d.add(sim.Event{Kind: TerminalMoved, Subject: s.loop, Value: int64(c.Index), Extra: flag(c.On), Parent: c.Parent})
	case wire.OverloadChanged:
		return d.overload(s.loop, c.On, c.Parent)
	}
	return d.add(sim.Event{Kind: LoopCollapsed, Subject: s.loop, Value: flag(c.On), Parent: c.Parent})
}

// fed tells a loop's polling that a device has, or no longer has, its voltage. One that was away
// for longer than it rides through comes back at rest, unless its contact stays where it was.
func (d *Drill) fed(l, point int32, on bool, event uint64) {
	now, _ := d.agenda.Now()
	p := &d.plan.In.Points[point]
	at := d.lines[l].Presence(p.Device)
	at.Unfed = !on
	d.lines[l].SetPresence(now, p.Device, at, event)
	if on && d.points[point].lost {
		d.points[point].lost = false
		if !at.Removed { // one that is out restarts when it is put back
			d.wake(now, point, event)
		}
	}
	d.schedule(int(l))
}

// runWire lets a loop's wire do what is due.
func (d *Drill) runWire(l int32, now time.Duration) {
	d.plan.In.Loops[l].Wire.Advance(d.wires[l], now, wireSink{d, l})
	d.wired(l, now, d.wirings[l].cause)
}

// wired follows a change of a loop's wire: its next event, and whether the controller's next look
// would find something new. What it finds follows from event.
func (d *Drill) wired(l int32, now time.Duration, event uint64) {
	n, s := d.plan.In.Loops[l].Wire, d.wires[l]
	source := sourceLoops + len(d.lines) + int(l)
	if at, ok := n.Next(s); ok {
		d.agenda.Set(source, at, sim.Wire)
	} else {
		d.agenda.Clear(source)
	}
	w := &d.wirings[l]
	d.loopLoad(l, now, max(event, w.latest))
	if d.halt.stopped {
		return
	}
	if over := n.Overloaded(s); over != w.over { // since before the panel worked
		d.overload(l, over, event)
	}
	news := n.Continuity(s) == w.broken && !w.kept || n.EarthFault(s) != w.earth
	if news != w.watched {
		w.watched = news
		d.lines[l].Watch(now, news, event)
		d.schedule(int(l))
	}
}

// look is the controller's look at its wiring, at the end of a round. It drives the far end of a
// broken ring, and the first terminal alone again when the ring is whole.
func (d *Drill) look(l int32, now time.Duration, cause uint64) {
	n, s, w := d.plan.In.Loops[l].Wire, d.wires[l], &d.wirings[l]
	if broken := !n.Continuity(s); broken != w.broken && !w.kept {
		w.broken, w.kept = broken, broken && !w.touched
		w.touched = w.touched && broken
		event := d.add(sim.Event{Kind: RingBroken, Subject: l, Value: flag(broken), Parent: cause})
		d.countFault(l, broken, event)
		d.after(timer{at: now + d.plan.In.SwitchTime, kind: farEnd, point: l, on: broken, event: event})
	}
	if earth := n.EarthFault(s); earth != w.earth {
		w.earth = earth
		d.countFault(l, earth, d.add(sim.Event{Kind: EarthSeen, Subject: l, Value: flag(earth), Parent: cause}))
	}
	w.watched = false
	d.lines[l].Watch(now, false, 0)
}

// overload raises, or clears, an overload of a loop's driver, and returns the event: its cause
// as long as the panel does not work.
func (d *Drill) overload(l int32, on bool, cause uint64) uint64 {
	w := &d.wirings[l]
	if d.halt.stopped || on == w.over {
		return cause
	}
	w.over = on
	event := d.add(sim.Event{Kind: LoopOverload, Subject: l, Value: flag(on), Parent: cause})
	d.countFault(l, on, event)
	now, _ := d.agenda.Now()
	d.lines[l].SetOverload(now, on)
	d.schedule(int(l))
	return event
}

// Overloaded reports whether an overload of a loop is raised.
func (d *Drill) Overloaded(l int32) bool { return d.wirings[l].over }

// ease tells the wire that the program has taken a demand from a load of the loop.
func (d *Drill) ease(l int32, now time.Duration, event uint64) {
	d.plan.In.Loops[l].Wire.Ease(d.wires[l], now, event)
	d.wired(l, now, event)
}

// touch notes that somebody has worked on a loop, or that its loads are others.
func (w *wiring) touch() { w.touched, w.kept = true, false }

// load tells the wire what a device draws from now on.
func (d *Drill) load(point int32, now time.Duration, event uint64) {
	p, s := &d.plan.In.Points[point], &d.points[point]
	d.wirings[p.Loop].touch()
	d.plan.In.Loops[p.Loop].Wire.SetLoads(d.wires[p.Loop], now, p.Entry, s.indicator, s.sounder, event, wireSink{d, p.Loop})
	d.wired(p.Loop, now, event)
}

// loadLater lets a change of a device's load reach the wire after the switch time.
func (d *Drill) loadLater(point int32, event uint64) {
	now, _ := d.agenda.Now()
	d.after(timer{at: now + d.plan.In.SwitchTime, kind: loadChanges, point: point, event: event})
}

// wireOf is the loop that a fault of a cable, or of a device's terminals, lies on.
func (d *Drill) wireOf(a *Act) int32 {
	if a.Kind == ActDeviceReversed {
		return d.plan.In.Points[a.Index].Loop
	}
	return a.Index
}

// takeOut tells the wire that a device is out of its base, or back in it, dark and silent.
func (d *Drill) takeOut(point int32, now time.Duration, out bool, event uint64) {
	p := &d.plan.In.Points[point]
	d.points[point].indicator = false
	d.wirings[p.Loop].touch()
	d.plan.In.Loops[p.Loop].Wire.TakeOut(d.wires[p.Loop], now, p.Entry, out, event, wireSink{d, p.Loop})
	d.wired(p.Loop, now, event)
}

// cable puts a fault into a loop's cable; the number is kept for its repair.
func (d *Drill) cable(now time.Duration, act int32, a *Act, event uint64) {
	l := d.wireOf(a)
	d.wirings[l].touch()
	d.cables = append(d.cables, placedFault{act, d.plan.In.Loops[l].Wire.Place(d.wires[l], now, a.fault(), event, wireSink{d, l})})
	d.wired(l, now, event)
}

// stick lets an isolator have the latest position in which it is stuck, or move again.
func (d *Drill) stick(now time.Duration, a *Act, event uint64) {
	position := wire.Free
	for _, number := range d.standing {
		if other := &d.journal[number]; other.Kind == ActIsolatorStuck && other.Index == a.Index && other.Run == a.Run {
			position = wire.StuckClosed
			if other.On {
				position = wire.StuckOpen
			}
		}
	}
	d.wirings[a.Index].touch()
	d.plan.In.Loops[a.Index].Wire.Stick(d.wires[a.Index], now, a.Run, position, event, wireSink{d, a.Index})
	d.wired(a.Index, now, event)
}

// mend takes a fault of a loop's cable away.
func (d *Drill) mend(now time.Duration, act int32, a *Act, event uint64) {
	l := d.wireOf(a)
	d.wirings[l].touch()
	for i, c := range d.cables {
		if c.act == act {
			d.plan.In.Loops[l].Wire.Repair(d.wires[l], now, c.number, event, wireSink{d, l})
			d.cables = append(d.cables[:i], d.cables[i+1:]...)
			break
		}
	}
	d.wired(l, now, event)
}

// placedFault is a fault that an act of the journal put into a cable.
type placedFault struct{ act, number int32 }

var cableFaults = map[ActKind]wire.FaultKind{ActBreak: wire.Break, ActShort: wire.Short, ActJoint: wire.Joint, ActEarth: wire.Earth, ActDeviceReversed: wire.Reversed}

// fault is the wire's own form of an act on a cable.
func (a *Act) fault() wire.Fault {
	return wire.Fault{Kind: cableFaults[a.Kind], Run: a.Run, Core: wire.Core(a.Core), At: a.Where, Ohm: a.Ohm}
}

// feedAtStart tells a loop's polling which devices its wiring cannot feed even when it is healthy.
func (d *Drill) feedAtStart(l int32, start uint64) {
	for e, point := range d.plan.In.Loops[l].Wired {
		if point >= 0 && !d.plan.In.Loops[l].Wire.Fed(d.wires[l], int32(e)) {
			d.points[point].lost = true
			d.fed(l, point, false, start)
			d.lose(0, point, start)
		}
	}
	d.wired(l, 0, start)
}
