package drill

import (
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/sim"
)

// Fork returns an independent drill in the same state; the log so far is shared.
func (d *Drill) Fork() *Drill {
	f := &Drill{agenda: sim.NewAgenda(0), program: d.plan.Program.NewState(), plant: d.plan.In.Plant.NewState(), power: &power.State{}}
	f.circuits = make([]*circuit.State, len(d.circuits))
	for o, c := range d.circuits {
		if c != nil {
			f.circuits[o] = &circuit.State{}
		}
	}
	for i, l := range d.lines {
		f.lines = append(f.lines, l.Copy())
		f.wires = append(f.wires, &wire.State{})
		f.wires[i].CopyFrom(d.wires[i])
	}
	f.copyFrom(d)
	return f
}

// CopyFrom makes d equal to o, a drill of the same plan, reusing d's memory.
func (d *Drill) CopyFrom(o *Drill) {
	for i, l := range o.lines {
		d.lines[i].CopyFrom(l)
		d.wires[i].CopyFrom(o.wires[i])
	}
	d.copyFrom(o)
}

// copyFrom copies everything but the lines.
func (d *Drill) copyFrom(o *Drill) {
	own := *d
	*d = *o
	d.log = o.log.Fork()
	d.agenda, d.lines, d.wires, d.program, d.plant = own.agenda, own.lines, own.wires, own.program, own.plant
	d.circuits, d.power, d.work = own.circuits, own.power, own.work
	for i, c := range o.circuits {
		if c != nil {
			d.circuits[i].CopyFrom(c)
		}
	}
	d.power.CopyFrom(o.power)
	d.drawn = append(own.drawn[:0], o.drawn...)
	d.beside = append(own.beside[:0], o.beside...)
	d.looped = append(own.looped[:0], o.looped...)
	d.supplied = append(own.supplied[:0], o.supplied...)
	d.loads = append(own.loads[:0], o.loads...)
	d.wirings = append(own.wirings[:0], o.wirings...)
	d.cables = append(own.cables[:0], o.cables...)
	d.agenda.CopyFrom(o.agenda)
	d.program.CopyFrom(o.program)
	d.plant.CopyFrom(o.plant)
	d.points = append(own.points[:0], o.points...)
	d.proofs = append(own.proofs[:0], o.proofs...)
	d.outputs = append(own.outputs[:0], o.outputs...)
	d.operated = append(own.operated[:0], o.operated...)
	d.faulty = append(own.faulty[:0], o.faulty...)
	d.journal = append(own.journal[:0], o.journal...)
	d.standing = append(own.standing[:0], o.standing...)
	d.order = append(own.order[:0], o.order...)
	d.timers = append(own.timers[:0], o.timers...)
	d.lapsed = append(own.lapsed[:0], o.lapsed...)
	d.decisions = append(own.decisions[:0], o.decisions...)
	d.moves = append(own.moves[:0], o.moves...)
	d.operators = append(own.operators[:0], o.operators...)
	d.drives = append(own.drives[:0], o.drives...)
}
