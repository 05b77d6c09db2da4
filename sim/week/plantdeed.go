package week

import (
	"fmt"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// outputFaults are those of outputs, their circuits and what they drive.
func (s *site) outputFaults() []deed {
	outputs, equipment := s.outputs(), s.equipment()
	var loads []string
	for i := range s.plan.In.Loads {
		loads = append(loads, s.plan.In.Loads[i].Label)
	}
	deeds := []deed{
		s.only(outputs, deed{name: "relay_stuck", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_RelayStuck{RelayStuck: &pb.RelayStuckStep{Output: name}}}
		}}),
		s.only(outputs, deed{name: "circuit_open", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_CircuitOpen{CircuitOpen: &pb.CircuitStep{Output: name}}}
		}}),
		s.only(outputs, deed{name: "circuit_short", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_CircuitShort{CircuitShort: &pb.CircuitStep{Output: name, Ohm: new(pick(d, []float64{0, 20, 500}))}}}
		}}),
		s.only(outputs, deed{name: "resistor", begin: func(d *dice, name string) *pb.Step {
			step := &pb.ResistorStep{Output: name, Second: d.chance(30)}
			if step.GetSecond() || d.chance(60) {
				step.Ohm = new(pick(d, []float64{1000, 4700, 22000}))
			}
			return &pb.Step{Kind: &pb.Step_Resistor{Resistor: step}}
		}}),
		s.only(loads, deed{name: "reversed", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Reversed{Reversed: &pb.ReversedStep{Subject: &pb.ReversedStep_Load{Load: name}}}}
		}}),
		s.only(outputs, deed{name: "circuit_earth", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_CircuitEarth{CircuitEarth: &pb.CircuitEarthStep{Output: name, Core: pick(d, []string{"positive", "negative"})}}}
		}}),
		s.only(equipment, deed{name: "plant_fault", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_PlantFault{PlantFault: &pb.PlantFaultStep{Equipment: name, Fault: pick(d, []string{"stuck", "slow", "unproven"})}}}
		}}),
	}
	for i := range deeds {
		deeds[i].longest = shift
	}
	return deeds
}

// supplyFaults are those of supplies, and of the panel as a whole. What empties a battery happens early
// in the week: it takes days to fill (EN 54-4 5.3, from memory: 24 h for the most of it, 48 h more for
// the rest).
func (s *site) supplyFaults() []deed {
	var supplies []string
	for i := range s.plan.In.Power.Len() {
		supplies = append(supplies, s.plan.In.Power.ID(i))
	}
	supply := func(name string) *pb.SupplyStep { return &pb.SupplyStep{Supply: name} }
	return []deed{
		s.only(supplies, deed{name: "supply_fail", longest: shift, early: true, begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_SupplyFail{SupplyFail: supply(name)}}
		}}),
		s.only(supplies, deed{name: "fuse", longest: shift, early: true, begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Fuse{Fuse: supply(name)}}
		}}),
		s.only(supplies, deed{name: "battery_fail", longest: shift, early: true, begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_BatteryFail{BatteryFail: supply(name)}}
		}}),
		s.only(supplies, deed{name: "charger_fail", longest: shift, early: true, begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_ChargerFail{ChargerFail: supply(name)}}
		}}),
		s.only(append(supplies, ""), deed{name: "mains_fail", longest: night, early: true, begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_MainsFail{MainsFail: supply(name)}}
		}}),
		s.only([]string{""}, deed{name: "panel_stop", longest: minutes, begin: func(*dice, string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_PanelStop{PanelStop: &pb.PanelStopStep{}}}
		}}),
	}
}

// operators are what somebody at the panel does and undoes.
func (s *site) operators() []deed {
	points, outputs, equipment := s.points(), s.outputs(), s.equipment()
	zones := s.plan.In.Zones
	deeds := []deed{
		s.only(points, disabling("disable_device", func(name string) *pb.SubjectStep {
			return &pb.SubjectStep{Subject: &pb.SubjectStep_Device{Device: name}}
		})),
		s.only(zones, disabling("disable_zone", func(name string) *pb.SubjectStep {
			return &pb.SubjectStep{Subject: &pb.SubjectStep_Zone{Zone: name}}
		})),
		s.only(outputs, disabling("disable_output", func(name string) *pb.SubjectStep {
			return &pb.SubjectStep{Subject: &pb.SubjectStep_Output{Output: name}}
		})),
		s.only(equipment, disabling("disable_equipment", func(name string) *pb.SubjectStep {
			return &pb.SubjectStep{Subject: &pb.SubjectStep_Equipment{Equipment: name}}
		})),
		s.only(s.plan.World.Controls, switched("control", func(name string, on bool) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Control{Control: &pb.ControlStep{Control: name, On: &on}}}
		})),
		s.only(zones, switched("test", func(name string, on bool) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Test{Test: &pb.TestStep{Zone: name, On: &on}}}
		})),
		s.only([]string{""}, s.modes()),
		s.only(s.plan.World.Overrides, deed{name: "override",
			begin: func(d *dice, name string) *pb.Step { return override(name, pick(d, []string{"on", "off"})) },
			end:   func(_ *dice, name string) *pb.Step { return override(name, "auto") },
		}),
		s.only(equipment, switched("stand_in", func(name string, on bool) *pb.Step {
			return &pb.Step{Kind: &pb.Step_StandIn{StandIn: &pb.StandInStep{Equipment: name, On: &on}}}
		})),
	}
	for i := range deeds {
		deeds[i].longest = shift
	}
	return deeds
}

// disabling is the disablement of one sort of things.
func disabling(name string, subject func(name string) *pb.SubjectStep) deed {
	return deed{name: name,
		begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Disable{Disable: subject(name)}}
		},
		end: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Enable{Enable: subject(name)}}
		},
	}
}

// switched is something that goes on and off.
func switched(name string, step func(name string, on bool) *pb.Step) deed {
	return deed{name: name,
		begin: func(_ *dice, name string) *pb.Step { return step(name, true) },
		end:   func(_ *dice, name string) *pb.Step { return step(name, false) },
	}
}

func override(name, position string) *pb.Step {
	return &pb.Step{Kind: &pb.Step_Override{Override: &pb.OverrideStep{Override: name, Position: position}}}
}

// modes is the other mode by hand, and that of the start again. With a calendar each would last
// until the calendar's next line only.
func (s *site) modes() deed {
	at, other := "day", "night"
	if s.message.GetPanel().GetMode() == "night" {
		at, other = other, at
	}
	step := func(mode string) *pb.Step { return &pb.Step{Kind: &pb.Step_Mode{Mode: &pb.ModeStep{Mode: mode}}} }
	return deed{name: "mode",
		begin: func(*dice, string) *pb.Step { return step(other) },
		end:   func(*dice, string) *pb.Step { return step(at) },
	}
}

// presses are what an operator does at once.
var presses = []struct {
	name string
	step func() *pb.Step
}{
	{"acknowledge", func() *pb.Step { return &pb.Step{Kind: &pb.Step_Acknowledge{Acknowledge: &pb.AcknowledgeStep{}}} }},
	{"silence", func() *pb.Step { return &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}} }},
	{"resound", func() *pb.Step { return &pb.Step{Kind: &pb.Step_Resound{Resound: &pb.ResoundStep{}}} }},
	{"reset", reset},
	{"evacuate", func() *pb.Step { return &pb.Step{Kind: &pb.Step_Evacuate{Evacuate: &pb.EvacuateStep{}}} }},
}

func reset() *pb.Step { return &pb.Step{Kind: &pb.Step_Reset_{Reset_: &pb.ResetStep{}}} }

// stepName is the id of the n-th step that a repair may name.
func stepName(n int) string { return fmt.Sprintf("f%d", n) }
