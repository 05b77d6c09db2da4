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
var readings = [...]line.Circuit{circuit.Normal: line.Normal, circuit.Open: line.Open, circuit.Short: line.Short}

// circuitFault lets a circuit have the faults that stand: of one run or resistor, the latest.
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
	if fixed := &d.plan.In.Outputs[o]; fixed.Point >= 0 || fixed.Circuit == nil || out.state != term.Rest {
		return
	}
	if out.read == out.reading {
		return
	}
	was := out.read != circuit.Normal
	out.read = out.reading
	e := d.add(sim.Event{Kind: CircuitFault, Subject: o, Value: int64(out.read), Parent: event})
	if is := out.read != circuit.Normal; is != was {
		d.set(term.OutputFault, o, is, e)
	}
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
	if state.position() != term.Rest && !state.shorted() {
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

// overloads reports whether a shorted circuit on the panel takes more than twice what its loads are
// rated at: the panel then switches it off (common practice; NFPA 72 10.17: one circuit's fault must
// not affect another).
func (d *Drill) overloads(o int32) bool {
	out := &d.plan.In.Outputs[o]
	return out.Point < 0 && out.Circuit.Active(d.circuits[o], &d.work, d.outputs[o].latestMicroV).MicroA > 2*out.Circuit.RatedMicroA()
}

// fieldFault lets the field wiring of a relay or of an input have the latest fault that stands.
// Nothing watches a relay's; an input's is watched where it ends in a resistor.
func (d *Drill) fieldFault(now time.Duration, point int32, event uint64) {
	state := wireWhole
	for _, number := range d.standing {
		switch a := &d.journal[number]; {
		case a.Index != point:
		case a.Kind == ActFieldWireOpen:
			state = wireOpen
		case a.Kind == ActFieldWireShort:
			state = wireShort
		}
	}
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
	return s.retarded
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
