package drill

import (
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// What a supply can have is indicated in its time: a battery disconnected within 15 min, a charger, the
// mains and a low battery within 30 min (EN 54-4 5.4, BS 5839-1 12; from memory), each within 200 s under
// nfpa72 (NFPA 72 chapters 10 and 12). The supply's own relay shows at the limit, the panel's input
// a switch time, a round and a slot later; and all is over once it is put right.
func TestBatteryFaultTimes(t *testing.T) {
	t.Parallel()
	psu := &pb.SupplyStep{Supply: "psu"}
	for _, c := range []struct {
		what     string
		step     *pb.Step
		european time.Duration
	}{
		{"battery", &pb.Step{Step: "it", Kind: &pb.Step_BatteryFail{BatteryFail: psu}}, 15 * time.Minute},
		{"charger", &pb.Step{Step: "it", Kind: &pb.Step_ChargerFail{ChargerFail: psu}}, 30 * time.Minute},
		{"mains", &pb.Step{Step: "it", Kind: &pb.Step_MainsFail{MainsFail: psu}}, 30 * time.Minute},
	} {
		for pack, limit := range map[string]time.Duration{"en54": c.european, "bs5839-1": c.european, "nfpa72": 200 * time.Second} { // order does not show: independent drills
			site := circuitSite()
			site.Rules.Packs = []string{pack}
			b := newBench(t, site)
			const at = 10 * time.Second
			way := b.plan.In.SwitchTime + b.Round(0) + 20*time.Millisecond
			b.do(at, c.step)
			b.run(at + limit - 1)
			if b.is("panel.fault") {
				t.Errorf("%s, %s: indicated before %v", c.what, pack, limit)
			}
			b.run(at + limit + way)
			if !b.is("supply('psu').fault && panel.fault && device('PSU-FAULT').active") {
				t.Errorf("%s, %s: not indicated after %v\n%s", c.what, pack, limit, b.latest(8))
			}
			b.repair(at+2*limit, "it")
			b.run(at + 2*limit + way)
			b.want("!supply('psu').fault && !panel.fault")
			rooted(t, b.Drill)
		}
	}
}

// A battery is low after three quarters of its charge: 2 Ah at 50 mA after 30 h (from its figures; at
// most C/20, so that they count once). It is indicated in its own time from then on, here where the mains'
// own fault has long been raised: by the signal that only the battery gives.
func TestLowBatteryTimes(t *testing.T) {
	t.Parallel()
	for pack, limit := range map[string]time.Duration{"en54": 30 * time.Minute, "nfpa72": 200 * time.Second} { // order does not show: independent drills
		site := circuitSite()
		site.Rules.Packs = []string{pack}
		site.Panel.Supply.BatteryAh = new(200.0)
		b := newBench(t, site)
		b.do(0, mains("psu"))
		b.run(30*time.Hour + limit - 1)
		battery := func() bool {
			_, shows := b.batterySignal()
			return shows
		}
		if battery() {
			t.Errorf("%s: low battery shows before its time", pack)
		}
		b.run(30*time.Hour + limit)
		if at, shows := b.batterySignal(); !shows || at != 30*time.Hour+limit {
			t.Errorf("%s: low battery shows %v at %v, wanted at %v", pack, shows, at, 30*time.Hour+limit)
		}
	}
}

// batterySignal is when a supply's battery-fault signal came on.
func (b *bench) batterySignal() (at time.Duration, shows bool) {
	for _, e := range b.log.Since(0) {
		if e.Kind == SupplySignal && e.Value == 1 && e.Extra == 2 {
			at, shows = e.At, true
		}
	}
	return at, shows
}

// Disconnected, a battery carries nothing: without mains everything that it fed is dead, and comes back
// with it. A battery that is not charged carries until it is empty. Both hold for the
// panel's own supply, which names itself.
func TestBatteryOutWithoutMains(t *testing.T) {
	t.Parallel()
	site := circuitSite()
	site.Rules.Packs = []string{"nfpa72"}
	b := newBench(t, site)
	b.do(time.Second, &pb.Step{Step: "out", Kind: &pb.Step_BatteryFail{BatteryFail: &pb.SupplyStep{Supply: "psu"}}})
	b.do(2*time.Second, press())
	b.do(time.Minute, mains("psu"))
	b.repair(2*time.Minute, "out")
	b.run(time.Minute - 1)
	b.want("load('B1').on")
	b.run(time.Minute + time.Second)
	b.want("!load('B1').on && load('P1').on")
	b.run(2*time.Minute + 20*time.Second)
	b.want("load('B1').on")
	b.do(3*time.Minute, &pb.Step{Kind: &pb.Step_ChargerFail{ChargerFail: &pb.SupplyStep{Supply: "panel"}}})
	b.run(3*time.Minute + 200*time.Second)
	b.want("supply('panel').fault && load('P1').on")
	rooted(t, b.Drill)
}
