package drill

import (
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// standIn stands in for the fan, or ceases to.
func standIn(on bool) *pb.Step {
	return &pb.Step{Kind: &pb.Step_StandIn{StandIn: &pb.StandInStep{Equipment: "fan", On: new(on)}}}
}

func signal(equipment, name string, on bool) *pb.Step {
	return &pb.Step{Kind: &pb.Step_Signal{Signal: &pb.SignalStep{Equipment: equipment, Signal: name, On: new(on)}}}
}

// Somebody outside plays the fan: he is told what its contacts do, and what he signals reaches the
// panel through the proving input as the model's signals do.
func TestStandIn(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	b.do(time.Second, standIn(true))
	b.do(2*time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
	b.do(40*time.Second, signal("fan", "running", true))
	b.run(39 * time.Second)
	b.want("output('FAN-START').on && equipment('fan').state == 'stopped' && !equipment('fan').proven")
	at, told := b.since(0, EquipmentInput, 0, "fan")
	operated, _ := b.since(0, OutputOperated, 1, "FAN-START")
	if !told || at != operated {
		t.Errorf("the contact operates at %v, and whoever stands in is told at %v, %v", operated, at, told)
	}
	b.run(50 * time.Second)
	b.want("equipment('fan').state == 'stopped' && equipment('fan').proven && device('FAN-FLOW').active")
	given, _ := b.since(0, SignalChanged, 0, "fan")
	if input, _ := b.since(40*time.Second, InputChanged, 1, "FAN-FLOW"); given != 40*time.Second || input != given+b.plan.In.SwitchTime {
		t.Errorf("given at %v, at the proving input at %v", given, input)
	}
	b.do(60*time.Second, standIn(false))
	b.run(90 * time.Second)
	b.want("equipment('fan').state == 'running' && equipment('fan').proven")
	rooted(t, b.Drill)
}

// Who stands in later is told what is operated already.
func TestStandInIsToldAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	b.do(time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
	b.do(5*time.Second, standIn(true))
	b.do(6*time.Second, standIn(true)) // again: he knows
	b.run(20 * time.Second)
	if at, told := b.since(0, EquipmentInput, 0, "fan"); !told || at != 5*time.Second {
		t.Errorf("told at %v, %v", at, told)
	}
	if at, told := b.since(5*time.Second+1, EquipmentInput, 0, "fan"); told {
		t.Errorf("told again at %v", at)
	}
}

// A signal needs a stand-in before it: of acts of one instant the order of entry counts.
func TestStoodIn(t *testing.T) {
	acts := []Act{
		{At: 5, Kind: ActStandIn, Index: 1, On: true},
		{At: 3, Kind: ActStandIn, Index: 1},
		{At: 9, Kind: ActStandIn, Index: 1},
		{At: 5, Kind: ActStandIn, Index: 2, On: true},
	}
	for _, c := range []struct {
		at, place int
		want      bool
	}{{4, 4, false}, {5, 0, false}, {5, 1, true}, {8, 0, true}, {9, 2, true}, {9, 3, false}, {100, 0, false}} {
		a := Act{At: time.Duration(c.at), Kind: ActSignal, Index: 1}
		if got := StoodIn(acts, &a, c.place); got != c.want {
			t.Errorf("at %d, place %d: %v", c.at, c.place, got)
		}
	}
}
