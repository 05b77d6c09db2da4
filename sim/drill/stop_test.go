package drill

import (
	"slices"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// stopSite is the site of the circuits with a lock behind each sort of contact, on a module and on the
// panel, and a detector beside the call point.
func stopSite() *pb.Site {
	site := circuitSite()
	lock := func(id string) *pb.Equipment {
		return &pb.Equipment{Equipment: id, DeenergiseToOperate: []string{"all"}, Kind: &pb.Equipment_DoorLock{DoorLock: &pb.DoorLock{}}}
	}
	var outputs []string
	for _, word := range []string{"stays", "operates", "rests"} {
		site.Equipment = append(site.Equipment, lock("module-"+word), lock("panel-"+word))
		n := uint32(len(site.GetLoops()[0].GetDevices()) + 1)
		site.Loops[0].Devices = append(site.Loops[0].Devices, &pb.Device{Address: new(n), Label: "MODULE-" + word, CableM: new(5.0), Place: "hall",
			Kind: &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: &pb.Contact{AtRest: "closed", OnLoopLoss: word}, Drives: &pb.Drive{Equipment: "module-" + word, Input: "hold"}}}})
		site.Panel.Outputs = append(site.Panel.Outputs, &pb.PanelOutput{Label: "PANEL-" + word, Drives: &pb.Drive{Equipment: "panel-" + word, Input: "hold"},
			Kind: &pb.PanelOutput_Relay{Relay: &pb.PanelRelay{AtRest: "closed", OnPowerLoss: word}}})
		outputs = append(outputs, "MODULE-"+word, "PANEL-"+word)
	}
	site.Program.Effects = append(site.Program.Effects, &pb.Effect{Effect: "doors", Outputs: outputs})
	site.Program.Actions[1].Effects = append(site.Program.Actions[1].Effects, "doors")
	return site
}

// panelStop stops the panel, in a step that is repaired by the name "stop".
func panelStop() *pb.Step {
	return &pb.Step{Step: "stop", Kind: &pb.Step_PanelStop{PanelStop: &pb.PanelStopStep{}}}
}

// A panel whose processor stops: every output does what its contact says of the loss of the loop or of
// power, circuits go off, nothing is indicated, and nobody is told (common practice; what a held door
// then does is why BS 7273-4 category A asks for `operates`).
func TestPanelStopAtRest(t *testing.T) {
	t.Parallel()
	b := newBench(t, stopSite())
	b.do(10*time.Second, panelStop())
	b.run(9 * time.Second)
	b.want("!panel.stopped && panel.indicated == 'quiescent'")
	b.run(10*time.Second + 200*time.Millisecond)
	b.want("panel.stopped && !panel.fault")
	b.want("equipment('module-stays').state == 'locked' && equipment('module-rests').state == 'locked'")
	b.want("equipment('panel-stays').state == 'locked' && equipment('panel-rests').state == 'locked'")
	b.run(20 * time.Second)
	b.want("equipment('module-operates').state == 'free' && equipment('panel-operates').state == 'free'")
	want := []string{"fault-injected", "panel-stopped", "feed", "module-lost", "output-operated"}
	if chain := b.chainOf(OutputOperated, "MODULE-operates"); !slices.Equal(chain, want) {
		t.Errorf("the module's contact: %v", chain)
	}
	if chain := b.chainOf(OutputOperated, "PANEL-operates"); !slices.Equal(chain, []string{"fault-injected", "panel-stopped", "output-operated"}) {
		t.Errorf("the panel's relay: %v", chain)
	}
	if _, seen := b.since(0, OutputFault, 1, ""); seen {
		t.Error("a panel that has stopped raises a fault")
	}
	rooted(t, b.Drill)
}

// A panel that stops in a fire forgets it, and what operators do meanwhile; what they did before stays.
// After its restart time it polls from the first address and finds the fire again through readings.
func TestPanelStopInAFire(t *testing.T) {
	t.Parallel()
	b := newBench(t, stopSite())
	b.do(time.Second, &pb.Step{Kind: &pb.Step_Disable{Disable: &pb.SubjectStep{Subject: &pb.SubjectStep_Output{Output: "OTHER"}}}})
	b.do(2*time.Second, press())
	b.do(20*time.Second, panelStop())
	b.do(25*time.Second, &pb.Step{Kind: &pb.Step_Disable{Disable: &pb.SubjectStep{Subject: &pb.SubjectStep_Output{Output: "RING"}}}})
	b.repair(40*time.Second, "stop")
	b.run(19 * time.Second)
	b.want("panel.fire && output('BRANCH').on && output('PANEL').on && output('FAN-START').on")
	b.run(39 * time.Second)
	b.want("!panel.fire && !output('BRANCH').on && !output('PANEL').on && !load('B1').on && !load('P1').on")
	b.want("output('FAN-START').on && output('MODULE-stays').on && output('PANEL-stays').on && !output('PANEL-rests').on && !output('MODULE-rests').on")
	b.want("output('BRANCH').commanded == 'off' && !device('CP').reachable")
	b.run(70 * time.Second)
	b.want("!panel.stopped && device('CP').reachable && !device('CP').active && !panel.fire") // its first slot has begun
	b.run(80 * time.Second)
	b.want("panel.fire && output('BRANCH').on && output('PANEL').on && output('FAN-START').on && !output('OTHER').on && output('RING').on")
	start, _ := b.since(0, PanelStopped, 0, "")
	if read, ok := b.since(start, ActiveRead, 1, "CP"); start != 70*time.Second || !ok || read != start+12*time.Millisecond {
		t.Errorf("starts at %v, reads the call point at %v", start, read)
	}
	b.want("panel.disabled && !panel.fault")
	if at, ok := b.since(0, OperationUnheeded, int64(ActDisableOutput), "RING"); !ok || at != 25*time.Second || b.count(OperationUnheeded) != 1 {
		t.Errorf("%d acts are unheeded, one at %v", b.count(OperationUnheeded), at)
	}
	if chain := b.chainOf(OperationUnheeded, "RING"); !slices.Equal(chain, []string{"operator", "operation-unheeded"}) {
		t.Errorf("unheeded because of %v", chain)
	}
	rooted(t, b.Drill)
}

// What stays where it was put, and is not wanted any more when the panel starts, is told to go to rest.
func TestModulesAreToldAnew(t *testing.T) {
	t.Parallel()
	b := newBench(t, stopSite())
	b.do(2*time.Second, press())
	b.do(20*time.Second, panelStop())
	b.do(30*time.Second, &pb.Step{Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: "CP"}}})
	b.repair(40*time.Second, "stop")
	b.run(69 * time.Second)
	b.want("output('FAN-START').on && output('PANEL-stays').on")
	b.run(80 * time.Second)
	b.want("!panel.fire && !output('FAN-START').on && !output('PANEL-stays').on && !output('MODULE-stays').on && !panel.fault")
}

// The panel's own supply gives out, and comes back before and after the panel has started.
func TestPanelWithoutItsSupply(t *testing.T) {
	t.Parallel()
	fuse := func(name string) *pb.Step {
		return &pb.Step{Step: name, Kind: &pb.Step_SupplyFail{SupplyFail: &pb.SupplyStep{Supply: "panel"}}}
	}
	b := newBench(t, stopSite())
	b.do(10*time.Second, fuse("first"))
	b.repair(20*time.Second, "first") // the panel would start at 50 s
	b.do(45*time.Second, fuse("again"))
	b.do(50*time.Second, panelStop()) // a second reason
	b.repair(60*time.Second, "again")
	b.repair(100*time.Second, "stop") // and starts at 130 s
	for _, at := range []int{11, 44, 49, 51, 99, 129} {
		b.run(time.Duration(at) * time.Second)
		b.want("panel.stopped && !device('BARE').active")
	}
	b.run(140 * time.Second)
	b.want("!panel.stopped && !panel.fault")
	if n := b.count(PanelStopped); n != 2 {
		t.Errorf("it stops and starts %d times altogether", n)
	}
	if chain := b.chainOf(PanelStopped, ""); !slices.Equal(chain, []string{"fault-injected", "supply-lost", "panel-stopped"}) {
		t.Errorf("it stops because of %v", chain)
	}
	rooted(t, b.Drill)
}

// A fork of a drill whose panel stands still goes on as the drill does.
func TestForkOfAStoppedPanel(t *testing.T) {
	t.Parallel()
	b := newBench(t, stopSite())
	b.do(2*time.Second, press())
	b.do(20*time.Second, panelStop())
	b.repair(40*time.Second, "stop")
	b.run(50 * time.Second)
	f := b.Fork()
	b.run(200 * time.Second)
	if err := f.RunUntil(200 * time.Second); err != nil || f.Digest() != b.Digest() {
		t.Errorf("the fork parts from its drill (%v)\n%s", err, part(b.Drill, f))
	}
}

// chainOf is the kinds of the events that led to the first event of a kind about a subject.
func (b *bench) chainOf(kind sim.Kind, subject string) []string {
	for n := 1; n <= b.log.Len(); n++ {
		if e := b.log.Event(uint64(n)); e.Kind == kind && b.plan.SubjectOf(e) == subject {
			return b.kindsTo(uint64(n))
		}
	}
	return nil
}

// kindsTo is the kinds of the events that led to an event, and its own.
func (b *bench) kindsTo(n uint64) []string {
	var names []string
	for _, k := range b.Chain(n) {
		names = append(names, KindName(b.log.Event(k).Kind))
	}
	return names
}

// count is how many events of a kind there are.
func (b *bench) count(kind sim.Kind) int {
	n := 0
	for _, e := range b.log.Since(0) {
		if e.Kind == kind {
			n++
		}
	}
	return n
}

// A switch that is moved while the panel stands still is logged when it is moved, and acts when the panel
// starts and reads it; a fork in between goes on alike (common practice: a switch stands where it was put).
func TestSwitchAtAStoppedPanel(t *testing.T) {
	t.Parallel()
	site := stopSite()
	site.Program.Overrides = []*pb.Override{{Override: "open", Effects: []string{"doors"}}}
	b := newBench(t, site)
	b.do(20*time.Second, panelStop())
	for at, position := range []string{"off", "auto", "on"} {
		b.do(time.Duration(25+at)*time.Second, &pb.Step{Kind: &pb.Step_Override{Override: &pb.OverrideStep{Override: "open", Position: position}}})
	}
	b.repair(40*time.Second, "stop")
	b.run(50 * time.Second)
	f := b.Fork()
	b.run(69 * time.Second)
	b.want("!output('MODULE-rests').on")
	b.run(80 * time.Second)
	b.want("output('MODULE-rests').on && output('PANEL-rests').on && !panel.stopped")
	for at := range 3 {
		if when, ok := b.since(time.Duration(24+at)*time.Second+1, Operated, int64(ActOverride), ""); !ok || when != time.Duration(25+at)*time.Second {
			t.Errorf("act %d is logged at %v", at, when)
		}
	}
	if b.count(Operated) != 3 || b.count(OperationUnheeded) != 0 {
		t.Errorf("%d acts, %d unheeded\n%s", b.count(Operated), b.count(OperationUnheeded), b.latest(40))
	}
	if moved, _ := b.since(0, OverrideMoved, int64(term.SwitchedOn), ""); moved != 70*time.Second || b.count(OverrideMoved) != 1 {
		t.Errorf("read at %v, in all %d times\n%s", moved, b.count(OverrideMoved), b.latest(60))
	}
	if chain := b.chainOf(OutputOperated, "PANEL-rests"); !slices.Equal(chain, []string{"operator", "override", "output-demanded", "output-operated"}) {
		t.Errorf("the relay: %v", chain)
	}
	if err := f.RunUntil(80 * time.Second); err != nil || f.Digest() != b.Digest() {
		t.Errorf("the fork parts from its drill (%v)\n%s", err, part(b.Drill, f))
	}
	rooted(t, b.Drill)
}
