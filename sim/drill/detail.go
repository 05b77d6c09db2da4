package drill

import (
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
)

// DetailOf is what of its subject an event is about, for programs: of what is done the key of its step in a
// scenario, of an output or effect the state, of equipment its state, input or signal, of the panel what of it; and on whether it begins, comes true, is
// operated or given, for all that can also end. Other events have neither.
func (p *Plan) DetailOf(e *sim.Event) (word string, on bool) {
	equipment := int(e.Subject)
	switch e.Kind {
	case StimulusApplied, FaultInjected, FaultRepaired, Operated:
		return stepWord(e), false
	case EffectChanged, OutputDemanded, OutputOperated, CommandSent, CommandHeard, CommandRepeated:
		return term.State(e.Value).String(), false
	case EquipmentChanged:
		return p.In.Plant.States(equipment)[e.Value], false
	case EquipmentDone:
		return p.In.Plant.InputName(equipment, int(e.Value)), true
	case EquipmentInput:
		return p.In.Plant.InputName(equipment, int(e.Value)), e.Extra != 0
	case SignalChanged:
		return p.In.Plant.SignalName(equipment, int(e.Value)), e.Extra != 0
	case ConditionChanged:
		return panel.Condition(e.Extra).String(), e.Value != 0
	case OverrideMoved:
		return term.PositionWord(int32(e.Value)), false
	case ModeScheduled:
		return modeWord(e.Value), false
	case PanelChanged:
		return panelDetail(e)
	}
	return "", ends[e.Kind] && e.Value != 0
}

// ends are the kinds whose Value says whether something begins, 1, or ends, 0.
var ends = map[sim.Kind]bool{
	InputChanged: true, ActiveRead: true, PrealarmRead: true, PrealarmDecided: true, SupervisoryDecided: true,
	MissingFault: true, WrongTypeFault: true, DuplicateFault: true, OutputFault: true, LoopFault: true,
	CauseChanged: true, ActionChanged: true, DisablementSet: true, TestChanged: true, BuzzerChanged: true,
	ProofMissed: true, PanelStopped: true, LoadChanged: true, FeedChanged: true, LoopCollapsed: true, LoopOverload: true,
	RingBroken: true, EarthSeen: true, FuseChanged: true, BatteryCarries: true, BatteryDischarged: true, BatteryLow: true,
	SupplyOverload: true, SupplyLost: true, SupplySignal: true,
}

func panelDetail(e *sim.Event) (word string, on bool) {
	switch term.Kind(e.Subject) {
	case term.PanelMode:
		return modeWord(e.Extra), false
	case term.PanelAcknowledged:
		return "acknowledged", e.Value != 0
	case term.PanelSilenced:
		return "silenced", e.Value != 0
	}
	return "evacuate", e.Value != 0
}
