package drill

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/sim"
)

// powerSink logs what the supplies do and carries it to circuits and to the inputs that watch.
type powerSink struct{ d *Drill }

var powerKinds = [...]sim.Kind{
	power.FuseBlown: FuseChanged, power.BatteryCarries: BatteryCarries, power.Discharged: BatteryDischarged, power.LowBattery: BatteryLow,
	power.Overload: SupplyOverload, power.OutputLost: SupplyLost, power.SignalChanged: SupplySignal,
}

// Note logs a change of a supply.
func (s powerSink) Note(c power.Change) uint64 {
	d := s.d
	e := sim.Event{Kind: powerKinds[c.Kind], Subject: c.Supply, Value: flag(c.On), Parent: c.Parent}
	if c.Kind == power.SignalChanged {
		e.Extra = int64(c.Signal)
	}
	event := d.add(e)
	if c.Kind != power.SignalChanged {
		d.supplied[c.Supply] = event
	}
	now, _ := d.agenda.Now()
	panel := int(c.Supply) == d.plan.In.Power.Panel()
	switch {
	case c.Kind == power.SignalChanged && panel && c.Signal == power.Fault:
		d.set(term.SupplyFault, c.Supply, c.On, event)
	case c.Kind == power.SignalChanged:
		d.tell(now, c, event)
	}
	return event
}

// tell lets the inputs that watch a supply's signal hear of it, after the switch time.
func (d *Drill) tell(now time.Duration, c power.Change, event uint64) {
	for i := range d.plan.In.Points {
		p := &d.plan.In.Points[i]
		if p.WatchesSupply == c.Supply && p.WatchesSignal == c.Signal {
			d.after(timer{at: now + d.plan.In.SwitchTime, kind: proofArrives, point: int32(i), on: c.On, event: event})
		}
	}
}

// runPower lets the supplies do what is due, and the circuits follow their voltage.
func (d *Drill) runPower(now time.Duration) {
	d.plan.In.Power.Advance(d.power, now, powerSink{d})
	d.powered(now)
}

// powered follows a change of the supplies: every circuit has the voltage that its supply now
// gives, which follows from the latest change of that supply. What a circuit then draws may change
// its supply again; the second look finds nothing new.
func (d *Drill) powered(now time.Duration) {
	for o := range d.outputs {
		out := &d.plan.In.Outputs[o]
		if out.Circuit == nil {
			continue
		}
		if v := d.plan.In.Power.MicroV(d.power, int(out.Supply)); v != d.outputs[o].microV {
			d.outputs[o].give(v)
			d.settleOutput(now, int32(o), d.supplied[out.Supply])
		}
	}
	d.heed(now, d.supplied[d.plan.In.Power.Panel()])
	d.schedulePower()
}

// draw tells a supply what one circuit is asked for.
func (d *Drill) draw(now time.Duration, o int32, microA int64, event uint64) {
	supply := d.plan.In.Outputs[o].Supply
	if d.outputs[o].microA == microA {
		return
	}
	d.drawn[supply] += microA - d.outputs[o].microA
	d.outputs[o].microA = microA
	d.after(timer{at: now + d.plan.In.SwitchTime, kind: drainChanges, point: supply, event: event})
}

// alarmLoad asks the supplies for their further current in alarm while the panel is in fire.
func (d *Drill) alarmLoad(now time.Duration) {
	event := d.fireChange
	if event == 0 {
		return
	}
	d.fireChange = 0
	fire := false
	for i := range d.points {
		fire = fire || d.plan.In.Points[i].Input.Fire() && d.Fact(term.Fact{Kind: term.DeviceFire, Index: int32(i)})
	}
	if fire == d.fire {
		return
	}
	d.fire = fire
	for i := range d.drawn {
		d.drawBeside(now, int32(i), event)
	}
}

// loopLoad notes what a loop takes from the panel's supply more than at rest: indicators, loop sounders,
// a short that its driver carries.
func (d *Drill) loopLoad(l int32, now time.Duration, event uint64) {
	if more := d.plan.In.Loops[l].Wire.More(d.wires[l]); more != d.looped[l] {
		d.looped[l] = more
		d.drawBeside(now, int32(d.plan.In.Power.Panel()), event)
	}
}

// drawBeside tells a supply what it is asked for beside its standby current and its circuits: its
// current in alarm while the panel is in fire. That of the panel counts its loops in alarm (rule I2),
// so that what they take is drawn besides only as far as it is more.
func (d *Drill) drawBeside(now time.Duration, supply int32, event uint64) {
	var microA, loops int64
	if d.fire {
		microA = d.plan.In.Power.AlarmMicroA(int(supply))
	}
	if int(supply) == d.plan.In.Power.Panel() {
		for _, more := range d.looped {
			loops += more
		}
	}
	if microA = max(microA, loops); microA == d.beside[supply] {
		return
	}
	d.drawn[supply] += microA - d.beside[supply]
	d.beside[supply] = microA
	d.after(timer{at: now + d.plan.In.SwitchTime, kind: drainChanges, point: supply, event: event})
}

// drain tells a supply what its circuits are asked for together.
func (d *Drill) drain(now time.Duration, supply int32, event uint64) {
	d.plan.In.Power.SetLoad(d.power, now, int(supply), d.drawn[supply], event, powerSink{d})
	d.powered(now)
}

// supplyFault lets the supply that an act names have its condition while any such act stands. One
// that names none means the mains of the whole building.
func (d *Drill) supplyFault(now time.Duration, a *Act, event uint64) {
	for i := range d.plan.In.Power.Len() {
		if !a.feeds(i) {
			continue
		}
		on := slices.ContainsFunc(d.standing, func(number int32) bool {
			other := &d.journal[number]
			return other.Kind == ActSupply && other.Value == a.Value && other.feeds(i)
		})
		d.plan.In.Power.Set(d.power, now, i, power.Condition(a.Value), on, event, powerSink{d})
	}
	d.powered(now)
}

// feeds reports whether an act on a supply means this one.
func (a *Act) feeds(supply int) bool { return a.Index < 0 || int(a.Index) == supply }

func (d *Drill) schedulePower() {
	if at, ok := d.plan.In.Power.Next(d.power); ok {
		d.agenda.Set(sourcePower, at, sim.Wire)
	} else {
		d.agenda.Clear(sourcePower)
	}
}
