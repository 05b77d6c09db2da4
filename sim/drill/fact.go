package drill

import (
	"loopdrill.dev/loopdrill/logic/term"
)

// Fact answers one fact: what the panel knows from the program, what only the bench knows from
// the installation as it is.
func (d *Drill) Fact(f term.Fact) bool {
	switch f.Kind {
	case term.OutputState:
		return d.outputs[f.Index].state == term.State(f.Value)
	case term.PanelStopped:
		return d.halt.stopped
	case term.LoadOn:
		return d.loads[f.Index]
	case term.OutputCadence:
		pattern, _ := d.Cadence(f.Index)
		return int32(pattern) == f.Value
	case term.LoadSounding:
		return d.sounding(f.Index)
	case term.EquipmentState:
		return d.plan.In.Plant.StateIndex(d.plant, int(f.Index)) == int(f.Value)
	case term.DeviceFed:
		p := &d.plan.In.Points[f.Index]
		at := d.lines[p.Loop].Presence(p.Device)
		return !at.Unfed && !at.Removed
	case term.DeviceReachable:
		p := &d.plan.In.Points[f.Index]
		at := d.lines[p.Loop].Presence(p.Device)
		return !at.Unfed && !at.Removed && !at.Muted
	}
	return d.plan.Program.Fact(d.program, f)
}

// Holds evaluates a condition over the drill as it is now.
func (d *Drill) Holds(t *term.Term) bool { return t.Eval(d.Fact) }

// Output is the state that an output is in.
func (d *Drill) Output(o int32) term.State { return d.outputs[o].state }

// Pending reports whether any output has yet to do what is demanded of it: a command waits or
// is on its way.
func (d *Drill) Pending() bool {
	if len(d.moves) > 0 {
		return true
	}
	for _, l := range d.lines {
		if l.Pending() > 0 {
			return true
		}
	}
	return false
}

// Running reports whether something goes on that nobody need touch: a delay, a pulse or an off-delay of the
// program, equipment on its way, an input that retards, a proof that is awaited, a command. A delay that stands
// still is not among it, nor a signal that its zone holds back.
func (d *Drill) Running() bool {
	if _, moving := d.plan.In.Plant.Next(d.plant); moving || len(d.timers) > 0 || len(d.decisions) > 0 || d.Pending() {
		return true
	}
	program := d.plan.Program
	for i := range program.Pairs() {
		if _, begun, standing := program.Delaying(d.program, i); begun && !standing {
			return true
		}
		pair := program.Pair(i)
		if pair.For == 0 && pair.Hold == 0 || !program.Active(d.program, i) && !program.Withheld(d.program, i) {
			continue
		}
		if pair.For > 0 || !program.Fact(d.program, term.Fact{Kind: term.CauseTrue, Index: int32(pair.Cause)}) {
			return true
		}
	}
	return false
}
