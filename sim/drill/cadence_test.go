package drill

import (
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/cadence"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// All sounders of a circuit sound and pause together, from the instant at which the circuit operates,
// whatever their place on the cable (common practice: one circuit is one signal), and begin anew when
// the circuit is switched off and on again. Nothing of it is an event.
func TestLoadsOfOneCircuitAreInStep(t *testing.T) {
	site := circuitSite()
	site.Panel.Cadences = &pb.Cadences{Evacuate: "three-pulse"}
	b := newBench(t, site)
	b.do(2*time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
	b.do(30*time.Second+250*time.Millisecond, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	b.do(35*time.Second+125*time.Millisecond, &pb.Step{Kind: &pb.Step_Resound{Resound: &pb.ResoundStep{}}})
	ring, ok := b.plan.In.Output("RING")
	if !ok {
		t.Fatal("there is no circuit RING")
	}
	var origin time.Duration
	heard, starts := 0, 0
	for at := time.Duration(0); at < 60*time.Second; at += time.Millisecond {
		b.run(at)
		if p, since := b.Cadence(ring); p == cadence.ThreePulse && since != origin {
			origin = since
			starts++
		}
		want := b.Drill.Output(ring) == term.Evacuate && cadence.ThreePulse.On(at-origin)
		for _, load := range b.plan.In.Outputs[ring].Loads {
			if is := b.Fact(term.Fact{Kind: term.LoadSounding, Index: load}); is != want {
				t.Fatalf("at %v %s sounds: %t, want %t", at, b.plan.In.Loads[load].Label, is, want)
			}
		}
		if want {
			heard++
		}
	}
	if starts != 2 || heard < 18000 || heard > 21000 { // 1.5 s of every 4 s, over about 52 s
		t.Errorf("the pattern began %d times and sounded for %d ms", starts, heard)
	}
	other := newBench(t, circuitSite())
	other.do(2*time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
	other.run(60 * time.Second)
	same := newBench(t, site)
	same.do(2*time.Second, &pb.Step{Kind: &pb.Step_Press{Press: &pb.PointStep{Device: "CP"}}})
	same.run(60 * time.Second)
	if other.Digest() != same.Digest() {
		t.Error("the cadence shows in the log")
	}
}
