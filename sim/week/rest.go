package week

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim/drill"
)

// fresh is a panel as it stands that was never touched and finds inputs in the given positions:
// what it indicates and where its outputs are once all delays are over. Equipment may be left in
// another state than it began with (a valve stays shut until a fitter opens it), and then its
// signals rightly say so; so does the fault of a proof that equipment, left so, does not give.
func (w *watch) fresh(d *drill.Drill) (*drill.Drill, error) {
	moment := (w.begins + w.now - w.settle()) % whole // so that the calendar stands where it does now
	if moment < 0 {
		moment += whole
	}
	ref, bare := drill.NewAt(w.plan, 0, moment), drill.NewAt(w.plan, 0, moment)
	var acts []drill.Act
	for i := range w.plan.In.Points {
		point := int32(i)
		switch is := d.InputActive(point); {
		case is == bare.InputActive(point):
		case is:
			acts = append(acts, drill.Act{At: time.Second, Kind: drill.ActActivate, Index: point})
		default:
			acts = append(acts, drill.Act{At: time.Second, Kind: drill.ActClear, Index: point})
		}
	}
	if len(acts) > 0 {
		acts = append(acts, w.unproven(d, bare)...)
	}
	for _, a := range acts {
		if err := ref.Do(a); err != nil {
			return nil, err
		}
	}
	return ref, ref.RunUntil(w.settle())
}

// unproven puts the inputs in fault that do not prove because their equipment was left as it is.
func (w *watch) unproven(d, bare *drill.Drill) []drill.Act {
	var acts []drill.Act
	for i := range w.plan.In.Points {
		e := w.plan.In.Points[i].ProvesEquipment
		if e < 0 || !w.Fact(term.Fact{Kind: term.DeviceFault, Index: int32(i)}) {
			continue
		}
		for state := range w.plan.In.Plant.States(int(e)) {
			f := term.Fact{Kind: term.EquipmentState, Index: e, Value: int32(state)}
			if d.Fact(f) && !bare.Fact(f) {
				acts = append(acts, drill.Act{At: time.Second, Kind: drill.ActMute, Index: int32(i)})
			}
		}
	}
	return acts
}

// rest compares the panel, with everything put right and reset, with a fresh one.
func (w *watch) rest(d *drill.Drill) (*Violation, error) {
	ref, err := w.fresh(d)
	if err != nil {
		return nil, err
	}
	for _, f := range w.known() {
		if is := w.Fact(f); is != ref.Fact(f) {
			claim := w.cel(f)
			if is {
				claim = "!(" + claim + ")"
			}
			return &Violation{Rest, w.now, "all is put right and reset, and still " + w.plan.DescribeFact(f, is), claim, w.plan.DescribeFact(f, true)}, nil
		}
	}
	return nil, nil
}

// known lists what the panel knows and where the outputs are, outputs first: of several things that
// are not as they should be they are the gravest. Left out is what the calendar moves, and what an
// operator's acknowledgement of a signal that still stands leaves behind.
func (w *watch) known() []term.Fact {
	var facts []term.Fact
	each := func(n int, kinds ...term.Kind) {
		for i := range n {
			for _, k := range kinds {
				facts = append(facts, term.Fact{Kind: k, Index: int32(i)})
			}
		}
	}
	for o := range w.plan.In.Outputs {
		for state := range term.Off {
			facts = append(facts, term.Fact{Kind: term.OutputState, Index: int32(o), Value: int32(state)})
		}
	}
	each(len(w.plan.In.Points), term.DeviceFire, term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault, term.DeviceDisabled, term.DeviceActive)
	each(len(w.plan.In.Zones), term.ZoneDisabled, term.ZoneTest, term.ZoneConfirmed)
	each(len(w.plan.In.Outputs), term.OutputFault, term.OutputDisabled)
	each(len(w.plan.World.Supplies), term.SupplyFault)
	each(len(w.plan.In.Loops), term.LoopFault)
	each(w.plan.In.Plant.Len(), term.EquipmentDisabled)
	each(len(w.plan.World.Controls), term.ControlOn)
	each(1, term.PanelSilenced, term.PanelEvacuate)
	return facts
}

// cel is a fact as a condition says it.
func (w *watch) cel(f term.Fact) string {
	of := func(what, id, word string) string { return fmt.Sprintf("%s('%s').%s", what, id, word) }
	world := w.plan.World
	words := map[term.Kind]string{
		term.DeviceFire: "fire", term.DevicePrealarm: "prealarm", term.DeviceSupervisory: "supervisory", term.DeviceFault: "fault",
		term.DeviceDisabled: "disabled", term.DeviceActive: "active", term.ZoneDisabled: "disabled", term.ZoneTest: "test",
		term.ZoneConfirmed: "confirmed", term.OutputFault: "fault", term.OutputDisabled: "disabled",
	}
	switch f.Kind {
	case term.OutputState:
		return fmt.Sprintf("output('%s').state == '%s'", world.Outputs[f.Index].Label, term.State(f.Value))
	case term.ZoneDisabled, term.ZoneTest, term.ZoneConfirmed:
		return of("zone", world.Zones[f.Index], words[f.Kind])
	case term.OutputFault, term.OutputDisabled:
		return of("output", world.Outputs[f.Index].Label, words[f.Kind])
	case term.SupplyFault:
		return of("supply", world.Supplies[f.Index], "fault")
	case term.LoopFault:
		return fmt.Sprintf("loop(%d).fault", world.Loops[f.Index])
	case term.EquipmentDisabled:
		return of("equipment", world.Equipment[f.Index].ID, "disabled")
	case term.ControlOn:
		return of("control", world.Controls[f.Index], "on")
	case term.PanelSilenced:
		return "panel.silenced"
	case term.PanelEvacuate:
		return "panel.evacuate"
	}
	return of("device", world.Points[f.Index].Label, words[f.Kind])
}
