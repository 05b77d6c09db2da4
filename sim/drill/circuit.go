package drill

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/sim"
)

// fieldWire is what is wrong with the unsupervised wiring between a contact and what it drives, or
// between an input and its field contact.
type fieldWire uint8

const (
	wireWhole fieldWire = iota
	wireOpen
	wireShort
)

// readings translates what a circuit reads at rest into the line's words.
var readings = [...]line.Circuit{circuit.Normal: line.Normal, circuit.Open: line.Open, circuit.Short: line.Short, circuit.Earth: line.Earth}

// circuitFault lets a circuit have the faults that stand: of one kind on one run, core or resistor, the
// latest.
func (d *Drill) circuitFault(now time.Duration, o int32, event uint64) {
	s := d.circuits[o]
	d.plan.In.Outputs[o].Circuit.Heal(s)
	for _, number := range d.standing {
		a := &d.journal[number]
		if a.Kind.circuit() && a.Index == o {
			a.harm(s)
		}
	}
	d.supervise(now, o, event)
	d.settleOutput(now, o, event)
}

// harm does to a circuit what the act says.
func (a *Act) harm(s *circuit.State) {
	switch {
	case a.Kind == ActCircuitOpen:
		s.Break(int(a.Run), circuit.Both)
	case a.Kind == ActCircuitShort:
		s.SetShort(int(a.Run), a.Ohm)
	case a.Kind == ActCircuitEarth:
		s.SetEarth(int(a.Run), circuit.Core(a.Core), a.Ohm)
	case a.Kind == ActReversed:
		s.SetReversed(int(a.Run), true)
	case a.On:
		s.SetSecond(a.Ohm)
	case a.Ohm > 0:
		s.SetResistor(a.Ohm)
	default:
		s.RemoveResistor()
	}
}

// supervise lets a module read its circuit at rest. A circuit on the panel is read by the panel
// itself, at once.
func (d *Drill) supervise(now time.Duration, o int32, event uint64) {
	out := &d.plan.In.Outputs[o]
	verdict := out.Circuit.Rest(d.circuits[o], &d.work).Verdict
	d.outputs[o].reading = verdict
	if out.Point >= 0 {
		p := &d.plan.In.Points[out.Point]
		d.lines[p.Loop].SetCircuit(now, line.Early, p.Device, readings[verdict], event)
		d.schedule(int(p.Loop))
		return
	}
	d.readPanelCircuit(o, event)
}

// readPanelCircuit lets the panel read a circuit of its own. While that is active the last verdict
// stands.
func (d *Drill) readPanelCircuit(o int32, event uint64) {
	out := &d.outputs[o]
	if fixed := &d.plan.In.Outputs[o]; d.halt.stopped || fixed.Point >= 0 || fixed.Circuit == nil || out.state != term.Rest {
		return
	}
	if out.read == out.reading {
		return
	}
	out.read = out.reading
	e := d.add(sim.Event{Kind: CircuitFault, Subject: o, Value: int64(out.read), Parent: event})
	d.set(term.OutputFault, o, out.read != circuit.Normal, e) // another reading that is not normal is a further fault
}

// energise works out which loads of a circuit work now, and what its supply is asked for: what is
// switched on, whether or not the supply gives it. Otherwise a supply that is overloaded would come
// back as soon as it has gone, and go again.
func (d *Drill) energise(now time.Duration, o int32, event uint64) {
	out := &d.plan.In.Outputs[o]
	if out.Circuit == nil {
		return
	}
	s, state := d.circuits[o], &d.outputs[o]
	var asked int64
	if state.position() != term.Rest && !d.heldOff(o) {
		asked = out.Circuit.Active(s, &d.work, state.latestMicroV).MicroA
	}
	on := state.state != term.Rest
	for i, load := range out.Loads {
		if works := on && out.Circuit.Works(s, &d.work, i); works != d.loads[load] {
			d.loads[load] = works
			event := d.add(sim.Event{Kind: LoadChanged, Subject: load, Value: flag(works), Parent: event})
			if i == len(out.Loads)-1 {
				d.driveLater(now, o, event)
			}
		}
	}
	d.draw(now, o, asked, event)
}

// mayEnergise reports whether an output's module or the panel energises its circuit, going by its
// reading at rest; a contact always goes where it is told.
func (d *Drill) mayEnergise(o int32) bool {
	c := d.plan.In.Outputs[o].Circuit
	return c == nil || c.MayEnergise(d.outputs[o].reading)
}

// heldOff reports whether a circuit is at rest and stays so, whatever it is told.
func (d *Drill) heldOff(o int32) bool { return d.outputs[o].state == term.Rest && !d.mayEnergise(o) }

// overloads reports whether a shorted circuit on the panel takes more than twice what its loads are
// rated at: the panel then switches it off (common practice; NFPA 72 10.17: one circuit's fault must
// not affect another).
func (d *Drill) overloads(o int32) bool {
	out := &d.plan.In.Outputs[o]
	return out.Point < 0 && out.Circuit.Active(d.circuits[o], &d.work, d.outputs[o].latestMicroV).MicroA > 2*out.Circuit.RatedMicroA()
}

// wireFault is the latest of two kinds of fault that stands on the field wiring of a point or output.
func (d *Drill) wireFault(index int32, open, short ActKind) fieldWire {
	state := wireWhole
	for _, number := range d.standing {
		switch a := &d.journal[number]; {
		case a.Index != index:
		case a.Kind == open:
			state = wireOpen
		case a.Kind == short:
			state = wireShort
		}
	}
	return state
}

// relayWireFault lets the field wiring of a relay on the panel have the latest fault that stands.
// Nothing watches it.
func (d *Drill) relayWireFault(now time.Duration, o int32, event uint64) {
	d.outputs[o].wire = d.wireFault(o, ActRelayWireOpen, ActRelayWireShort)
	d.driveLater(now, o, event)
}

// fieldFault lets the field wiring of a relay module or of an input have the latest fault that stands.
// Nothing watches a relay's; an input's is watched where it ends in a resistor.
func (d *Drill) fieldFault(now time.Duration, point int32, event uint64) {
	state := d.wireFault(point, ActFieldWireOpen, ActFieldWireShort)
	p := &d.plan.In.Points[point]
	if p.Output >= 0 {
		d.outputs[p.Output].wire = state
		d.driveLater(now, p.Output, event)
		return
	}
	d.points[point].wire = state
	if p.Supervised {
		c := line.Normal
		switch {
		case state == wireOpen:
			c = line.Open
		case state == wireShort && p.ShortIsFault:
			c = line.Short
		}
		d.lines[p.Loop].SetCircuit(now, line.Early, p.Device, c, event)
	}
	d.see(now, point, event)
	d.sense(now, point, event)
	d.schedule(int(p.Loop))
}

// fieldContact is an input's contact as the module sees it through its field wiring. A broken wire
// is a contact that stays open, a shorted one a contact that stays closed; where the wiring is
// supervised a break, and a short that means a fault, is told apart from either.
func (d *Drill) fieldContact(i int32) (operated bool) {
	p, s := &d.plan.In.Points[i], &d.points[i]
	switch s.wire {
	case wireOpen:
		return !p.Supervised && p.ClosedAtRest
	case wireShort:
		return p.Supervised && !p.ShortIsFault || !p.Supervised && !p.ClosedAtRest
	}
	return s.contact
}

// see lets the module see its contact through the field wiring, and starts its retard time, which it
// keeps whatever closes the contact: a shorted wire too.
func (d *Drill) see(now time.Duration, i int32, event uint64) {
	p, on := &d.points[i], d.fieldContact(i)
	if p.seen == on {
		return
	}
	p.seen, p.retarded = on, false
	p.version++
	retard := d.plan.In.Points[i].Retard
	switch {
	case !on:
	case retard == 0:
		p.retarded = true
	default:
		d.after(timer{at: now + retard, kind: retardOver, point: i, version: p.version, event: event})
	}
}

// conducts reports whether what an output drives sees a closed contact or a live circuit. What a
// circuit drives hangs where its last load does, and needs the same voltage.
func (d *Drill) conducts(o int32) bool {
	switch d.outputs[o].wire {
	case wireOpen:
		return false
	case wireShort:
		return true
	}
	fixed := &d.plan.In.Outputs[o]
	if n := len(fixed.Loads); fixed.Circuit != nil && n > 0 {
		return d.loads[fixed.Loads[n-1]]
	}
	return fixed.Closed(d.outputs[o].state != term.Rest)
}
