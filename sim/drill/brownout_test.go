package drill

import (
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// times lists when events of a kind and value happened.
func (b *bench) times(kind sim.Kind, value int64) (at []time.Duration) {
	for _, e := range b.log.Since(0) {
		if e.Kind == kind && e.Value == value {
			at = append(at, e.At)
		}
	}
	return at
}

func smoke(k int) *pb.Step {
	return &pb.Step{Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: device(k), LevelPctPerM: new(8.0)}}}
}

// A loop that is well at rest browns out when the load of an alarm comes on (currents: common
// practice): twelve devices take 3.6 mA, each indicator 4 mA more, and the driver gives 13 mA. The third
// indicator is one too many. It happens once, at that instant, and the loop is back without it: a device
// that has lost its voltage comes back with its indicator dark. What was decided stays decided.
func TestBrownOut(t *testing.T) {
	t.Parallel()
	for _, ring := range []bool{false, true} {
		site := dozen{ring: ring, gaps: ring}.site()
		site.Loops[0].Driver.CurrentLimitMa = new(13.0)
		b := newBench(t, site)
		for k := 1; k <= 3; k++ {
			b.do(time.Duration(10*k)*time.Second, smoke(k))
		}
		b.run(29 * time.Second)
		if got := b.times(LoopCollapsed, 1); got != nil || b.missing() != nil {
			t.Errorf("with two indicators the line collapses at %v", got)
		}
		b.run(5 * time.Minute)
		third, _ := b.since(30*time.Second, FireDecided, 1, device(3))
		if got := b.times(LoopCollapsed, 1); len(got) != 1 || got[0] != third+b.plan.In.SwitchTime {
			t.Errorf("ring %v: collapsed at %v; the third fire is decided at %v\n%s", ring, got, third, b.latest(30))
		}
		if back := b.times(LoopCollapsed, 0); len(back) != 1 || back[0] > third+10*time.Second {
			t.Errorf("ring %v: the voltage is back at %v", ring, back)
		}
		if ring {
			continue // the controller has found the ring broken meanwhile, and healed it
		}
		quiet := b.log.Len()
		b.run(time.Hour)
		if b.log.Len() != quiet {
			t.Errorf("the loop does not come to rest\n%s", b.latest(10))
		}
		b.wantLost("browned out", nil)
		b.want("device('D1').fire && device('D2').fire && device('D3').fire && !panel.fault")
	}
}

// A module rides through 50 ms without voltage, and no longer (rules C5, J9: common practice). It is not
// reachable meanwhile; past that its contact does what it does without the loop, and 500 ms after the
// voltage it is at rest and works.
func TestHoldUp(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		gap  time.Duration
		lost bool
	}{{49 * time.Millisecond, false}, {50*time.Millisecond - 1, false}, {51 * time.Millisecond, true}} {
		site := dozen{}.site()
		site.Loops[0].Devices[11] = &pb.Device{
			Address: new(uint32(12)), Label: "RELAY", CableM: new(5.0),
			Kind: &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: &pb.Contact{AtRest: "closed", OnLoopLoss: "operates"}}},
		}
		b := newBench(t, site)
		cut := open(6)
		cut.Step = "cut"
		b.do(time.Second, cut)
		b.repair(time.Second+c.gap, "cut")
		b.run(time.Second + c.gap - 1)
		b.want("!device('RELAY').reachable")
		b.run(time.Second + c.gap)
		if got := b.is("output('RELAY').on"); got != c.lost {
			t.Errorf("after %v without voltage the contact has operated: %v", c.gap, got)
		}
		if got := b.is("device('RELAY').reachable"); got == c.lost {
			t.Errorf("after %v without voltage, with its voltage back, it is reachable: %v", c.gap, got)
		}
		b.run(time.Second + c.gap + 500*time.Millisecond)
		b.want("!output('RELAY').on && device('RELAY').reachable")
	}
}

// The far end of a broken ring is driven a switch time after the look that found it (rule H4), and that
// look is the first end of a round.
func TestFarEndIsDriven(t *testing.T) {
	t.Parallel()
	b := newBench(t, dozen{ring: true}.site())
	round := b.Round(0)
	b.do(11*round-1, open(6)) // every visit of the round has begun
	b.run(time.Minute)
	if found := b.times(RingBroken, 1); len(found) != 1 || found[0] != 11*round {
		t.Errorf("found broken at %v; a round takes %v\n%s", found, round, b.latest(12))
	} else if driven := b.times(TerminalMoved, 1); len(driven) != 1 || driven[0] != found[0]+b.plan.In.SwitchTime {
		t.Errorf("driven at %v, found at %v", driven, found)
	}
}

// A loop sounder is silent without the loop, even one whose output is stuck.
func TestStuckSounderWithoutLoop(t *testing.T) {
	t.Parallel()
	site := dozen{}.site()
	site.Loops[0].Devices[11] = &pb.Device{Address: new(uint32(12)), Label: "SOUNDER", CableM: new(5.0), Kind: &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{}}}
	site.Program = &pb.Program{
		Causes: []*pb.Cause{{Cause: "fire", When: "panel.fire"}}, Effects: []*pb.Effect{{Effect: "sound", Outputs: []string{"SOUNDER"}}},
		Actions: []*pb.Action{{Causes: []string{"fire"}, Effects: []string{"sound"}, State: "evacuate"}},
	}
	b := newBench(t, site)
	b.do(time.Second, smoke(1))
	b.do(10*time.Second, &pb.Step{Step: "stuck", Kind: &pb.Step_RelayStuck{RelayStuck: &pb.RelayStuckStep{Output: "SOUNDER"}}})
	cut := open(6)
	cut.Step = "cut"
	b.do(20*time.Second, cut)
	b.repair(30*time.Second, "cut")
	b.repair(40*time.Second, "stuck")
	b.run(20*time.Second - 1)
	b.want("output('SOUNDER').on")
	b.run(21 * time.Second)
	b.want("!output('SOUNDER').on && !device('SOUNDER').fed")
	b.run(39 * time.Second)
	b.want("!output('SOUNDER').on && output('SOUNDER').fault")
}
