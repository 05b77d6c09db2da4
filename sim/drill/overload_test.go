package drill

import (
	"slices"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// leak is a short of some ohms in the middle of the dozen's loop.
func leak(ohm float64) *pb.Step {
	step := short(6)
	step.Step, step.GetShort().Ohm = "leak", &ohm
	return step
}

// A short that the driver carries at its limit takes no device's voltage: 400 mA through 50 ohm are 20 V, above the
// 16 V at which a device stops and the 10 V at which isolators open (common practice, Ohm's law). The
// controller raises it once the driver has stood in its limit for 10 s, and clears it 10 s after the repair. At 200
// ohm, 140 mA, nothing shows: the driver is below its limit. At 30 ohm devices go missing.
func TestOverload(t *testing.T) {
	t.Parallel()
	const at = 10 * time.Second
	for _, z := range []dozen{{}, {ring: true, gaps: true}} {
		b := newBench(t, z.site())
		b.do(at, leak(50))
		b.repair(10*time.Minute, "leak")
		b.run(at + 10*time.Second - 1)
		b.want("!panel.fault")
		b.run(at + 10*time.Second)
		b.want("panel.fault && loop(1).fault")
		if got := b.chain(LoopOverload, 1); !slices.Equal(got, []string{"fault-injected", "loop-overload"}) {
			t.Errorf("%v: the chain is %v", z, got)
		}
		b.wantLost("50 ohm", nil)
		b.inTime("50 ohm", 5*time.Minute, nil)
		b.run(10*time.Minute + 10*time.Second - 1)
		b.want("loop(1).fault")
		b.run(10*time.Minute + 10*time.Second)
		b.want("!loop(1).fault && !panel.fault")
		rooted(t, b.Drill)

		b = newBench(t, z.site())
		b.do(at, leak(50))
		b.repair(at+10*time.Second-1, "leak")
		b.run(10 * time.Minute)
		if got := b.times(LoopOverload, 1); got != nil {
			t.Errorf("%v: a short of less than 10 s is raised at %v", z, got)
		}

		b = newBench(t, z.site())
		b.do(at, leak(200))
		b.run(10 * time.Minute)
		b.want("!panel.fault && !loop(1).fault")

		b = newBench(t, z.site())
		b.do(at, leak(30))
		b.run(10 * time.Minute)
		b.want("loop(1).fault")
		if len(b.missing()) == 0 {
			t.Errorf("%v: 30 ohm: no device is missed", z)
		}
	}
}

// What the loops take beyond their current at rest comes from the panel's supply and its battery: an
// indicator 4 mA, a loop sounder 5 mA (common practice), a short what its driver gives, 400 mA at most. The
// current at rest is in standby_ma already; what the file gives as alarm_ma counts the loops in alarm
// (rule I2).
func TestLoopsDrawFromThePanel(t *testing.T) {
	t.Parallel()
	const rest, standby = 12 * 300, 350_000
	for _, alarm := range []int64{0, 200_000} {
		site := dozen{}.site()
		site.Panel = &pb.Panel{Supply: &pb.PanelSupply{StandbyMa: new(standby / 1e3), AlarmMa: new(float64(alarm) / 1e3), BatteryAh: new(24.0)}}
		site.Loops[0].Devices[11] = &pb.Device{Address: new(uint32(12)), Label: "SOUNDER", CableM: new(5.0), Kind: &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{}}}
		site.Program = &pb.Program{
			Causes: []*pb.Cause{{Cause: "fire", When: "panel.fire"}}, Effects: []*pb.Effect{{Effect: "sound", Outputs: []string{"SOUNDER"}, Silenceable: true}},
			Actions: []*pb.Action{{Causes: []string{"fire"}, Effects: []string{"sound"}, State: "evacuate"}},
		}
		b := newBench(t, site)
		panel := b.plan.In.Power.Panel()
		drawn := func(what string, want int64) {
			t.Helper()
			if got := b.plan.In.Power.MicroA(b.power, panel); got != standby+want {
				t.Errorf("alarm_ma %d uA: %s: %d uA beyond standby, wanted %d", alarm, what, got-standby, want)
			}
		}
		b.do(time.Minute, smoke(1))
		b.do(2*time.Minute, smoke(2))
		b.do(3*time.Minute, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
		b.do(4*time.Minute, &pb.Step{Kind: &pb.Step_Remove{Remove: &pb.PointStep{Device: device(2)}}})
		b.do(5*time.Minute, leak(50))
		b.repair(6*time.Minute, "leak")
		b.do(6*time.Minute, &pb.Step{Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: device(1)}}})
		b.do(7*time.Minute, &pb.Step{Kind: &pb.Step_Reset_{Reset_: &pb.ResetStep{}}})
		drawn("at rest", 0)
		b.run(90 * time.Second)
		drawn("one indicator, one sounder", max(alarm, 9_000))
		b.run(3*time.Minute - 1)
		drawn("two indicators, one sounder", max(alarm, 13_000))
		b.run(4*time.Minute - 1)
		drawn("silenced", max(alarm, 8_000))
		b.run(5*time.Minute - 1)
		drawn("one of the two taken out, which also saves its standby", max(alarm, 4_000-300))
		events := b.log.Len()
		b.run(5*time.Minute + time.Second)
		drawn("a short", max(alarm, 400_000-rest))
		if n := b.log.Len() - events; n != 1 {
			t.Errorf("a short that changes nothing but the current makes %d events\n%s", n, b.latest(5))
		}
		b.run(7*time.Minute - 1)
		drawn("the short repaired", max(alarm, 4_000-300))
		b.run(10 * time.Minute)
		rooted(t, b.Drill)
	}
}

// A panel that stops forgets an overload with all else; one that stands is found again once it works and
// its driver has stood in its limit, and ends with the short.
func TestOverloadAfterTheStop(t *testing.T) {
	t.Parallel()
	b := newBench(t, dozen{ring: true, gaps: true}.site())
	b.do(10*time.Second, leak(50))
	b.do(time.Minute, &pb.Step{Step: "halt", Kind: &pb.Step_PanelStop{PanelStop: &pb.PanelStopStep{}}})
	b.repair(2*time.Minute, "halt")
	b.repair(10*time.Minute, "leak")
	b.run(time.Minute - 1)
	b.want("loop(1).fault")
	b.run(10*time.Minute - 1)
	b.want("loop(1).fault && panel.fault")
	if got := b.times(LoopOverload, 1); len(got) != 2 || got[1] < 2*time.Minute+10*time.Second {
		t.Errorf("raised at %v\n%s", got, b.latest(20))
	}
	b.run(11 * time.Minute)
	b.want("!panel.fault")
	b.wantLost("mended", nil)
	rooted(t, b.Drill)
}
