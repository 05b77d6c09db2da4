package drill

import (
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A module whose circuit has no supply is commanded three times in vain (rule J7). While the supply is
// away the module loses the loop, for too short a time to be missing, and restarts at rest. When the
// supply is back its sounders must sound: nothing is wrong any more, and the fire is still there. (Random
// weeks found the module that nobody told again.)
func TestModuleThatRestartedIsToldAgain(t *testing.T) {
	site := circuitSite()
	site.Loops[0].Line = &pb.Line{MissedReplies: new(uint32(20))}
	b := newBench(t, site)
	b.do(time.Second, &pb.Step{Step: "fuse", Kind: &pb.Step_Fuse{Fuse: &pb.SupplyStep{Supply: "psu"}}})
	b.do(2*time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
	b.do(20*time.Second, &pb.Step{Step: "break", Kind: &pb.Step_Break{Break: &pb.CableStep{Before: "BRANCH"}}})
	b.repair(20*time.Second+200*time.Millisecond, "break")
	b.repair(60*time.Second, "fuse")
	b.run(19 * time.Second)
	if !b.is("output('BRANCH').fault && !output('BRANCH').on && output('BRANCH').commanded == 'evacuate'") {
		t.Fatal("without its supply the circuit does as it is told, or nobody notices that it does not")
	}
	b.run(59 * time.Second)
	if b.is("device('CP').fault") || !b.is("!output('BRANCH').on && device('BRANCH').fed") {
		t.Fatal("the loop was away for too long, or is not back")
	}
	b.run(70 * time.Second) // the detectors' target after everything is whole
	if !b.is("output('BRANCH').state == 'evacuate' && load('B3').on && !output('BRANCH').fault") {
		t.Error("the sounders are silent though everything is whole")
	}
}

// A short that comes and goes between two visits, while the supply is away in a fire, leaves no trace:
// with the supply back the sounders sound. (Random weeks found the module that had forgotten.) One that
// still stands then holds the circuit off until it is mended.
func TestShortWhileTheSupplyIsAway(t *testing.T) {
	for _, lasting := range []bool{false, true} {
		b := newBench(t, circuitSite())
		b.do(time.Second, &pb.Step{Step: "fuse", Kind: &pb.Step_Fuse{Fuse: &pb.SupplyStep{Supply: "psu"}}})
		b.do(2*time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
		b.do(20*time.Second, &pb.Step{Step: "short", Kind: &pb.Step_CircuitShort{CircuitShort: &pb.CircuitStep{Output: "BRANCH"}}})
		mended := 20*time.Second + time.Microsecond
		if lasting {
			mended = 80 * time.Second
		}
		b.repair(mended, "short")
		b.repair(60*time.Second, "fuse")
		b.run(70 * time.Second)
		if b.is("output('BRANCH').state == 'evacuate' && load('B3').on") == lasting {
			t.Errorf("lasting: %t, and the sounders sound: %t", lasting, lasting)
		}
		b.run(90 * time.Second)
		if !b.is("output('BRANCH').state == 'evacuate' && load('B3').on && !output('BRANCH').fault") {
			t.Errorf("lasting: %t, and the sounders are silent though everything is whole", lasting)
		}
	}
}
