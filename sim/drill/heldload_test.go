package drill

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Supplies are asked for their current in alarm when the panel is in fire: not with a signal that is
// held, nor with one of a zone in test, but when the time to investigate has run out, though no device
// decides anything at that instant. (15 s: NFPA 72 23.8.1.)
func TestAlarmCurrentOfAHeldSignal(t *testing.T) {
	t.Parallel()
	const at = 10 * time.Second
	site := circuitSite()
	devices := &site.Loops[0].Devices
	*devices = append(*devices, &pb.Device{Label: "SD", Address: new(uint32(len(*devices) + 1)), CableM: new(5.0), Place: "hall", Zone: "z", Kind: &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}})
	site.Program.Detection = []*pb.Detection{{Zone: "z", Investigate: &pb.Investigate{AcknowledgeWithin: durationpb.New(15 * time.Second)}}}
	smoke := &pb.Step{Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: "SD", LevelPctPerM: new(8.0)}}}
	for name, tested := range map[string]bool{"held": false, "in test": true} {
		b := newBench(t, site)
		if tested {
			b.do(at/2, &pb.Step{Kind: &pb.Step_Test{Test: &pb.TestStep{Zone: "z", On: new(true)}}})
		}
		b.do(at, smoke)
		b.run(at + 10*time.Second)
		if b.fire || b.beside[0] != 0 {
			t.Errorf("%s: alarm current before any fire", name)
		}
		b.run(at + 20*time.Second)
		b.want(map[bool]string{false: "panel.fire", true: "!panel.fire && panel.test"}[tested])
		if b.fire == tested || b.beside[0] != map[bool]int64{false: 10_000, true: 0}[tested] {
			t.Errorf("%s: fire %v, %d uA beside its circuits", name, b.fire, b.beside[0])
		}
	}
}
