package drill

import (
	"fmt"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// circuitSite has a branch and a ring of sounders and a further circuit on one supply, a circuit and
// a relay on the panel, a release behind a circuit, a fan behind a relay, and inputs with their field
// wiring. A call point operates everything.
func circuitSite() *pb.Site {
	sounders := func(name string, n int) (loads []*pb.Load) {
		for i := range n {
			loads = append(loads, &pb.Load{Label: fmt.Sprintf("%s%d", name, i+1), CableM: new(20.0), Kind: &pb.Load_Sounder{Sounder: &pb.Appliance{CurrentMa: new(40.0)}}})
		}
		return loads
	}
	circuit := func(wiring string, loads []*pb.Load) *pb.Circuit {
		c := &pb.Circuit{Wiring: wiring, EndOfLineOhm: new(4700.0), Cable: &pb.Cable{ConductorMm2: new(1.5)}, Loads: loads}
		if wiring == "ring" {
			c.ReturnCableM = new(20.0)
		}
		return c
	}
	module := func(c *pb.Circuit, drives *pb.Drive) *pb.Device_ControlModule {
		return &pb.Device_ControlModule{ControlModule: &pb.ControlModule{Supply: "psu", Circuit: c, Drives: drives}}
	}
	coil := []*pb.Load{{Label: "COIL", CableM: new(5.0), Kind: &pb.Load_Coil{Coil: &pb.Appliance{CurrentMa: new(300.0)}}}}
	input := func(m *pb.InputModule) *pb.Device_InputModule { return &pb.Device_InputModule{InputModule: m} }
	devices := []*pb.Device{
		{Label: "CP", Kind: &pb.Device_CallPoint{CallPoint: &pb.CallPoint{}}},
		{Label: "BRANCH", Kind: module(circuit("branch", sounders("B", 3)), nil)},
		{Label: "RING", Kind: module(circuit("ring", sounders("R", 3)), nil)},
		{Label: "OTHER", Kind: module(circuit("branch", sounders("O", 2)), nil)},
		{Label: "RELEASE", Kind: module(circuit("branch", coil), &pb.Drive{Equipment: "gas", Input: "release"})},
		{Label: "FAN-START", Kind: &pb.Device_RelayModule{RelayModule: &pb.RelayModule{
			Contact: &pb.Contact{AtRest: "open", OnLoopLoss: "stays"}, Drives: &pb.Drive{Equipment: "fan", Input: "start"}}}},
		{Label: "FAN-FLOW", Kind: input(&pb.InputModule{Input: "technical", Proves: &pb.Proof{Equipment: "fan", Signal: "running"}})},
		{Label: "IDC", Kind: &pb.Device_ConventionalZone{ConventionalZone: &pb.ConventionalZone{EndOfLineOhm: new(4700.0), ShortMeans: "active"}}},
		{Label: "MONITOR", Kind: input(&pb.InputModule{Input: "technical", EndOfLineOhm: new(4700.0), ShortMeans: "fault"})},
		{Label: "BARE", Kind: input(&pb.InputModule{Input: "technical"})},
		{Label: "BARE-CLOSED", Kind: input(&pb.InputModule{Input: "technical", AtRest: "closed"})},
		{Label: "PSU-FAULT", Kind: input(&pb.InputModule{Input: "technical", Watches: &pb.Watch{Supply: "psu", Signal: "fault"}})},
	}
	for i, d := range devices {
		d.Address, d.CableM, d.Place, d.Zone = new(uint32(i+1)), new(5.0), "hall", "z"
	}
	effects := []*pb.Effect{
		{Effect: "sound", Outputs: []string{"BRANCH", "RING", "OTHER", "PANEL"}, Silenceable: true},
		{Effect: "start", Outputs: []string{"RELEASE", "FAN-START"}},
	}
	return &pb.Site{
		Site: "circuits", Rules: &pb.Rules{Packs: []string{"en54"}}, Places: []*pb.Place{{Place: "hall"}}, Zones: []*pb.Zone{{Zone: "z"}},
		Panel: &pb.Panel{Outputs: []*pb.PanelOutput{{Label: "PANEL", Kind: &pb.PanelOutput_Circuit{Circuit: circuit("branch", sounders("P", 2))}}},
			Supply: &pb.PanelSupply{VoltageV: new(28.0), BatteryAh: new(12.0), StandbyMa: new(300.0), AlarmMa: new(200.0)}},
		Supplies: []*pb.Supply{{Supply: "psu", VoltageV: new(24.0), BatteryAh: new(2.0), CurrentLimitA: new(1.0), StandbyMa: new(50.0), AlarmMa: new(10.0), FuseA: new(2.0)}},
		Equipment: []*pb.Equipment{
			{Equipment: "gas", Kind: &pb.Equipment_Release{Release: &pb.Release{}}},
			{Equipment: "fan", Kind: &pb.Equipment_Fan{Fan: &pb.Fan{}}},
		},
		Loops: []*pb.Loop{{Loop: new(uint32(1)), Wiring: "branch", Driver: &pb.Driver{VoltageV: new(28.0)}, Cable: &pb.Cable{ConductorMm2: new(1.5)}, Devices: devices}},
		Program: &pb.Program{
			Causes: []*pb.Cause{{Cause: "fire", When: "device('CP').fire"}}, Effects: effects,
			Actions: []*pb.Action{
				{Causes: []string{"fire"}, Effects: []string{"sound"}, State: "evacuate"},
				{Causes: []string{"fire"}, Effects: []string{"start"}, State: "on"},
			},
		},
	}
}

func press() *pb.Step { return &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}} }

func circuitStep(kind, output, before string) *pb.Step {
	c := &pb.CircuitStep{Output: output, Before: before}
	step := &pb.Step{Step: kind, Kind: &pb.Step_CircuitOpen{CircuitOpen: c}}
	if kind == "short" {
		step.Kind = &pb.Step_CircuitShort{CircuitShort: c}
	}
	return step
}

// sounding is the loads with a prefix that work now.
func (b *bench) sounding(prefix string) (labels []string) {
	for i := range b.plan.In.Loads {
		if label := b.plan.In.Loads[i].Label; label[:1] == prefix && b.is(fmt.Sprintf("load('%s').on", label)) {
			labels = append(labels, label)
		}
	}
	return labels
}

func (b *bench) output(label string) int32 {
	o, _ := b.plan.In.Output(label)
	return o
}

// Initiating circuits (legalclarity.org on fire alarm circuit supervision: a short is normally alarm, open is
// trouble), and inputs whose field wiring is not watched: a break there shows nothing, a short is the
// contact (common practice).
func TestFieldWiring(t *testing.T) {
	t.Parallel()
	const at = 10 * time.Second
	for _, c := range []struct {
		device      string
		open, short string // what then holds
	}{
		{"IDC", "device('IDC').fault && !device('IDC').fire", "device('IDC').fire && !device('IDC').fault"},
		{"MONITOR", "device('MONITOR').fault && !device('MONITOR').active", "device('MONITOR').fault && !device('MONITOR').active"},
		{"BARE", "!device('BARE').active && !panel.fault", "device('BARE').active && !panel.fault"},
		{"BARE-CLOSED", "device('BARE-CLOSED').active && !panel.fault", "!device('BARE-CLOSED').active && !panel.fault"},
	} {
		on := &pb.PointStep{Device: c.device}
		b := newBench(t, circuitSite())
		b.do(at, &pb.Step{Step: "wire", Kind: &pb.Step_FieldWireOpen{FieldWireOpen: on}})
		b.repair(at+time.Minute, "wire")
		b.run(at + 30*time.Second)
		b.want(c.open)
		b.run(at + 2*time.Minute)
		b.want("!panel.fault && !device('" + c.device + "').active")

		b = newBench(t, circuitSite())
		b.do(at, &pb.Step{Step: "wire", Kind: &pb.Step_FieldWireShort{FieldWireShort: on}})
		b.run(at + 30*time.Second)
		b.want(c.short)
	}
}

// A relay's field wiring is unsupervised (common practice): a break shows nothing at all, a
// short starts the fan, and only the proof can tell. The contact itself does as it is told.
func TestRelayWiringInSilence(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	b.do(time.Second, &pb.Step{Step: "wire", Kind: &pb.Step_FieldWireOpen{FieldWireOpen: &pb.PointStep{Device: "FAN-START"}}})
	b.do(time.Minute, press())
	b.repair(2*time.Minute, "wire")
	b.run(90 * time.Second)
	b.want("output('FAN-START').on && !equipment('fan').proven && !device('FAN-FLOW').active && !panel.fault && equipment('fan').state == 'stopped'")
	b.run(3 * time.Minute)
	b.want("equipment('fan').proven && device('FAN-FLOW').active && !panel.fault")

	b = newBench(t, circuitSite())
	b.do(time.Second, &pb.Step{Step: "wire", Kind: &pb.Step_FieldWireShort{FieldWireShort: &pb.PointStep{Device: "FAN-START"}}})
	b.run(time.Minute)
	b.want("!output('FAN-START').on && device('FAN-FLOW').active && !panel.fault")
}

// What a circuit drives hangs at its end: with the cable open the release gets no current, though
// the module says that it is on. A reversed appliance, and an end-of-line resistor that is missing,
// wrong, or not alone, read as they would (common practice: windows of 0.5 and 1.5 times its value).
func TestCircuitEnds(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	b.do(time.Second, circuitStep("open", "RELEASE", "COIL"))
	b.do(time.Minute, press())
	b.repair(3*time.Minute, "open")
	b.run(2 * time.Minute)
	b.want("output('RELEASE').on && output('RELEASE').fault && !load('COIL').on && equipment('gas').state == 'ready'")
	b.run(5 * time.Minute)
	b.want("load('COIL').on && equipment('gas').state != 'ready'")

	resistor := func(second bool, ohm *float64) *pb.Step {
		return &pb.Step{Step: "resistor", Kind: &pb.Step_Resistor{Resistor: &pb.ResistorStep{Output: "BRANCH", Second: second, Ohm: ohm}}}
	}
	reversed := &pb.Step{Step: "resistor", Kind: &pb.Step_Reversed{Reversed: &pb.ReversedStep{Subject: &pb.ReversedStep_Load{Load: "B2"}}}}
	for name, c := range map[string]struct {
		step *pb.Step
		read int64 // 0 normal, 1 open, 2 short
	}{
		"missing": {resistor(false, nil), 1}, "half as much again and more": {resistor(false, new(7100.0)), 1}, "a little more": {resistor(false, new(7000.0)), 0},
		"less than half": {resistor(false, new(2200.0)), 2}, "a second one, the same": {resistor(true, new(4700.0)), 0}, "a second one, less": {resistor(true, new(2200.0)), 2},
		"reversed appliance": {reversed, 2},
	} {
		b := newBench(t, circuitSite())
		b.do(time.Second, c.step)
		b.run(10 * time.Second)
		_, raised := b.since(0, CircuitFault, c.read, "BRANCH")
		if raised != (c.read != 0) || b.is("output('BRANCH').fault") != (c.read != 0) {
			t.Errorf("%s: read %d raised: %v\n%s", name, c.read, raised, b.latest(5))
		}
	}
}

// A further fault of a circuit or a module that is in fault already calls again whoever has acknowledged the
// first (each fault is indicated or listed: EN 54-2 clause 8, from memory); a repair calls nobody.
func TestFurtherFaultsAreNews(t *testing.T) {
	t.Parallel()
	acknowledge := func() *pb.Step { return &pb.Step{Kind: &pb.Step_Acknowledge{Acknowledge: &pb.AcknowledgeStep{}}} }
	b := newBench(t, circuitSite())
	for i, fault := range []*pb.Step{
		circuitStep("open", "BRANCH", "B2"), circuitStep("short", "BRANCH", "B1"),
		{Step: "out", Kind: &pb.Step_Remove{Remove: &pb.PointStep{Device: "BRANCH"}}},
	} {
		at := time.Duration(i) * 5 * time.Minute
		b.do(at+time.Minute, fault)
		b.run(at + 3*time.Minute)
		b.want("panel.buzzer && !panel.acknowledged")
		b.do(at+4*time.Minute, acknowledge())
		b.run(at + 5*time.Minute)
		b.want("!panel.buzzer && panel.acknowledged")
	}
	b.repair(16*time.Minute, "out")
	b.run(20 * time.Minute)
	b.want("output('BRANCH').fault && !panel.buzzer && panel.acknowledged")
}

// Two faults of one kind on one thing are repaired each by itself: the other stays.
func TestFaultsStandEachByItself(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	again := func(name string, at time.Duration, kind *pb.Step) {
		kind.Step = name
		b.do(at, kind)
	}
	again("one", time.Second, circuitStep("", "BRANCH", "B2"))
	again("two", time.Second, circuitStep("", "BRANCH", "B2"))
	missing := func() *pb.Step { return &pb.Step{Kind: &pb.Step_Resistor{Resistor: &pb.ResistorStep{Output: "RING"}}} }
	again("missing", time.Second, missing())
	again("second", time.Second, &pb.Step{Kind: &pb.Step_Resistor{Resistor: &pb.ResistorStep{Output: "RING", Second: true, Ohm: new(100.0)}}})
	wire := func() *pb.Step {
		return &pb.Step{Kind: &pb.Step_FieldWireShort{FieldWireShort: &pb.PointStep{Device: "BARE"}}}
	}
	again("wire-1", time.Second, wire())
	again("wire-2", time.Second, wire())
	again("mains-all", time.Second, &pb.Step{Kind: &pb.Step_MainsFail{MainsFail: &pb.SupplyStep{}}})
	again("mains-psu", time.Second, &pb.Step{Kind: &pb.Step_MainsFail{MainsFail: &pb.SupplyStep{Supply: "psu"}}})
	b.run(10 * time.Second)
	for i, name := range []string{"two", "second", "wire-2", "mains-psu"} {
		b.repair(time.Duration(11+i)*time.Second, name)
	}
	b.run(20 * time.Second)
	b.want("output('BRANCH').fault && output('RING').fault && device('BARE').active")
	if o := b.output("RING"); b.outputs[o].reading.String() != "open" {
		t.Errorf("the second resistor is out again, and the ring reads %v", b.outputs[o].reading)
	}
	if psu, _ := b.plan.In.Power.Lookup("psu"); !b.plan.In.Power.OnBattery(b.power, psu) {
		t.Error("the mains of the building are away, and psu is not on battery")
	}
	for i, name := range []string{"one", "missing", "wire-1", "mains-all"} {
		b.repair(time.Duration(21+i)*time.Second, name)
	}
	b.run(40 * time.Second)
	b.want("!panel.fault && !device('BARE').active")
}

// What was demanded while a fault kept it back comes when the fault is put right: a contact that no
// longer sticks goes where its coil is, and the panel energises a circuit of its own once it is
// whole (common practice).
func TestRepairLetsTheDemandThrough(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	stuck := &pb.Step{Step: "stuck", Kind: &pb.Step_RelayStuck{RelayStuck: &pb.RelayStuckStep{Output: "FAN-START"}}}
	b.do(time.Second, stuck)
	b.do(time.Second, circuitStep("short", "PANEL", ""))
	b.do(2*time.Second, press())
	b.run(20 * time.Second)
	b.want("!output('FAN-START').on && output('FAN-START').fault && !output('PANEL').on && output('PANEL').fault")
	b.repair(21*time.Second, "stuck")
	b.repair(21*time.Second, "short")
	b.run(25 * time.Second)
	b.want("output('FAN-START').on && !output('FAN-START').fault && output('PANEL').on && load('P2').on && !output('PANEL').fault")
}

// A short that comes while a circuit of the panel's own sounds switches that circuit off, and nothing
// else: the panel lives, reads it shorted, and lets it sound again once it is mended. So it is where
// what switches the circuit sticks.
func TestPanelCircuitShortInAlarm(t *testing.T) {
	t.Parallel()
	for _, sticks := range []bool{false, true} {
		panelCircuitShortInAlarm(t, sticks)
	}
}

func panelCircuitShortInAlarm(t *testing.T, sticks bool) {
	t.Helper()
	b := newBench(t, circuitSite())
	b.do(time.Second, press())
	if sticks {
		b.do(10*time.Second, &pb.Step{Step: "stuck", Kind: &pb.Step_RelayStuck{RelayStuck: &pb.RelayStuckStep{Output: "PANEL"}}})
		b.repair(90*time.Second, "stuck")
	}
	b.do(20*time.Second, circuitStep("short", "PANEL", "P2"))
	b.repair(time.Minute, "short")
	b.do(2*time.Minute, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	b.do(3*time.Minute, &pb.Step{Kind: &pb.Step_Resound{Resound: &pb.ResoundStep{}}})
	b.run(20*time.Second - 1)
	b.want("load('P1').on && load('P2').on && !output('PANEL').fault")
	b.run(50 * time.Second)
	b.want("!output('PANEL').on && output('PANEL').fault && load('B3').on && load('O1').on && load('COIL').on")
	b.run(119 * time.Second)
	b.want("load('P1').on && load('P2').on && !output('PANEL').fault")
	b.run(2*time.Minute + time.Second)
	b.want("!output('PANEL').on")
	b.run(4 * time.Minute)
	b.want("load('P1').on && load('P2').on")
}
