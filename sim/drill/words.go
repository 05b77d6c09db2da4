package drill

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/term"
)

// factWords say that a fact about a device, zone and so on holds, and that it does not.
var factWords = map[term.Kind][2]string{
	term.DeviceFire:        {"is in fire", "is not in fire"},
	term.DeviceActive:      {"is read active", "is not read active"},
	term.DevicePrealarm:    {"is in pre-alarm", "is not in pre-alarm"},
	term.DeviceSupervisory: {"gives its supervisory signal", "gives no supervisory signal"},
	term.DeviceFault:       {"is in fault", "is not in fault"},
	term.DeviceDisabled:    {"is disabled", "is not disabled"},
	term.ZoneDisabled:      {"is disabled", "is not disabled"},
	term.OutputFault:       {"is in fault", "is not in fault"},
	term.OutputDisabled:    {"is disabled", "is not disabled"},
	term.SupplyFault:       {"is in fault", "is not in fault"},
	term.LoopFault:         {"is in fault", "is not in fault"},
	term.EquipmentProven:   {"is proven", "is not proven"},
	term.ControlOn:         {"is on", "is off"},
	term.CauseTrue:         {"is true", "is false"},
	term.LoadOn:            {"is on", "is off"},
	term.DeviceFed:         {"is fed", "is not fed"},
	term.DeviceReachable:   {"is reachable", "is not reachable"},
	term.PanelAcknowledged: {"is acknowledged", "is not acknowledged"},
	term.PanelSilenced:     {"is silenced", "is not silenced"},
	term.PanelEvacuate:     {"evacuates by hand", "does not evacuate by hand"},
	term.ZoneTest:          {"is in test", "is not in test"},
	term.ZoneConfirmed:     {"is confirmed in fire", "is not confirmed in fire"},
	term.EquipmentDisabled: {"is disabled", "is not disabled"},
	term.PanelBuzzer:       {"sounds its buzzer", "does not sound its buzzer"},
	term.PanelStopped:      {"is stopped", "is not stopped"},
	term.LoadSounding:      {"sounds", "does not sound"},
}

// DescribeFact says in a few words that a fact holds, or that it does not.
func (p *Plan) DescribeFact(f term.Fact, holds bool) string {
	switch f.Kind {
	case term.OutputState:
		if term.State(f.Value) == term.Rest {
			return p.In.Outputs[f.Index].Label + choose(holds, " is at rest", " is not at rest")
		}
		return fmt.Sprintf("%s %s %s", p.In.Outputs[f.Index].Label, choose(holds, "is", "is not"), term.State(f.Value))
	case term.OutputCommanded:
		return fmt.Sprintf("%s %s %s", p.In.Outputs[f.Index].Label, choose(holds, "is commanded", "is not commanded"), term.State(f.Value))
	case term.EquipmentState:
		return fmt.Sprintf("%s %s %s", p.In.Plant.ID(int(f.Index)), choose(holds, "is", "is not"), p.In.Plant.States(int(f.Index))[f.Value])
	case term.PanelMode:
		return "the mode " + choose(holds, "is ", "is not ") + modeWord(int64(f.Value))
	case term.OverrideAt:
		return fmt.Sprintf("override %s %s %s", p.World.Overrides[f.Index], choose(holds, "is at", "is not at"), term.PositionWord(f.Value))
	case term.OutputCadence:
		return fmt.Sprintf("%s %s %s", p.In.Outputs[f.Index].Label, choose(holds, "is", "is not"), term.Cadences()[f.Value])
	}
	words := factWords[f.Kind]
	return p.factSubject(f) + " " + choose(holds, words[0], words[1])
}

func (p *Plan) factSubject(f term.Fact) string {
	if f.Kind == term.LoadOn || f.Kind == term.LoadSounding {
		return p.In.Loads[f.Index].Label
	}
	switch s, i := p.thingOf(f); s {
	case ofPoint:
		return p.In.Points[i].Label
	case ofOutput:
		return p.In.Outputs[i].Label
	case ofZone:
		return "zone " + p.World.Zones[i]
	case ofLoop:
		return "loop " + p.loopName(i)
	case ofSupply:
		return "supply " + p.World.Supplies[i]
	case ofEquipment:
		return p.In.Plant.ID(int(i))
	case ofControl:
		return "control " + p.World.Controls[i]
	case ofOverride:
		return "override " + p.World.Overrides[i]
	case ofCause:
		return "cause " + p.World.Causes[i]
	}
	return "the panel"
}
