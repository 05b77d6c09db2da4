package drill

import (
	"fmt"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// crowd is a ring with a detector and fifty loop sounders of 6 mA on a driver of some milliamperes, and
// two relays; of the sounders those of the second effect may be silenced on their own.
func crowd(limit float64) *pb.Site {
	const sounders = 50
	loop := &pb.Loop{
		Loop: new(uint32(1)), Wiring: "ring", ReturnCableM: new(5.0),
		Driver: &pb.Driver{VoltageV: new(28.0), CurrentLimitMa: new(limit)}, Cable: &pb.Cable{ConductorMm2: new(1.5)},
	}
	add := func(label string, d *pb.Device) {
		d.Address, d.Label, d.CableM = new(uint32(len(loop.GetDevices())+1)), label, new(5.0)
		loop.Devices = append(loop.Devices, d)
	}
	for _, label := range []string{"D1", "D2"} {
		add(label, &pb.Device{Place: "hall", Zone: "z1", Kind: &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}})
	}
	var sounds []string
	for i := range sounders {
		sounds = append(sounds, fmt.Sprintf("S%d", i+1))
		add(sounds[i], &pb.Device{Kind: &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{CurrentMa: new(6.0)}}})
	}
	add("RELAY", &pb.Device{Kind: &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: &pb.Contact{AtRest: "open", OnLoopLoss: "rests"}}}})
	effect := func(name string, outputs ...string) *pb.Effect {
		return &pb.Effect{Effect: name, Outputs: outputs, Silenceable: true}
	}
	return &pb.Site{
		Site: "crowd", Rules: &pb.Rules{Packs: []string{"en54"}},
		Places: []*pb.Place{{Place: "hall"}}, Zones: []*pb.Zone{{Zone: "z1"}}, Loops: []*pb.Loop{loop},
		Program: &pb.Program{
			Controls: []*pb.Control{{Control: "fewer"}},
			Causes:   []*pb.Cause{{Cause: "fire", When: "panel.fire"}},
			Effects:  []*pb.Effect{effect("few", sounds[:20]...), effect("many", sounds[20:]...), {Effect: "relay", Outputs: []string{"RELAY"}}},
			Actions: []*pb.Action{
				{Causes: []string{"fire"}, Effects: []string{"few"}, State: "evacuate"},
				{Causes: []string{"fire"}, Effects: []string{"many"}, State: "evacuate", Unless: "control('fewer').on"},
				{Causes: []string{"fire"}, Effects: []string{"relay"}, State: "on"},
			},
		},
	}
}

// sound counts the loop sounders that sound, and the outputs in fault.
func (b *bench) sound() (sounding, faults int) {
	for o := range b.plan.In.Outputs {
		label := b.plan.In.Outputs[o].Label
		if b.plan.In.Outputs[o].Sounder && b.is(fmt.Sprintf("output('%s').on", label)) {
			sounding++
		}
		if b.is(fmt.Sprintf("output('%s').fault", label)) {
			faults++
		}
	}
	return sounding, faults
}

// Fifty sounders of 6 mA are 300 mA beyond the 15.9 mA that 53 devices take at rest; a driver of 200 mA
// keeps no more than thirty of them (Kirchhoff's law). It trips, and trips again when they are commanded
// anew: the overload is raised at the third time and stands, nothing flaps, and what the loop cannot
// carry shows as output faults. The relay draws nothing, and is as commanded. Twenty of them are 135.9 mA, which it
// carries: with less asked of it the overload ends after 10 s, and they sound.
func TestLoadsThatBringTheLoopDown(t *testing.T) {
	t.Parallel()
	b := newBench(t, crowd(200))
	b.do(time.Minute, smoke(1))
	b.run(3 * time.Minute)
	b.want("panel.fault && loop(1).fault && output('RELAY').on")
	if n := len(b.times(LoopCollapsed, 1)); n < 3 {
		t.Errorf("it collapses %d times\n%s", n, b.latest(20))
	}
	if raised := b.times(LoopOverload, 1); len(raised) != 1 || raised[0] != b.times(LoopCollapsed, 1)[2] {
		t.Errorf("raised at %v, collapsed at %v", raised, b.times(LoopCollapsed, 1))
	}
	sounding, faults := b.sound()
	if sounding > 30 || sounding+faults != 50 {
		t.Errorf("%d sounders sound, %d outputs are in fault\n%s", sounding, faults, b.latest(20))
	}
	t.Logf("%d events, %d collapses; %d sound", b.log.Len(), len(b.times(LoopCollapsed, 1)), sounding)
	quiet := b.log.Len()
	b.run(2 * time.Hour)
	if b.log.Len() != quiet {
		t.Errorf("it does not come to rest: %d events in two hours\n%s", b.log.Len()-quiet, b.latest(20))
	}
	b.want("panel.fault && loop(1).fault")

	b.do(2*time.Hour+time.Second, &pb.Step{Kind: &pb.Step_Control{Control: &pb.ControlStep{Control: "fewer", On: new(true)}}})
	b.run(2*time.Hour + 2*time.Minute)
	if ended := b.times(LoopOverload, 0); len(ended) != 1 || ended[0] < 2*time.Hour+11*time.Second || ended[0] > 2*time.Hour+12*time.Second {
		t.Errorf("ended at %v", ended)
	}
	if sounding, faults := b.sound(); sounding != 20 || faults != 0 {
		t.Errorf("with twenty asked for %d sound, %d are in fault", sounding, faults)
	}
	b.want("!panel.fault && !loop(1).fault")
	rooted(t, b.Drill)
}

// After silence the overload ends, and after a reset the next alarm is as the first: too much again. With
// its cause put right, half of the sounders taken out, it ends too, and the others sound: 25 x 6 mA and the rest
// are less than 200 mA.
func TestLoopAfterTheOverload(t *testing.T) {
	t.Parallel()
	b := newBench(t, crowd(200))
	b.do(time.Minute, smoke(1))
	b.do(10*time.Minute, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	b.do(11*time.Minute, &pb.Step{Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: "D1"}}})
	b.do(12*time.Minute, &pb.Step{Kind: &pb.Step_Reset_{Reset_: &pb.ResetStep{}}})
	b.do(20*time.Minute, smoke(2))
	for i := range 25 {
		b.do(30*time.Minute, &pb.Step{Kind: &pb.Step_Remove{Remove: &pb.PointStep{Device: fmt.Sprintf("S%d", 2*i+1)}}})
	}
	b.run(10*time.Minute - 1)
	b.want("panel.fault && loop(1).fault")
	b.run(11 * time.Minute)
	b.want("!panel.fault && !loop(1).fault")
	b.run(30*time.Minute - 1)
	b.want("panel.fault && loop(1).fault")
	if n := len(b.times(LoopOverload, 1)); n != 2 {
		t.Errorf("%d overloads, wanted one for each alarm", n)
	}
	b.run(40 * time.Minute)
	sounding := 0
	for i := range 25 {
		if b.is(fmt.Sprintf("output('S%d').on && !output('S%d').fault", 2*i+2, 2*i+2)) {
			sounding++
		}
	}
	if ended := len(b.times(LoopOverload, 0)); sounding != 25 || ended != 2 {
		t.Errorf("%d of the 25 that are left sound; %d overloads have ended", sounding, ended)
	}
	quiet := b.log.Len()
	b.run(2 * time.Hour)
	if b.log.Len() != quiet || quiet > 10_000 {
		t.Errorf("%d events, and %d in two hours more", quiet, b.log.Len()-quiet)
	}
	rooted(t, b.Drill)
}

// A long thin cable does as a weak driver does, to the devices at its end: of a branch of 53 x 5 m and 1 kilohm per km and core
// the fifty sounders of 316 mA, evenly spread, would drop some 316 mA x 2 x 265 ohm / 2 = 84 V (the handbook's
// uniform load). The driver is never in its limit, and still it comes to rest, with an overload.
func TestLoadsThatTheCableDoesNotCarry(t *testing.T) {
	t.Parallel()
	site := crowd(1000)
	site.Loops[0].Wiring, site.Loops[0].ReturnCableM, site.Loops[0].Cable = "branch", nil, &pb.Cable{OhmPerKm: new(1000.0)}
	for _, d := range site.GetLoops()[0].GetDevices() {
		d.CableM = new(5.0)
	}
	b := newBench(t, site)
	b.do(time.Minute, smoke(1))
	b.run(5 * time.Minute)
	b.want("panel.fault && loop(1).fault")
	if raised := b.times(LoopOverload, 1); len(raised) != 1 || b.times(LoopCollapsed, 1) != nil {
		t.Errorf("raised at %v, collapsed at %v", raised, b.times(LoopCollapsed, 1))
	}
	for i := range 50 { // those beyond the ones that sound may not get the voltage at which they start
		b.want(fmt.Sprintf("output('S%d').on || device('S%d').fault || output('S%d').fault", i+1, i+1, i+1))
	}
	quiet := b.log.Len()
	b.run(2 * time.Hour)
	if b.log.Len() != quiet || quiet > 10_000 {
		t.Errorf("%d events, and %d in two hours more\n%s", quiet, b.log.Len()-quiet, b.latest(20))
	}
	rooted(t, b.Drill)
}

// One sounder behind 194.6 ohm, 28 V at the driver. 35.7 mA drop 7 V and leave it 21 V. 1 W, the same at 28 V, is
// the higher root of V^2 - 28 V + 194.6 = 0 (Ohm's law), 15.2 V, and it stops below 16 V (common practice): it cannot be kept.
func TestSounderOfConstantPower(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		sounder *pb.LoopSounder
		kept    bool
	}{{&pb.LoopSounder{CurrentMa: new(1000.0 / 28)}, true}, {&pb.LoopSounder{PowerW: new(1.0)}, false}} {
		site := crowd(400)
		loop := site.GetLoops()[0]
		loop.Wiring, loop.ReturnCableM, loop.Cable, loop.Devices = "branch", nil, &pb.Cable{OhmPerKm: new(1000.0)}, loop.GetDevices()[:3]
		for i, metres := range []float64{0, 0, 97.3} {
			loop.Devices[i].CableM = &metres
		}
		loop.Devices[2].Kind = &pb.Device_LoopSounder{LoopSounder: c.sounder}
		site.Program.Effects, site.Program.Actions = site.GetProgram().GetEffects()[:1], site.GetProgram().GetActions()[:1]
		site.Program.Effects[0].Outputs = []string{"S1"}
		b := newBench(t, site)
		b.do(time.Minute, smoke(1))
		b.run(10 * time.Minute)
		if c.kept {
			b.want("output('S1').on && !panel.fault")
		} else {
			b.want("!output('S1').on && output('S1').fault && loop(1).fault && device('S1').fed")
		}
		rooted(t, b.Drill)
	}
}

// A driver of 400 mA carries all fifty: nothing trips.
func TestLoadsThatTheLoopCarries(t *testing.T) {
	t.Parallel()
	b := newBench(t, crowd(400))
	b.do(time.Minute, smoke(1))
	b.run(10 * time.Minute)
	b.want("!panel.fault")
	if sounding, faults := b.sound(); sounding != 50 || faults != 0 || b.times(LoopCollapsed, 1) != nil {
		t.Errorf("%d sound, %d outputs in fault, collapsed at %v", sounding, faults, b.times(LoopCollapsed, 1))
	}
}
