package script

import (
	"slices"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// event notes what one event shows.
func (w *watcher) event(e *sim.Event) {
	on := e.Value != 0
	for i := range raised {
		if raised[i].kind == e.Kind && on {
			w.faults[i].see(seenTrue)
		}
	}
	switch e.Kind {
	case drill.CauseChanged:
		w.causes[e.Subject].see(truth(on))
	case drill.ActionChanged:
		if on {
			w.actions[e.Subject].see(active)
		}
	case drill.DelayStarted:
		w.delays[e.Subject].see(started)
	case drill.DelayEnded:
		w.delays[e.Subject].see(ended)
	case drill.DelayCancelled:
		w.delays[e.Subject].see(cutShort)
	case drill.DelayPaused:
		w.delays[e.Subject].see(stoodStill)
	case drill.DelayRestarted:
		w.delays[e.Subject].see(beganAgain)
	case drill.DelayHurried:
		w.delays[e.Subject].see(hurried)
	case drill.OutputOperated:
		if on {
			w.outputs[e.Subject].see(stateWord(e.Value))
		}
	case drill.OutputFault:
		if on {
			w.outputs[e.Subject].see(inFault)
		}
	case drill.ActiveRead:
		if eq := w.plan.In.Points[e.Subject].ProvesEquipment; eq >= 0 && w.d.Fact(term.Fact{Kind: term.EquipmentProven, Index: eq}) {
			w.equipment[eq].see(proven)
		}
	case drill.ProgramChanged:
		if logic.ChangeKind(e.Extra) == logic.ControlChanged && on {
			w.controls[e.Subject].see(turnedOn)
		}
	case drill.OverrideMoved:
		if position := int32(e.Value); position != term.Auto {
			w.overrides[e.Subject].see(term.PositionWord(position))
		}
	case drill.Operated:
		w.key(e)
	default:
		w.signal(e)
	}
}

// signal notes what became of a signal of a detector before it is a fire.
func (w *watcher) signal(e *sim.Event) {
	aspect, ok := signals[e.Kind]
	if !ok {
		return
	}
	if zone := w.plan.In.Points[e.Subject].Zone; zone >= 0 {
		w.detection[zone].see(aspect)
	}
}

// signals are the aspects that events of a point give its zone's detection.
var signals = map[sim.Kind]string{
	drill.SignalHeld: held, drill.SignalConfirmed: confirmed, drill.SignalDropped: dropped,
	drill.InvestigationStarted: investigated, drill.SignalVerified: verified,
}

// key notes an operator's act.
func (w *watcher) key(e *sim.Event) {
	for i := range keys {
		for _, act := range keys[i].acts {
			toggles := slices.Contains(disablements, act)
			if drill.ActKind(e.Value) == act && (!toggles || (e.Extra != 0) != keys[i].off) {
				w.keys[i].see(turnedOn)
			}
		}
	}
}

func truth(on bool) string {
	if on {
		return seenTrue
	}
	return seenFalse
}
