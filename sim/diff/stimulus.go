package diff

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/sim/drill"
)

// stimulus is what one run does to both sites, in common numbers.
type stimulus struct {
	given    []bdd.Setting  // modes, controls, switches, disablements: set before all else
	faults   []bdd.Setting  // device, output, supply and loop faults
	stuck    []int32        // equipment that does not move
	signals  []bdd.Setting  // of devices, one after another in this order
	acts     []bdd.Setting  // acknowledge, silence, evacuate: after the signals
	late     bool           // given is set 1 s after the signals instead
	again    int32          // point that signals once silenced; -1 for none
	standing bool           // the signals are still there at reset
	begins   *time.Duration // moment of the week at which the run begins, by the calendar; nil: none runs
	lowest   bool           // levels are the lower of the two sites', instead of each site's own
}

// The cost of having a fact so: signals first, then what is set at the panel, then what operators do, then
// faults, then what only follows from the rest. Within a signal's cost its place in the file counts.
const (
	costSignal   = int64(1) << 40
	costSetting  = costSignal + int64(1)<<32
	costOperator = costSignal + int64(1)<<33
	costFault    = 2 * costSignal
	costFollows  = 3 * costSignal
)

// costOf is what it takes to have a fact so, where it is otherwise at rest.
func costOf(f term.Fact, fireInput bool) int64 {
	switch f.Kind {
	case term.DeviceFire, term.DevicePrealarm, term.DeviceSupervisory:
		return costSignal + int64(f.Index) + 1
	case term.DeviceActive:
		if fireInput {
			return costSignal + int64(f.Index) + 2
		}
		return costSignal + int64(f.Index) + 1
	case term.PanelMode, term.ControlOn, term.OverrideAt, term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled, term.ZoneTest:
		return costSetting + int64(f.Index) + 1
	case term.PanelAcknowledged, term.PanelSilenced, term.PanelEvacuate, term.PanelBuzzer:
		return costOperator
	case term.DeviceFault, term.OutputFault, term.SupplyFault, term.LoopFault:
		return costFault + int64(f.Index) + 1
	}
	return costFollows + int64(f.Index) + 1
}

// add puts the settings of a combination in their places. Facts that only follow from others are left out.
func (s *stimulus) add(settings []bdd.Setting, rest func(term.Fact) bool) {
	for _, set := range settings {
		if set.On == rest(set.Fact) {
			continue
		}
		list := (*[]bdd.Setting)(nil)
		switch set.Fact.Kind {
		case term.DeviceFire, term.DevicePrealarm, term.DeviceSupervisory, term.DeviceActive:
			if slices.ContainsFunc(s.signals, func(have bdd.Setting) bool { return have.Fact.Index == set.Fact.Index && have.On == set.On }) {
				continue
			}
			list = &s.signals
		case term.PanelMode, term.ControlOn, term.OverrideAt, term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled, term.ZoneTest:
			list = &s.given
		case term.PanelAcknowledged, term.PanelSilenced, term.PanelEvacuate:
			list = &s.acts
		case term.DeviceFault, term.OutputFault, term.SupplyFault, term.LoopFault:
			list = &s.faults
		}
		if list != nil && !slices.Contains(*list, set) {
			*list = append(*list, set)
		}
	}
}

// count is how many things a stimulus does.
func (s *stimulus) count() int {
	n := len(s.given) + len(s.faults) + len(s.stuck) + len(s.signals) + len(s.acts)
	if s.again >= 0 {
		n += 2
	}
	return n
}

// text writes a stimulus as reports show it; single device signals as `why --way` reads them.
func (p *pairing) text(s *stimulus) string {
	var signals, given, after []string
	for _, e := range s.stuck {
		signals = append(signals, p.name(term.Fact{Kind: term.EquipmentProven, Index: e})+" stuck")
	}
	for _, f := range s.faults {
		signals = append(signals, p.name(f.Fact)+faultWord(f.Fact.Kind))
	}
	for _, f := range s.signals {
		word := p.name(f.Fact)
		switch {
		case !f.On:
			word += " at rest"
		case f.Fact.Kind == term.DevicePrealarm:
			word += " (pre-alarm)"
		}
		signals = append(signals, word)
	}
	for _, g := range s.given {
		given = append(given, p.settingText(g))
	}
	for _, a := range s.acts {
		after = append(after, map[term.Kind]string{term.PanelAcknowledged: "acknowledge", term.PanelSilenced: "silence", term.PanelEvacuate: "evacuate"}[a.Fact.Kind])
	}
	if s.again >= 0 {
		after = append(after, "silence", p.name(term.Fact{Kind: term.DeviceFire, Index: s.again}))
	}
	if s.standing {
		after = append(after, "reset while it stands")
	}
	if s.late {
		after = append(after, given...)
		given = nil
	}
	text := strings.Join(append(signals, after...), ", then ")
	switch {
	case text == "" && len(given) == 0:
		return "nothing: the panel at rest"
	case text == "":
		text = "nothing"
	}
	if s.begins != nil {
		given = append([]string{"begins " + panel.MomentText(*s.begins)}, given...)
	}
	if len(given) > 0 {
		text += " (given " + strings.Join(given, "; ") + ")"
	}
	return text
}

func faultWord(k term.Kind) string {
	switch k {
	case term.DeviceFault:
		return " taken out"
	case term.OutputFault:
		return " broken"
	case term.SupplyFault:
		return " without mains"
	}
	return ": a device taken out"
}

func (p *pairing) settingText(g bdd.Setting) string {
	name, off := p.name(g.Fact), ""
	if !g.On {
		off = " off"
	}
	switch g.Fact.Kind {
	case term.PanelMode:
		if g.On == (g.Fact.Value == term.Night) {
			return "mode=night"
		}
		return "mode=day"
	case term.ControlOn:
		return "control=" + name + off
	case term.OverrideAt:
		return "override=" + name + " " + term.PositionWord(g.Fact.Value) + off
	case term.ZoneTest:
		return "test=" + name + off
	}
	return "disabled=" + name + off
}

// name is the name of what a common fact is about: that of the old site, or of the new where only that has it.
func (p *pairing) name(f term.Fact) string {
	for s := range p.built {
		own, ok := p.sideFact(s, f)
		if !ok {
			continue
		}
		b, i := p.built[s], own.Index
		switch p.indexed(f.Kind) {
		case &p.points:
			return b.Installation.Points[i].Label
		case &p.outputs:
			return b.Installation.Outputs[i].Label
		case &p.zones:
			return b.Installation.Zones[i]
		case &p.supplies:
			return b.World.Supplies[i]
		case &p.loops:
			return fmt.Sprintf("loop %d", b.Installation.Loops[i].Number)
		case &p.equipment:
			return b.Installation.Plant.ID(int(i))
		case &p.controls:
			return b.World.Controls[i]
		case &p.overrides:
			return b.World.Overrides[i]
		case &p.loads:
			return b.Installation.Loads[i].Label
		case &p.causes:
			return b.World.Causes[i]
		}
	}
	return f.String()
}

// setAct is the act that sets a fact on one side; false where it has no such thing.
func (p *pairing) setAct(side int, g bdd.Setting, at time.Duration) (drill.Act, bool) {
	f, ok := p.sideFact(side, g.Fact)
	a := drill.Act{At: at, Index: f.Index, On: g.On, Level: 3}
	in := p.built[side].Installation
	switch f.Kind {
	case term.PanelMode:
		a.Kind, a.Index, a.On = drill.ActMode, 0, false
		if g.On == (f.Value == term.Night) {
			a.Value = int64(term.Night)
		}
	case term.ControlOn:
		a.Kind = drill.ActControl
	case term.DeviceDisabled:
		a.Kind = drill.ActDisableDevice
	case term.ZoneDisabled:
		a.Kind = drill.ActDisableZone
	case term.OutputDisabled:
		a.Kind = drill.ActDisableOutput
	case term.OverrideAt:
		a.Kind, a.Value, a.On = drill.ActOverride, int64(f.Value), false
	case term.ZoneTest:
		a.Kind = drill.ActTest
	case term.EquipmentDisabled:
		a.Kind = drill.ActDisableEquipment
	case term.PanelAcknowledged:
		a.Kind = drill.ActAcknowledge
	case term.PanelSilenced:
		a.Kind = drill.ActSilence
	case term.PanelEvacuate:
		a.Kind = drill.ActEvacuate
	case term.DeviceFault:
		a.Kind = drill.ActRemove
	case term.OutputFault:
		if !ok || in.Outputs[f.Index].Circuit == nil {
			return a, false
		}
		a.Kind = drill.ActCircuitOpen
	case term.SupplyFault:
		a.Kind, a.Value = drill.ActSupply, int64(power.MainsFailed)
	case term.LoopFault:
		if !ok || len(in.Loops[f.Index].Points) == 0 {
			return a, false
		}
		a.Kind, a.Index = drill.ActRemove, in.Loops[f.Index].Points[0]
	default:
		return a, false
	}
	return a, ok
}

// stuckAct keeps equipment from moving.
func (p *pairing) stuckAct(side int, equipment int32, at time.Duration) (drill.Act, bool) {
	e, ok := p.equipment.side(side, equipment)
	return drill.Act{At: at, Kind: drill.ActPlantFault, Index: e, Value: int64(plant.Stuck), Rate: 2}, ok
}
