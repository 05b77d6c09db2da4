package power

import (
	"fmt"
	"math"
	"math/big"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// act is one random command.
type act struct {
	at   time.Duration
	c    Condition
	on   bool
	load int64 // with c == conditions
}

// drawActs makes commands in order of time, on whole seconds, often at one instant.
func drawActs(t *rapid.T) []act {
	var acts []act
	at := time.Duration(0)
	for range rapid.IntRange(1, 25).Draw(t, "acts") {
		at += time.Duration(rapid.IntRange(0, 400).Draw(t, "gap")) * time.Second
		a := act{at: at, c: Condition(rapid.IntRange(0, int(conditions)).Draw(t, "condition"))}
		a.on = rapid.Bool().Draw(t, "on")
		if rapid.IntRange(0, 2).Draw(t, "mains") == 0 {
			a.c, a.on = MainsFailed, true
		}
		a.load = int64(rapid.IntRange(0, 40).Draw(t, "load")) * 100_000
		acts = append(acts, a)
	}
	return acts
}

func drawSite(t *rapid.T) (*pb.Site, Delays) {
	pick := func(name string, values ...float64) float64 { return rapid.SampledFrom(values).Draw(t, name) }
	site := oneSupply(pick("ah", 0, 0.05, 0.2, 1), pick("limit", 0, 2, 3.5), pick("fuse", 0, 1, 3), pick("standby", 0, 50, 400))
	seconds := func(name string) time.Duration {
		return time.Duration(rapid.IntRange(0, 300).Draw(t, name)) * time.Second
	}
	return site, Delays{seconds("mains"), seconds("charger"), seconds("battery"), seconds("low"), seconds("output")}
}

func (r *rig) do(a act) {
	r.event++
	if a.c == conditions {
		r.p.SetLoad(r.s, r.now, 0, a.load, r.event, r)
		return
	}
	r.p.Set(r.s, r.now, 0, a.c, a.on, r.event, r)
}

// A fork goes on exactly as the original does, and asking at many times in between changes nothing.
func TestForkAndSteps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, delays := drawSite(t)
		acts := drawActs(t)
		cut := rapid.IntRange(0, len(acts)).Draw(t, "cut")
		step := time.Duration(rapid.IntRange(900_000_000, 60_000_000_000).Draw(t, "step"))
		one, fine := newRig(site, delays), newRig(site, delays)
		var fork *rig
		for i, a := range acts {
			if i == cut {
				fork = &rig{p: one.p, s: &State{}, now: one.now, event: one.event, lines: append([]string(nil), one.lines...)}
				fork.s.CopyFrom(one.s)
			}
			for _, r := range []*rig{one, fork} {
				if r != nil {
					r.until(a.at)
					r.do(a)
				}
			}
			for fine.now+step < a.at {
				fine.until(fine.now + step)
				fine.p.SetLoad(fine.s, fine.now, 0, fine.s.units[0].load, 0, fine) // accrues
			}
			fine.until(a.at)
			fine.do(a)
		}
		for _, r := range []*rig{fork, fine} {
			if r == nil {
				continue
			}
			r.until(10 * time.Hour)
			one.until(10 * time.Hour)
			if got, want := strings.Join(r.lines, "\n"), strings.Join(one.lines, "\n"); got != want {
				t.Fatalf("got\n%s\nwant\n%s", got, want)
			}
			if got, want := r.p.LeftMicroAh(r.s, 0, r.now), one.p.LeftMicroAh(one.s, 0, one.now); got != want {
				t.Fatalf("%d uAh left, want %d", got, want)
			}
		}
	})
}

// twin is a supply counted second by second, as one would do it by hand.
type twin struct {
	f        *supply
	delays   [causes]time.Duration
	is       [conditions]bool
	load     int64
	left     float64 // microampere-seconds
	empty    bool
	fuseFor  int
	since    [causes]time.Duration
	signals  [signals]bool
	low, off bool
}

func (w *twin) step(second bool) {
	f := w.f
	capacity := float64(f.microAh) * 3600
	total := f.standby + w.load
	has := f.microAh > 0 && !w.is[BatteryOut]
	without := w.is[MainsFailed] && !w.is[SupplyFailed]
	if second {
		switch {
		case without && has && !w.empty && !w.off:
			d := float64(total)
			if float64(total) > float64(f.microAh)/20 {
				d *= 1.75
			}
			w.left -= d
		case !w.is[MainsFailed] && !w.is[SupplyFailed] && !w.is[ChargerFailed] && !w.is[BatteryOut]:
			if w.left < 0.8*capacity {
				w.left += 0.8 * capacity / 24 / 3600
			} else {
				w.left += 0.2 * capacity / 48 / 3600
			}
		}
		w.left = min(max(w.left, 0), capacity)
	}
	w.empty = without && has && (w.empty || w.left <= 0)
	source := !w.is[SupplyFailed] && (!w.is[MainsFailed] || (has && !w.empty))
	through := total
	if f.limit > 0 {
		through = min(through, f.limit)
	}
	if f.fuse > 0 && source && !w.is[FuseOpen] && through > f.fuse {
		if second {
			w.fuseFor++
		}
		if w.fuseFor >= 1 {
			w.is[FuseOpen], w.fuseFor = true, 0
		}
	} else {
		w.fuseFor = 0
	}
	overload := source && !w.is[FuseOpen] && f.limit > 0 && total > f.limit
	w.off = !source || w.is[FuseOpen] || overload
	w.low = f.microAh > 0 && w.left <= 0.25*capacity
	w.signals = [signals]bool{}
	of := [causes]Signal{MainsFault, BatteryFault, BatteryFault, BatteryFault, OutputFault}
	for k, present := range [causes]bool{w.is[MainsFailed], w.is[ChargerFailed], w.is[BatteryOut], w.low, w.off} {
		switch {
		case !present:
			w.since[k] = -1
		case w.since[k] < 0:
			w.since[k] = 0
		case second:
			w.since[k] += time.Second
		}
		if present && w.since[k] >= w.delays[k] {
			w.signals[of[k]], w.signals[Fault] = true, true
		}
	}
}

// The same states and signals as the twin's at every whole second, but for the second in which a
// change of charge falls, which the twin sees late: up to three in a row may differ.
func TestTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site, delays := drawSite(t)
		acts := drawActs(t)
		r := newRig(site, delays)
		w := &twin{f: &r.p.supplies[0], delays: r.p.delays, left: float64(r.p.supplies[0].microAh) * 3600, since: [causes]time.Duration{-1, -1, -1, -1, -1}}
		differ := 0
		end := acts[len(acts)-1].at + 2*time.Hour
		for now := time.Duration(0); now <= end; now += time.Second {
			r.until(now)
			if now > 0 {
				w.step(true)
			}
			for len(acts) > 0 && acts[0].at == now {
				r.do(acts[0])
				if a := acts[0]; a.c == conditions {
					w.load = a.load
				} else {
					w.is[a.c] = a.on
				}
				w.step(false)
				acts = acts[1:]
			}
			u := &r.s.units[0]
			got := fmt.Sprint(u.low, u.off, u.discharged, u.conditions, u.shown)
			want := fmt.Sprint(w.low, w.off, w.empty, w.is, w.signals)
			if got == want {
				differ = 0
			} else if differ++; differ > 3 {
				t.Fatalf("at %v: %s (left %d uAh)\nthe twin has %s (left %g uAh)\n%s", now, got, u.left.microAh(), want, w.left/3600, strings.Join(r.lines, "\n"))
			}
		}
	})
}

// What lasts beyond the end of time never ends, however exactly 64 bits are missed.
func TestChargeBeyondTime(t *testing.T) {
	for _, c := range []struct {
		a      charge
		microA int64
		want   time.Duration
	}{
		{charge{hi: 5}, 5, never}, {charge{hi: 6}, 5, never}, {charge{hi: 4, lo: math.MaxUint64}, 5, never}, // 2^64 ns and about
		{charge{lo: 1 << 63}, 1, never}, {charge{lo: 1<<63 - 2}, 1, 1<<63 - 2}, {charge{hi: 1}, 4, 1 << 62}, {charge{lo: 7}, 0, never},
	} {
		if got := c.a.takes(c.microA); got != c.want {
			t.Errorf("%+v by %d: %d ns, want %d", c.a, c.microA, got, c.want)
		}
	}
}

// Charges in 128 bits against arbitrary precision.
func TestCharge(t *testing.T) {
	whole := func(c charge) *big.Int {
		v := new(big.Int).SetUint64(c.hi)
		return v.Lsh(v, 64).Add(v, new(big.Int).SetUint64(c.lo))
	}
	rapid.Check(t, func(t *rapid.T) {
		i, d := rapid.Int64Range(0, 400_000_000).Draw(t, "microamperes"), rapid.Int64Range(0, int64(720_000*time.Second)).Draw(t, "ns")
		a := flow(i, time.Duration(d))
		if want := new(big.Int).Mul(big.NewInt(i), big.NewInt(d)); whole(a).Cmp(want) != 0 {
			t.Fatalf("flow %v, want %v", whole(a), want)
		}
		b := flow(rapid.Int64Range(0, 400_000_000).Draw(t, "other"), time.Hour)
		if want := new(big.Int).Add(whole(a), whole(b)); whole(a.plus(b)).Cmp(want) != 0 {
			t.Fatalf("sum %v, want %v", whole(a.plus(b)), want)
		}
		if want := new(big.Int).Sub(whole(a), whole(b)); want.Sign() >= 0 && whole(a.minus(b)).Cmp(want) != 0 {
			t.Fatalf("difference %v, want %v", whole(a.minus(b)), want)
		} else if want.Sign() < 0 && !a.minus(b).zero() {
			t.Fatalf("difference %v, want nothing", whole(a.minus(b)))
		}
		if a.less(b) != (whole(a).Cmp(whole(b)) < 0) {
			t.Fatal("comparison")
		}
		percent := rapid.Uint64Range(0, 100).Draw(t, "percent")
		if want := new(big.Int).Div(new(big.Int).Mul(whole(a), new(big.Int).SetUint64(percent)), big.NewInt(100)); whole(a.share(percent)).Cmp(want) != 0 {
			t.Fatalf("share %v, want %v", whole(a.share(percent)), want)
		}
		by := rapid.Int64Range(1, 400_000_000).Draw(t, "by")
		want := new(big.Int).Add(whole(a), big.NewInt(by-1))
		want.Div(want, big.NewInt(by))
		if !want.IsInt64() {
			want = big.NewInt(math.MaxInt64)
		}
		if got := a.takes(by); big.NewInt(int64(got)).Cmp(want) != 0 {
			t.Fatalf("takes %d, want %v", got, want)
		}
	})
}

// Any message compiles, runs and is sized without a panic, and time goes forward.
func FuzzCompile(f *testing.F) {
	for _, site := range []*pb.Site{supplySite("nfpa72"), oneSupply(math.NaN(), math.Inf(1), -1, 1e300), {}} {
		message, err := proto.Marshal(site)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(message, int64(1000), uint8(0))
	}
	f.Fuzz(func(t *testing.T, message []byte, load int64, condition uint8) {
		var site pb.Site
		if proto.Unmarshal(message, &site) != nil || len(site.GetSupplies()) > 50 {
			return
		}
		p, _ := Compile(&site, delaysOf("en54"))
		r := &rig{p: p, s: p.NewState()}
		for i := range p.Len() {
			p.Set(r.s, 0, i, MainsFailed, true, 1, r)
			p.SetLoad(r.s, 0, i, min(load, 1e9), 2, r)
			p.Set(r.s, time.Second, i, Condition(condition%uint8(conditions)), true, 3, r)
			p.Check(i, max(min(load, 1e9), 0))
			p.MicroV(r.s, i)
		}
		before := time.Duration(0)
		for events := 0; ; events++ {
			next, ok := p.Next(r.s)
			if !ok || next > 1000*time.Hour {
				break
			}
			if next < before || events > 100*p.Len() {
				t.Fatalf("event %d at %v after %v", events, next, before)
			}
			before, r.now = next, next
			p.Advance(r.s, next, r)
		}
	})
}

// Every default of the package is listed with a source.
func TestDefaults(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range Defaults() {
		if d.Key == "" || d.Value == "" || d.Source == "" || seen[d.Key] {
			t.Errorf("default %+v", d)
		}
		seen[d.Key] = true
	}
}
