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

// circuitFault changes a circuit by a fault or by its repair (undo), and follows it.
func (d *Drill) circuitFault(now time.Duration, a *Act, undo bool, event uint64) {
	c, s := d.plan.In.Outputs[a.Index].Circuit, d.circuits[a.Index]
	switch {
	case a.Kind == ActCircuitOpen && !undo:
		s.Break(int(a.Run), circuit.Both)
	case a.Kind == ActCircuitOpen:
		s.Mend(int(a.Run), circuit.Both)
	case a.Kind == ActCircuitShort && !undo:
		s.SetShort(int(a.Run), a.Ohm)
	case a.Kind == ActCircuitShort:
		s.ClearShort(int(a.Run))
	case a.Kind == ActReversed:
		s.SetReversed(int(a.Run), !undo)
	case undo:
		c.Restore(s)
	case a.On && a.Ohm > 0:
		s.SetSecond(a.Ohm)
	case a.Ohm > 0:
		s.SetResistor(a.Ohm)
	default:
		s.RemoveResistor()
	}
	d.supervise(now, a.Index, event)
	d.settleOutput(now, a.Index, event)
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
	if fault := verdict != circuit.Normal; fault != d.outputs[o].fault {
		d.outputs[o].fault = fault
		d.set(term.OutputFault, o, fault, d.add(sim.Event{Kind: CircuitFault, Subject: o, Value: int64(verdict), Parent: event}))
	}
}

// energise works out which loads of a circuit work now, and what its supply is asked for.
func (d *Drill) energise(now time.Duration, o int32, event uint64) {
	out := &d.plan.In.Outputs[o]
	if out.Circuit == nil {
		return
	}
	s, on := d.circuits[o], d.outputs[o].state != term.Rest
	var drawn int64
	if on {
		drawn = out.Circuit.Active(s, &d.work, d.outputs[o].microV).MicroA
	}
	for i, load := range out.Loads {
		if works := on && out.Circuit.Works(s, &d.work, i); works != d.loads[load] {
			d.loads[load] = works
			d.add(sim.Event{Kind: LoadChanged, Subject: load, Value: flag(works), Parent: event})
		}
	}
	d.draw(now, o, drawn, event)
}

// fieldFault changes the field wiring of a relay or of an input. Nothing watches a relay's; an
// input's is watched where it ends in a resistor.
func (d *Drill) fieldFault(now time.Duration, a *Act, undo bool, event uint64) {
	state := wireWhole
	switch {
	case undo:
	case a.Kind == ActFieldWireOpen:
		state = wireOpen
	default:
		state = wireShort
	}
	p := &d.plan.In.Points[a.Index]
	if p.Output >= 0 {
		d.outputs[p.Output].wire = state
		d.driveLater(now, p.Output, event)
		return
	}
	d.points[a.Index].wire = state
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
	d.sense(now, a.Index, event)
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

// conducts reports whether what an output drives sees a closed contact or a live circuit.
func (d *Drill) conducts(o int32) bool {
	switch d.outputs[o].wire {
	case wireOpen:
		return false
	case wireShort:
		return true
	}
	return d.plan.In.Outputs[o].Closed(d.outputs[o].state != term.Rest)
}
