package drill

import (
	"fmt"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Of two faults on one thing, whichever is put right first, the other stays; when both are right the
// thing is as good as new. A fault has one cause, and a second one does not go away with it.
func TestRepairOfOneLeavesTheOther(t *testing.T) {
	t.Parallel()
	point := func(label string) *pb.PointStep { return &pb.PointStep{Device: label} }
	remove := func() *pb.Step { return &pb.Step{Kind: &pb.Step_Remove{Remove: point("CP")}} }
	mute := func() *pb.Step { return &pb.Step{Kind: &pb.Step_Mute{Mute: point("CP")}} }
	wrong := func() *pb.Step { return &pb.Step{Kind: &pb.Step_WrongType{WrongType: &pb.WrongTypeStep{Device: "CP"}}} }
	twice := func() *pb.Step { return &pb.Step{Kind: &pb.Step_Duplicate{Duplicate: &pb.DuplicateStep{Device: "CP"}}} }
	stuck := func() *pb.Step {
		return &pb.Step{Kind: &pb.Step_Stuck{Stuck: &pb.StuckStep{Device: "BARE", Active: new(true)}}}
	}
	relay := func() *pb.Step {
		return &pb.Step{Kind: &pb.Step_RelayStuck{RelayStuck: &pb.RelayStuckStep{Output: "FAN-START"}}}
	}
	noise := func() *pb.Step {
		return &pb.Step{Kind: &pb.Step_LineErrors{LineErrors: &pb.LineErrorsStep{Loop: new(uint32(1)), Rate: new(0.9)}}}
	}
	jammed := func() *pb.Step {
		return &pb.Step{Kind: &pb.Step_PlantFault{PlantFault: &pb.PlantFaultStep{Equipment: "fan", Fault: "stuck"}}}
	}
	cases := []struct {
		name        string
		first, next func() *pb.Step
		press       bool
		faulty      string // while at least one of them stands
	}{
		{"taken out twice", remove, remove, false, "device('CP').fault && !device('CP').reachable"},
		{"taken out and mute", remove, mute, false, "device('CP').fault && !device('CP').reachable"},
		{"of another type twice", wrong, wrong, false, "device('CP').fault"},
		{"duplicate twice", twice, twice, false, "device('CP').fault"},
		{"duplicate and taken out", twice, remove, false, "device('CP').fault"},
		{"stuck twice", stuck, stuck, false, "device('BARE').active"},
		{"relay stuck twice", relay, relay, true, "output('FAN-START').state == 'off'"},
		{"equipment jammed twice", jammed, jammed, true, "equipment('fan').state == 'stopped'"},
	}
	for _, c := range cases {
		for _, order := range [][2]string{{"first", "next"}, {"next", "first"}} {
			t.Run(fmt.Sprintf("%s, %s repaired first", c.name, order[0]), func(t *testing.T) {
				t.Parallel()
				b := newBench(t, circuitSite())
				for i, step := range []*pb.Step{c.first(), c.next()} {
					step.Step = []string{"first", "next"}[i]
					b.do(time.Second, step)
				}
				if c.press {
					b.do(2*time.Second, press())
				}
				b.repair(20*time.Second, order[0])
				b.repair(40*time.Second, order[1])
				for _, at := range []time.Duration{19 * time.Second, 39 * time.Second} {
					b.run(at)
					b.want(c.faulty)
				}
				b.run(70 * time.Second)
				if b.is(c.faulty) {
					t.Errorf("both are put right, and still: %s\n%s", c.faulty, b.latest(12))
				}
			})
		}
	}
	t.Run("garbled replies twice", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, circuitSite())
		for i := range 2 {
			step := noise()
			step.Step = []string{"first", "next"}[i]
			b.do(time.Second, step)
		}
		b.repair(20*time.Second, "next")
		b.repair(40*time.Second, "first")
		b.run(60 * time.Second)
		if _, more := b.since(20*time.Second, ReplyGarbled, 0, ""); !more {
			t.Error("one of two is put right, and no reply is garbled any more")
		}
		if at, more := b.since(41*time.Second, ReplyGarbled, 0, ""); more {
			t.Errorf("both are put right, and a reply is garbled at %v", at)
		}
	})
}

// A name given to two faults means the latest that still stands (interactive drills may do so).
func TestRepairByNameTakesTheLatest(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	for _, label := range []string{"BARE", "MONITOR"} {
		b.do(time.Second, &pb.Step{Step: "jam", Kind: &pb.Step_Stuck{Stuck: &pb.StuckStep{Device: label, Active: new(true)}}})
	}
	b.repair(10*time.Second, "jam")
	b.repair(20*time.Second, "jam")
	b.run(15 * time.Second)
	b.want("device('BARE').active && !device('MONITOR').active")
	b.run(30 * time.Second)
	b.want("!device('BARE').active && !device('MONITOR').active")
}
