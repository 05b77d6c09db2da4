package drill

import (
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
)

// DetailOf is what of its subject an event is about, for programs: of an output or effect the state,
// of equipment its state, input or signal, and of an input or signal whether it is operated or given.
// Other events have none.
func (p *Plan) DetailOf(e *sim.Event) (word string, on bool) {
	equipment := int(e.Subject)
	switch e.Kind {
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
	}
	return "", false
}
