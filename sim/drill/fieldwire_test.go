package drill

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func fieldWireStep(name, device string, short bool) *pb.Step {
	on := &pb.PointStep{Device: device}
	if short {
		return &pb.Step{Step: name, Kind: &pb.Step_FieldWireShort{FieldWireShort: on}}
	}
	return &pb.Step{Step: name, Kind: &pb.Step_FieldWireOpen{FieldWireOpen: on}}
}

// A module keeps its retard time whatever closes its contact, as a flow switch's does against surges (NFPA 72
// 17.13.2, 2022: 90 s at most): a shorted field wire too, and one that lasts for less is not seen at all.
func TestShortedFieldWireIsRetarded(t *testing.T) {
	t.Parallel()
	site := func() *pb.Site {
		s := circuitSite()
		for _, d := range s.GetLoops()[0].GetDevices() {
			switch d.GetLabel() {
			case "BARE":
				d.GetInputModule().Retard = durationpb.New(20 * time.Second)
			case "MONITOR":
				d.GetInputModule().Retard, d.GetInputModule().ShortMeans = durationpb.New(20*time.Second), "active"
			case "BARE-CLOSED":
				d.GetInputModule().Retard = durationpb.New(20 * time.Second)
			}
		}
		return s
	}
	for _, c := range []struct {
		device string
		short  bool // what closes the contact, or opens one that is closed at rest
	}{{"BARE", true}, {"MONITOR", true}, {"BARE-CLOSED", false}} {
		active := "device('" + c.device + "').active"
		b := newBench(t, site())
		b.do(time.Second, fieldWireStep("brief", c.device, c.short))
		b.repair(20*time.Second, "brief")
		b.do(40*time.Second, fieldWireStep("lasting", c.device, c.short))
		b.do(50*time.Second, fieldWireStep("second", c.device, c.short))
		b.repair(55*time.Second, "second") // the first goes on
		b.run(60*time.Second - 1)
		b.want("!" + active)
		if at, ok := b.since(0, InputChanged, 1, c.device); ok {
			t.Errorf("%s: active at %v, 20 s have not passed", c.device, at)
		}
		b.run(70 * time.Second)
		b.want(active)
		if at, _ := b.since(0, InputChanged, 1, c.device); at != 60*time.Second {
			t.Errorf("%s: active at %v, wanted a minute", c.device, at)
		}
	}

	// The contact has run half of its time when the wire is shorted over it: one time, not two.
	b := newBench(t, site())
	b.do(10*time.Second, &pb.Step{Kind: &pb.Step_Activate{Activate: &pb.PointStep{Device: "BARE"}}})
	b.do(20*time.Second, fieldWireStep("short", "BARE", true))
	b.do(25*time.Second, &pb.Step{Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: "BARE"}}})
	b.repair(50*time.Second, "short")
	b.run(40 * time.Second)
	if at, _ := b.since(0, InputChanged, 1, "BARE"); at != 30*time.Second {
		t.Errorf("active at %v, wanted half a minute", at)
	}
	b.run(55 * time.Second)
	b.want("!device('BARE').active")
}

// The field wiring of the panel's own relays is as little supervised as that of relay modules (common
// practice): a break shows nothing, a short starts the fan, and only the proof can tell. Of two faults
// the latest stands, and each is repaired by itself.
func TestFieldWiringOfPanelRelays(t *testing.T) {
	t.Parallel()
	site := func() *pb.Site {
		s := circuitSite()
		for _, d := range s.GetLoops()[0].GetDevices() {
			if d.GetLabel() == "FAN-START" {
				d.GetRelayModule().Drives = nil
			}
		}
		s.Panel.Outputs = append(s.Panel.Outputs, &pb.PanelOutput{Label: "PANEL-FAN", Drives: &pb.Drive{Equipment: "fan", Input: "start"},
			Kind: &pb.PanelOutput_Relay{Relay: &pb.PanelRelay{AtRest: "open", OnPowerLoss: "rests"}}})
		s.Program.Effects[1].Outputs = append(s.Program.Effects[1].Outputs, "PANEL-FAN")
		return s
	}
	b := newBench(t, site())
	b.do(time.Second, fieldWireStep("wire", "PANEL-FAN", false))
	b.do(time.Minute, press())
	b.repair(2*time.Minute, "wire")
	b.run(90 * time.Second)
	b.want("output('PANEL-FAN').on && !equipment('fan').proven && equipment('fan').state == 'stopped'")
	b.run(4 * time.Minute)
	b.want("equipment('fan').proven && device('FAN-FLOW').active")

	b = newBench(t, site())
	b.do(time.Second, fieldWireStep("short", "PANEL-FAN", true))
	b.do(time.Minute, fieldWireStep("open", "PANEL-FAN", false))
	b.repair(2*time.Minute, "open")
	b.repair(3*time.Minute, "short")
	for _, c := range []struct {
		at      time.Duration
		running bool
	}{{50 * time.Second, true}, {110 * time.Second, false}, {170 * time.Second, true}, {240 * time.Second, false}} {
		b.run(c.at)
		if running := b.is("equipment('fan').state == 'running'"); running != c.running || b.is("output('PANEL-FAN').on") {
			t.Errorf("at %v the fan runs: %v\n%s", c.at, running, b.latest(5))
		}
	}
	b.want("!panel.fault")
	rooted(t, b.Drill)

	_, found := b.plan.Resolve(fieldWireStep("", "PANEL", false), "step")
	if len(found) != 1 || found[0].GetCode() != "scenario.no-field-wire" {
		t.Errorf("a supervised circuit of the panel has a field wire: %v", found)
	}
}
