package drill

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/sim"
)

// demand carries out what the program demands of an output: a command on its loop, or, on the
// panel itself, the output's operation after the switch time.
func (d *Drill) demand(now time.Duration, o int32, state term.State, c line.Command, event uint64) {
	out := &d.plan.In.Outputs[o]
	if out.Point < 0 {
		d.move(move{at: now + d.plan.In.SwitchTime, output: o, state: state, event: event})
		return
	}
	p := &d.plan.In.Points[out.Point]
	c.Device, c.State, c.Event = p.Device, lineState(state), event
	d.lines[p.Loop].Send(now, c)
	d.schedule(int(p.Loop))
	if p.Kind == "loop_sounder" && state == term.Rest {
		d.ease(p.Loop, now, event)
	}
}

// move enters an output's coming operation.
func (d *Drill) move(m move) {
	at := len(d.moves)
	for at > 0 && d.moves[at-1].at > m.at {
		at--
	}
	d.moves = slices.Insert(d.moves, at, m)
	d.agenda.Set(sourceOutputs, d.moves[0].at, sim.Output)
}

// runMoves operates the outputs whose time has come.
func (d *Drill) runMoves(now time.Duration) {
	n := 0
	for ; n < len(d.moves) && d.moves[n].at == now; n++ {
		d.operate(now, d.moves[n].output, d.moves[n].state, d.moves[n].event)
	}
	d.moves = slices.Delete(d.moves, 0, n)
	if len(d.moves) > 0 {
		d.agenda.Set(sourceOutputs, d.moves[0].at, sim.Output)
	}
}

// operate tells an output to take a state. A circuit that reads shorted is not energised: a module
// does not take the command at all, the panel energises a circuit of its own once it is whole.
func (d *Drill) operate(now time.Duration, o int32, state term.State, parent uint64) {
	out := &d.outputs[o]
	if state != term.Rest && d.heldOff(o) && d.plan.In.Outputs[o].Point >= 0 {
		return
	}
	out.driven = state
	d.settleOutput(now, o, parent)
}

// settleOutput lets the contact or circuit be what it is told, as far as it can: one that is stuck
// stays where it is, a circuit without its supply is at rest, and one at rest that reads shorted is
// held off, by a module until it is told again. Without its supply nothing tries to energise a circuit:
// a short that comes and goes meanwhile makes no module forget what it was told.
func (d *Drill) settleOutput(now time.Duration, o int32, parent uint64) {
	out, fixed := &d.outputs[o], &d.plan.In.Outputs[o]
	without := fixed.Circuit != nil && out.microV == 0
	off := !without && !d.mayEnergise(o) && (out.state == term.Rest || d.overloads(o))
	if off && fixed.Point >= 0 {
		out.driven, out.held = term.Rest, term.Rest
	}
	state := out.position()
	if without || off {
		state = term.Rest
	}
	if out.state != state {
		parent = d.moved(now, o, state, parent)
		if fixed.Point < 0 && out.read != out.reading { // its own circuit's: seen once it is at rest again
			d.after(timer{at: now + d.plan.In.SwitchTime, kind: circuitRests, point: o, event: parent})
		}
	}
	d.energise(now, o, parent)
}

// moved notes an output's new state, and tells its loop and what it drives.
func (d *Drill) moved(now time.Duration, o int32, state term.State, parent uint64) uint64 {
	out, fixed := &d.outputs[o], &d.plan.In.Outputs[o]
	before := out.state
	out.state = state
	out.event = d.add(sim.Event{Kind: OutputOperated, Subject: o, Value: int64(state), Extra: int64(before), Parent: parent})
	if fixed.Point >= 0 {
		p := &d.plan.In.Points[fixed.Point]
		stage := line.Late
		if _, phase := d.agenda.Now(); phase < sim.Line {
			stage = line.Early
		}
		d.lines[p.Loop].SetOutput(now, stage, p.Device, lineState(state), out.event)
		d.schedule(int(p.Loop))
		if p.Kind == "loop_sounder" && d.points[fixed.Point].sounder != (state != term.Rest) {
			d.points[fixed.Point].sounder = state != term.Rest
			d.loadLater(fixed.Point, out.event)
		}
	}
	if (before == term.Rest) != (state == term.Rest) {
		d.driveLater(now, o, out.event)
		if fixed.Equipment >= 0 {
			d.askLater(now, fixed.Equipment, out.event)
		}
	}
	return out.event
}

// driveLater lets what an output drives look at its contact, in the plant's phase of this instant.
func (d *Drill) driveLater(now time.Duration, o int32, event uint64) {
	fixed := &d.plan.In.Outputs[o]
	if fixed.Equipment < 0 {
		return
	}
	flat := d.plan.first[fixed.Equipment] + int(fixed.Input)
	d.drives = append(d.drives, drive{flat: int32(flat), event: event})
	d.agenda.Set(sourcePlant, now, sim.Plant)
}

// lose is what an output does when its module loses the loop or is taken out.
func (d *Drill) lose(now time.Duration, point int32, event uint64) {
	o := d.plan.In.Points[point].Output
	if o < 0 {
		return
	}
	fixed := &d.plan.In.Outputs[o]
	if !fixed.Contact && fixed.Circuit == nil { // a loop sounder: silent without the loop, stuck or not
		d.outputs[o].driven, d.outputs[o].held = term.Rest, term.Rest
		d.settleOutput(now, o, event)
		return
	}
	switch fixed.OnLoss {
	case loop.Rests:
		d.operate(now, o, term.Rest, event)
	case loop.Operates:
		d.operate(now, o, term.On, event)
	}
}

// wake is what an output does when its module has restarted: it is at rest, unless its contact
// stays where it was.
func (d *Drill) wake(now time.Duration, point int32, event uint64) {
	if o := d.plan.In.Points[point].Output; o >= 0 && d.plan.In.Outputs[o].OnLoss != loop.Stays {
		d.operate(now, o, term.Rest, event)
	}
}

// inputOperated reports whether the contacts that drive an equipment input operate it.
func (d *Drill) inputOperated(flat, e, input int) bool {
	return d.plan.operatedBy(flat, d.plan.In.Plant.DeEnergise(e, input), d.conducts)
}

// runPlant tells the equipment what its contacts do, then lets it arrive where it was going: a
// command overtakes what would be done at the very same instant, and of the commands of an instant those
// that oppose others come first, and cease last: no order of outputs lets a release past its hold-off.
func (d *Drill) runPlant(now time.Duration) {
	slices.SortStableFunc(d.drives, func(a, b drive) int { return d.turn(a) - d.turn(b) })
	for _, dr := range d.drives {
		e, input := d.plan.input(int(dr.flat))
		if on := d.inputOperated(int(dr.flat), e, input); on != d.operated[dr.flat] {
			d.operated[dr.flat] = on
			event := dr.event
			if d.plan.In.Plant.StoodIn(d.plant, e) {
				event = d.add(sim.Event{Kind: EquipmentInput, Subject: int32(e), Value: int64(input), Extra: flag(on), Parent: event})
			}
			d.plan.In.Plant.Drive(d.plant, now, e, input, on, event, plantSink{d})
		}
	}
	d.drives = d.drives[:0]
	d.plan.In.Plant.Advance(d.plant, now, plantSink{d})
	d.schedulePlant()
}

// turn is when a drive has its turn inside an instant.
func (d *Drill) turn(dr drive) int {
	e, input := d.plan.input(int(dr.flat))
	switch {
	case !d.plan.In.Plant.Opposes(e, input):
		return 1
	case d.inputOperated(int(dr.flat), e, input):
		return 0
	}
	return 2
}

func (d *Drill) schedulePlant() {
	if at, ok := d.plan.In.Plant.Next(d.plant); ok {
		d.agenda.Set(sourcePlant, at, sim.Plant)
	}
}

// plantSink logs what the plant does and carries its signals to the inputs that prove them.
type plantSink struct{ d *Drill }

// Note logs a change of the plant.
func (s plantSink) Note(c plant.Change) uint64 {
	d := s.d
	switch c.Kind {
	case plant.StateChanged:
		return d.add(sim.Event{Kind: EquipmentChanged, Subject: c.Equipment, Value: int64(c.Index), Parent: c.Parent})
	case plant.Done:
		return d.add(sim.Event{Kind: EquipmentDone, Subject: c.Equipment, Value: int64(c.Index), Parent: c.Parent})
	}
	event := d.add(sim.Event{Kind: SignalChanged, Subject: c.Equipment, Value: int64(c.Index), Extra: flag(c.On), Parent: c.Parent})
	now, _ := d.agenda.Now()
	for _, point := range d.plan.proofs[c.Equipment] {
		if p := &d.plan.In.Points[point]; p.ProvesSignal == c.Index {
			d.after(timer{at: now + d.plan.In.SwitchTime, kind: proofArrives, point: point, on: c.On != p.ClosedAtRest, event: event})
		}
	}
	return event
}
