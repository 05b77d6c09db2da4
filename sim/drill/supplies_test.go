package drill

import (
	"slices"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func mains(supply string) *pb.Step {
	return &pb.Step{Step: "mains", Kind: &pb.Step_MainsFail{MainsFail: &pb.SupplyStep{Supply: supply}}}
}

// Loss of mains and low battery within 30 min (EN 54-4 5.4, BS 5839-1 12; from
// memory); trouble within 200 s under nfpa72 (NFPA 72 chapters 10 and 12). The supply's own relay shows at the limit; on its
// way to the panel stand the input's switch time, at most one round and one slot.
func TestSupplyFaultTimes(t *testing.T) {
	t.Parallel()
	const at = 10 * time.Second
	for pack, limit := range map[string]time.Duration{"en54": 30 * time.Minute, "bs5839-1": 30 * time.Minute, "nfpa72": 200 * time.Second} {
		site := circuitSite()
		site.Rules.Packs = []string{pack}
		b := newBench(t, site)
		way := b.plan.In.SwitchTime + b.Round(0) + 20*time.Millisecond
		b.do(at, mains(""))
		b.run(at + limit - 1)
		b.want("!panel.fault")
		b.run(at + limit)
		b.want("supply('panel').fault && panel.fault")
		b.run(at + limit + way)
		b.want("supply('psu').fault && device('PSU-FAULT').active")
		if got, want := b.chain(SupplySignal, 1), []string{"fault-injected", "supply-signal"}; !slices.Equal(got, want) {
			t.Errorf("%s: the chain of the signal is %v", pack, got)
		}
		b.repair(at+2*limit, "mains")
		b.run(at + 2*limit + way)
		b.want("!supply('panel').fault && !supply('psu').fault && !panel.fault")
	}
}

// The battery counts down: 2 Ah at 50 mA are at a quarter after 30 h, and at their end after 40 h;
// the circuits then go dead, the mains bring them back, and the sounders with them. Below C/20,
// which is 100 mA, the current counts once (BS 5839-1 annex: D).
func TestBatteryThroughADrill(t *testing.T) {
	t.Parallel()
	site := circuitSite()
	site.Panel.Supply.BatteryAh = new(200.0)
	b := newBench(t, site)
	events := b.log.Len()
	b.do(0, mains(""))
	b.run(41 * time.Hour)
	for _, c := range []struct {
		kind string
		at   time.Duration
	}{{"battery-low", 30 * time.Hour}, {"battery-discharged", 40 * time.Hour}, {"supply-lost", 40 * time.Hour}} {
		found := false
		for _, e := range b.log.Since(uint64(events)) {
			found = found || KindName(e.Kind) == c.kind && e.At == c.at
		}
		if !found {
			t.Errorf("no %s at %v\n%s", c.kind, c.at, b.latest(20))
		}
	}
	if n := b.log.Len(); n > 60 {
		t.Errorf("%d events in 41 h of standby: something steps", n)
	}
	b.do(42*time.Hour, press())
	b.repair(43*time.Hour, "mains")
	b.run(42*time.Hour + 20*time.Second)
	b.want("!output('BRANCH').on && !load('B1').on && output('PANEL').on && load('P1').on")
	b.run(43*time.Hour + 20*time.Second)
	b.want("load('B1').on")
	rooted(t, b.Drill)
}

// A supply whose load is above its limit goes, once, and stays away while that is asked for; it
// does not come back as soon as its circuits are dead, and go again.
func TestOverloadedSupplyDoesNotChatter(t *testing.T) {
	t.Parallel()
	site := circuitSite()
	site.Supplies[0].CurrentLimitA = new(0.4) // 8 sounders of 40 mA, a coil of 300 mA
	b := newBench(t, site)
	b.do(time.Second, press())
	b.do(time.Minute, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	b.run(59 * time.Second)
	lost := 0
	for _, e := range b.log.Since(0) {
		if e.Kind == SupplyLost {
			lost++
		}
	}
	if lost != 1 {
		t.Errorf("the supply came and went %d times", lost)
	}
	b.want("!load('B1').on && !load('COIL').on && load('P1').on")
	b.run(2 * time.Minute)
	b.want("load('COIL').on") // 350 mA are left
}

// A short that comes while the circuit sounds takes the supply's output, and with it the other
// circuits on it; dead, it reads shorted, is not energised again, and the others come back.
func TestShortInAlarm(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	b.do(time.Second, press())
	b.do(time.Minute, circuitStep("short", "BRANCH", "B1"))
	b.run(time.Minute - 1)
	b.want("load('B1').on && load('O1').on && load('COIL').on")
	b.run(time.Minute + time.Second)
	b.want("!output('BRANCH').on && !load('B1').on && load('O1').on && load('R3').on && load('COIL').on && output('BRANCH').fault")
	if _, lost := b.since(time.Minute, SupplyLost, 1, ""); !lost {
		t.Error("the short did not take the supply's output")
	}
}

// The current in alarm that a supply's file gives beside its circuits counts while the panel is in
// fire (rule I2): 300 + 200 mA on the panel, 50 + 10 mA outside, and what the circuits draw.
func TestCurrentInAlarm(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	psu, _ := b.plan.In.Power.Lookup("psu")
	panel := b.plan.In.Power.Panel()
	microA := func() [2]int64 {
		return [2]int64{b.plan.In.Power.MicroA(b.power, panel), b.plan.In.Power.MicroA(b.power, psu)}
	}
	b.do(time.Second, press())
	b.do(time.Minute, &pb.Step{Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: "CP"}}})
	b.do(2*time.Minute, &pb.Step{Kind: &pb.Step_Reset_{Reset_: &pb.ResetStep{}}})
	if got := microA(); got != [2]int64{300_000, 50_000} {
		t.Errorf("at rest %v", got)
	}
	b.run(30 * time.Second)
	if got := microA(); got != [2]int64{300_000 + 200_000 + 2*40_000, 50_000 + 10_000 + 8*40_000 + 300_000} {
		t.Errorf("in alarm %v", got)
	}
	b.run(3 * time.Minute)
	if got := microA(); got != [2]int64{300_000, 50_000} {
		t.Errorf("after reset %v", got)
	}
}
