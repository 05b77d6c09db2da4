package week

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// deed is one sort of thing that can happen to a site and be undone.
type deed struct {
	name  string
	names []string // what it can happen to: those for which the step is accepted
	// begin makes the step; end the one that undoes it, nil for a fault, which is repaired.
	begin, end func(d *dice, name string) *pb.Step
	longest    time.Duration // before it is undone
	early      bool          // only early in a week: what it leaves behind takes days to go
}

// Longest times of deeds: common practice of how long such things stand on a site.
const (
	minutes = 10 * time.Minute
	shift   = 10 * time.Hour
	night   = 30 * time.Hour
)

// families are deeds of one sort, drawn together, each sort as often as its weight says.
type family struct {
	weight int
	deeds  []deed
}

// site is what deeds can be done to.
type site struct {
	plan     *drill.Plan
	message  *pb.Site
	families []family
}

func newSite(plan *drill.Plan, m *pb.Site) *site {
	s := &site{plan: plan, message: m}
	for _, f := range []family{
		{30, s.stimuli()}, {20, s.cableFaults()}, {20, s.deviceFaults()}, {15, s.outputFaults()}, {10, s.supplyFaults()}, {25, s.operators()},
	} {
		f.deeds = slices.DeleteFunc(f.deeds, func(d deed) bool { return len(d.names) == 0 })
		if len(f.deeds) > 0 {
			s.families = append(s.families, f)
		}
	}
	return s
}

// points, outputs and equipment are the names of all that there are, in the installation's order.
func (s *site) points() (names []string) {
	for i := range s.plan.In.Points {
		names = append(names, s.plan.In.Points[i].Label)
	}
	return names
}

func (s *site) outputs() (names []string) {
	for i := range s.plan.In.Outputs {
		names = append(names, s.plan.In.Outputs[i].Label)
	}
	return names
}

func (s *site) equipment() (names []string) {
	for e := range s.plan.In.Plant.Len() {
		names = append(names, s.plan.In.Plant.ID(e))
	}
	return names
}

// only keeps the names for which a deed's step is accepted by the bench.
func (s *site) only(names []string, d deed) deed {
	for _, name := range names {
		if _, found := s.plan.Resolve(d.begin(newDice(0, d.name), name), "step"); len(found) == 0 {
			d.names = append(d.names, name)
		}
	}
	return d
}

// stimuli are what detectors and inputs feel. What proves equipment or watches a supply is left to
// these: a hand at their contacts would leave them at odds with what they tell of.
func (s *site) stimuli() []deed {
	var points []string
	for i := range s.plan.In.Points {
		if p := &s.plan.In.Points[i]; p.ProvesEquipment < 0 && p.WatchesSupply < 0 && p.Input != loop.NoInput {
			points = append(points, p.Label)
		}
	}
	at := func(name string) *loop.Point {
		i, _ := s.plan.In.Point(name)
		return &s.plan.In.Points[i]
	}
	ends := func(_ *dice, name string) *pb.Step {
		return &pb.Step{Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: name}}}
	}
	share := []float64{0.5, 0.8, 1, 1, 1.5, 3} // of the alarm threshold
	deeds := []deed{
		{name: "smoke", begin: func(d *dice, name string) *pb.Step {
			level := min(100, float64(at(name).SmokeMicroPct)/1e6*pick(d, share))
			return &pb.Step{Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: name, LevelPctPerM: &level}}}
		}},
		{name: "heat", begin: func(d *dice, name string) *pb.Step {
			level := float64(at(name).HeatMicroC) / 1e6 * pick(d, share)
			return &pb.Step{Kind: &pb.Step_Heat{Heat: &pb.HeatStep{Device: name, TemperatureC: &level}}}
		}},
		{name: "flame", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Flame{Flame: &pb.PointStep{Device: name}}}
		}},
		{name: "press", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: name}}}
		}},
		{name: "activate", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Activate{Activate: &pb.PointStep{Device: name}}}
		}},
	}
	for i, d := range deeds {
		d.end, d.longest = ends, minutes
		deeds[i] = s.only(points, d)
	}
	return deeds
}

// cableFaults are those of loop cables and isolators.
func (s *site) cableFaults() []deed {
	points := s.points()
	var ends []string
	for i := range s.plan.In.Loops {
		l := &s.plan.In.Loops[i]
		for e := range l.Wire.Entries() {
			ends = append(ends, l.Wire.Label(int32(e)))
		}
	}
	cable := func(d *dice, name string, ohms []float64) *pb.CableStep {
		step := &pb.CableStep{Before: name, Core: pick(d, []string{"", "positive", "negative"})}
		if ohm := pick(d, ohms); ohm >= 0 {
			step.Ohm = &ohm
		}
		return step
	}
	none := []float64{-1}
	deeds := []deed{
		{name: "break", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Break{Break: cable(d, name, none)}}
		}},
		{name: "short", begin: func(d *dice, name string) *pb.Step {
			c := cable(d, name, []float64{-1, 1, 200})
			c.Core = ""
			return &pb.Step{Kind: &pb.Step_Short{Short: c}}
		}},
		{name: "joint", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Joint{Joint: cable(d, name, []float64{-1, 5, 300})}}
		}},
		{name: "earth", begin: func(d *dice, name string) *pb.Step {
			c := cable(d, name, none)
			c.Core = pick(d, []string{"positive", "negative"})
			return &pb.Step{Kind: &pb.Step_Earth{Earth: c}}
		}},
		{name: "isolator_stuck", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_IsolatorStuck{IsolatorStuck: &pb.IsolatorStuckStep{Device: name, Position: pick(d, []string{"open", "closed"})}}}
		}},
	}
	for i, d := range deeds {
		d.longest = shift
		deeds[i] = s.only(ends, d)
	}
	reversed := deed{name: "reversed_device", longest: shift, begin: func(_ *dice, name string) *pb.Step {
		return &pb.Step{Kind: &pb.Step_Reversed{Reversed: &pb.ReversedStep{Subject: &pb.ReversedStep_Device{Device: name}}}}
	}}
	return append(deeds, s.only(points, reversed))
}

// deviceFaults are those of what stands at an address, and of the replies from there.
func (s *site) deviceFaults() []deed {
	points := s.points()
	point := func(name string) *pb.PointStep { return &pb.PointStep{Device: name} }
	deeds := []deed{
		{name: "remove", begin: func(_ *dice, name string) *pb.Step { return &pb.Step{Kind: &pb.Step_Remove{Remove: point(name)}} }},
		{name: "mute", begin: func(_ *dice, name string) *pb.Step { return &pb.Step{Kind: &pb.Step_Mute{Mute: point(name)}} }},
		{name: "duplicate", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Duplicate{Duplicate: &pb.DuplicateStep{Device: name}}}
		}},
		{name: "wrong_type", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_WrongType{WrongType: &pb.WrongTypeStep{Device: name}}}
		}},
		{name: "stuck", begin: func(d *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_Stuck{Stuck: &pb.StuckStep{Device: name, Active: new(d.chance(50))}}}
		}},
		{name: "field_wire_open", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_FieldWireOpen{FieldWireOpen: point(name)}}
		}},
		{name: "field_wire_short", begin: func(_ *dice, name string) *pb.Step {
			return &pb.Step{Kind: &pb.Step_FieldWireShort{FieldWireShort: point(name)}}
		}},
	}
	for i, d := range deeds {
		d.longest = shift
		deeds[i] = s.only(points, d)
	}
	return append(deeds, s.noise())
}

// noise is garbled replies of a loop.
func (s *site) noise() deed {
	numbers := map[string]uint32{}
	var names []string
	for i := range s.plan.In.Loops {
		name := fmt.Sprint(s.plan.In.Loops[i].Number)
		numbers[name], names = s.plan.In.Loops[i].Number, append(names, name)
	}
	return s.only(names, deed{name: "line_errors", longest: minutes, begin: func(d *dice, name string) *pb.Step {
		return &pb.Step{Kind: &pb.Step_LineErrors{LineErrors: &pb.LineErrorsStep{Loop: new(numbers[name]), Rate: new(pick(d, []float64{0.001, 0.02, 0.3}))}}}
	}})
}
