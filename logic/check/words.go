package check

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
)

// Words says in words that facts hold, for people: `"HALL-SD" in fire and "hold-stages" on`.
func (a *Analysis) Words(facts []term.Fact) string {
	if len(facts) == 0 {
		return "everything at rest"
	}
	const most = 6
	var words []string
	for _, f := range facts[:min(len(facts), most)] {
		words = append(words, a.word(f))
	}
	text := strings.Join(words, " and ")
	if more := len(facts) - most; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

func (a *Analysis) word(f term.Fact) string {
	w, i := a.World, f.Index
	switch f.Kind {
	case term.DeviceFire:
		return fmt.Sprintf("%q in fire", w.Points[i].Label)
	case term.DeviceActive:
		return fmt.Sprintf("%q active", w.Points[i].Label)
	case term.DevicePrealarm:
		return fmt.Sprintf("%q in pre-alarm", w.Points[i].Label)
	case term.DeviceSupervisory:
		return fmt.Sprintf("%q supervisory", w.Points[i].Label)
	case term.DeviceFault:
		return fmt.Sprintf("a fault of %q", w.Points[i].Label)
	case term.DeviceDisabled:
		return fmt.Sprintf("%q disabled", w.Points[i].Label)
	case term.ZoneDisabled:
		return fmt.Sprintf("zone %q disabled", w.Zones[i])
	case term.ZoneTest:
		return fmt.Sprintf("zone %q in test", w.Zones[i])
	case term.ZoneConfirmed:
		return fmt.Sprintf("zone %q confirmed", w.Zones[i])
	case term.OutputCommanded:
		return fmt.Sprintf("%q commanded %s", w.Outputs[i].Label, term.State(f.Value))
	case term.OutputFault:
		return fmt.Sprintf("a fault of %q", w.Outputs[i].Label)
	case term.OutputDisabled:
		return fmt.Sprintf("%q disabled", w.Outputs[i].Label)
	case term.EquipmentDisabled:
		return fmt.Sprintf("%q disabled", w.Equipment[i].ID)
	case term.EquipmentProven:
		return fmt.Sprintf("%q proven", w.Equipment[i].ID)
	case term.SupplyFault:
		return fmt.Sprintf("a fault of supply %q", w.Supplies[i])
	case term.LoopFault:
		return fmt.Sprintf("a fault of loop %d", w.Loops[i])
	case term.ControlOn:
		return fmt.Sprintf("%q on", w.Controls[i])
	case term.OverrideAt:
		return fmt.Sprintf("switch %q at %s", w.Overrides[i], map[int32]string{term.SwitchedOn: "on", term.SwitchedOff: "off", term.Auto: "auto"}[f.Value])
	case term.PanelMode:
		return map[int32]string{term.Day: "day", term.Night: "night"}[f.Value]
	case term.PanelAcknowledged:
		return "the panel acknowledged"
	case term.PanelSilenced:
		return "the panel silenced"
	case term.PanelEvacuate:
		return "evacuate pressed"
	case term.PanelBuzzer:
		return "the buzzer sounding"
	}
	return f.String()
}
