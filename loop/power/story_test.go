package power

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Courses of events, each worked out by hand. Delays: EN 54-4 5.4 and BS 5839-1 12, from memory
// (mains, charger and low battery 30 min, battery 15 min); output 100 s, EN 54-2 8.1, from memory.
func TestStories(t *testing.T) {
	for _, c := range []struct {
		name                   string
		ah, limit, fuse, rests float64
		script                 string
		want                   string
	}{
		{"mains lost for a while", 7, 3, 0, 100, `10m psu-1 mains fails; 2h psu-1 mains back`, `
			10m0s psu-1 +on-battery <1
			40m0s psu-1 +fault <1
			40m0s psu-1 +mains-fault <1
			2h0m0s psu-1 -on-battery <5
			2h0m0s psu-1 -fault <5
			2h0m0s psu-1 -mains-fault <5`},
		{"back before it is indicated", 7, 3, 0, 100, `10m psu-1 mains fails; 39m59s psu-1 mains back`, `
			10m0s psu-1 +on-battery <1
			39m59s psu-1 -on-battery <3`},
		// 2.4 Ah at 120 mA (C/20): 75 % are gone after 15 h, all after 20 h: the 20 h rate.
		{"to the end of discharge", 2.4, 3, 0, 120, `0s psu-1 mains fails`, `
			0s psu-1 +on-battery <1
			30m0s psu-1 +fault <1
			30m0s psu-1 +mains-fault <1
			15h0m0s psu-1 +low <2
			15h30m0s psu-1 +battery-fault <5
			20h0m0s psu-1 +discharged <2
			20h0m0s psu-1 -on-battery <7
			20h0m0s psu-1 +lost <8
			20h1m40s psu-1 +output-fault <9`},
		// Emptied, then 80 % in 24 h: 25 % are back after 7.5 h, and more a nanosecond later. The indication of low battery began at
		// 15 h and ends with it.
		{"recharged", 2.4, 3, 0, 120, `0s psu-1 mains fails; 21h psu-1 mains back`, `
			0s psu-1 +on-battery <1
			30m0s psu-1 +fault <1
			30m0s psu-1 +mains-fault <1
			15h0m0s psu-1 +low <2
			15h30m0s psu-1 +battery-fault <5
			20h0m0s psu-1 +discharged <2
			20h0m0s psu-1 -on-battery <7
			20h0m0s psu-1 +lost <8
			20h1m40s psu-1 +output-fault <9
			21h0m0s psu-1 -discharged <11
			21h0m0s psu-1 -lost <12
			21h0m0s psu-1 -mains-fault <11
			21h0m0s psu-1 -output-fault <11
			28h30m0.000000001s psu-1 -low <13
			28h30m0.000000001s psu-1 -fault <13
			28h30m0.000000001s psu-1 -battery-fault <13`},
		{"no battery", 0, 3, 0, 100, `1m psu-1 mains fails; 2m psu-1 mains back`, `
			1m0s psu-1 +lost <1
			2m0s psu-1 -lost <3`},
		{"battery disconnected, then the mains go", 7, 3, 0, 100, `0s psu-1 battery fails; 20m psu-1 mains fails; 21m psu-1 battery back`, `
			15m0s psu-1 +fault <1
			15m0s psu-1 +battery-fault <1
			20m0s psu-1 +lost <4
			21m0s psu-1 +on-battery <6
			21m0s psu-1 -lost <7
			21m0s psu-1 -fault <6
			21m0s psu-1 -battery-fault <6
			50m0s psu-1 +fault <4
			50m0s psu-1 +mains-fault <4
			52h51m0s psu-1 +low <8
			53h21m0s psu-1 +battery-fault <13
			70h21m0s psu-1 +discharged <8
			70h21m0s psu-1 -on-battery <15
			70h21m0s psu-1 +lost <16
			70h22m40s psu-1 +output-fault <17`},
		{"charger", 7, 3, 0, 100, `1m psu-1 charger fails; 40m psu-1 charger back`, `
			31m0s psu-1 +fault <1
			31m0s psu-1 +battery-fault <1
			40m0s psu-1 -fault <4
			40m0s psu-1 -battery-fault <4`},
		{"the supply as a whole", 7, 3, 0, 100, `1m psu-1 supply fails; 10m psu-1 supply back`, `
			1m0s psu-1 +lost <1
			2m40s psu-1 +fault <2
			2m40s psu-1 +output-fault <2
			10m0s psu-1 -lost <5
			10m0s psu-1 -fault <5
			10m0s psu-1 -output-fault <5`},
		{"overload and less again", 7, 3, 0, 100, `1m psu-1 load 2900; 2m psu-1 load 2901; 3m psu-1 load 0`, `
			2m0s psu-1 +overload <2
			2m0s psu-1 +lost <3
			3m0s psu-1 -overload <5
			3m0s psu-1 -lost <6`},
		{"fuse", 7, 0, 2, 100, `1m psu-1 load 1901; 1m30s psu-1 load 1901; 2m psu-1 fuse back; 2m0.5s psu-1 load 0`, `
			1m1s psu-1 +fuse-blown <1
			1m1s psu-1 +lost <2
			2m0s psu-1 -lost <5`},
		{"a current limit protects the fuse", 7, 2, 2, 100, `1m psu-1 load 9000`, `
			1m0s psu-1 +overload <1
			1m0s psu-1 +lost <2
			2m40s psu-1 +fault <3
			2m40s psu-1 +output-fault <3`},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(oneSupply(c.ah, c.limit, c.fuse, c.rests), delaysOf("en54"))
			got := r.play(t, c.script)
			want := strings.ReplaceAll(strings.TrimSpace(c.want), "\t", "")
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
		})
	}
}

// NFPA 72 from A5 of chapter 10: trouble within 200 s.
func TestNFPADelay(t *testing.T) {
	r := newRig(oneSupply(7, 3, 0, 100), delaysOf("nfpa72"))
	r.play(t, `1m psu-1 mains fails; 1h psu-1 mains back`)
	if want := "4m20s psu-1 +mains-fault <1"; !strings.Contains(strings.Join(r.lines, "\n"), want) {
		t.Errorf("no %q in\n%s", want, strings.Join(r.lines, "\n"))
	}
}

// A battery of exactly the size that a formula gives before its margin lasts exactly as long: the
// published example of NFPA 72 (0.25 A for 24 h and 1.5 A for 5 min, 6.125 Ah) with a current above
// C/20 counted 1.75 times, and the annex example of BS 5839-1 (0.25 A for 24 h, 0.75 A for 30 min,
// D = 1.75: 6.65625 Ah). 24 h of standby is one event.
func TestLastsAsLong(t *testing.T) {
	for _, c := range []struct {
		ah, standbyMA float64
		alarmMA       int64
		alarm         time.Duration
	}{
		{6 + 1.75*1.5/12, 250, 1500, 5 * time.Minute},
		{6.65625, 250, 750, 30 * time.Minute},
	} {
		r := newRig(oneSupply(c.ah, 0, 0, c.standbyMA), Delays{Mains: 200 * time.Hour, Low: 200 * time.Hour, Output: 200 * time.Hour})
		r.p.Set(r.s, 0, 0, MainsFailed, true, 1, r)
		events := 0
		for next, ok := r.p.Next(r.s); ok && next < 24*time.Hour; next, ok = r.p.Next(r.s) {
			r.until(next)
			events++
		}
		if events != 1 {
			t.Errorf("%d events in 24 h of standby, want one: low battery", events)
		}
		r.until(24 * time.Hour)
		r.p.SetLoad(r.s, 24*time.Hour, 0, 1000*c.alarmMA-250_000, 2, r)
		r.until(24*time.Hour + c.alarm - time.Millisecond)
		if !r.p.On(r.s, 0) {
			t.Errorf("%g Ah: off too early", c.ah)
		}
		r.until(24*time.Hour + c.alarm)
		if r.p.On(r.s, 0) {
			t.Errorf("%g Ah: %d uAh left at the end", c.ah, r.p.LeftMicroAh(r.s, 0, r.now))
		}
	}
}

// The voltage at the output in each state. End of discharge 1.75 V a cell, low battery 1.85 V:
// common practice.
func TestVoltage(t *testing.T) {
	r := newRig(oneSupply(2, 3, 0, 100), delaysOf("en54"))
	for _, c := range []struct {
		at    time.Duration
		micro int64
	}{{0, 22_200_000}, {15*time.Hour - 1, 22_200_000}, {15 * time.Hour, 21_000_000}, {20*time.Hour - 1, 21_000_000}, {20 * time.Hour, 0}} {
		if c.at == 0 {
			if v := r.p.MicroV(r.s, 0); v != 24_000_000 {
				t.Errorf("on mains: %d uV", v)
			}
			r.p.Set(r.s, 0, 0, MainsFailed, true, 1, r)
		}
		r.until(c.at)
		if v := r.p.MicroV(r.s, 0); v != c.micro {
			t.Errorf("at %v: %d uV, want %d", c.at, v, c.micro)
		}
	}
}

// The voltages that a file gives, of a supply and of the panel's own, on mains, on battery, and after low battery.
// By hand, in cells of 1.85 V and 1.75 V (common practice): 12 of them for 24 V, 6 for 12 V.
func TestVoltagesOfTheFile(t *testing.T) {
	for _, c := range []struct {
		volts, end float64 // end 0: not given
		want       [3]int64
	}{
		{24, 0, [3]int64{24_000_000, 22_200_000, 21_000_000}},
		{28, 0, [3]int64{28_000_000, 22_200_000, 21_000_000}},
		{12, 0, [3]int64{12_000_000, 11_100_000, 10_500_000}},
		{28, 20, [3]int64{28_000_000, 22_200_000, 20_000_000}},
		{28, 23, [3]int64{28_000_000, 23_000_000, 23_000_000}}, // the end stands above 1.85 V a cell
	} {
		site := oneSupply(2, 3, 0, 100)
		s, own := site.GetSupplies()[0], &pb.PanelSupply{VoltageV: &c.volts, BatteryAh: new(2.0), StandbyMa: new(100.0)}
		s.VoltageV, site.Panel = &c.volts, &pb.Panel{Supply: own}
		if c.end > 0 {
			s.EndVoltageV, own.EndVoltageV = &c.end, &c.end
		}
		r := newRig(site, delaysOf("en54"))
		for i := range 2 {
			got := [3]int64{r.p.MicroV(r.s, i)}
			r.p.Set(r.s, r.now, i, MainsFailed, true, 1, r)
			got[1] = r.p.MicroV(r.s, i)
			r.until(r.now + 16*time.Hour) // 2 Ah at 0.1 A: a quarter is left after 15 h
			if got[2] = r.p.MicroV(r.s, i); got != c.want {
				t.Errorf("%s, %g V, end %g V: %v uV, want %v", []string{"psu-1", "panel"}[i], c.volts, c.end, got, c.want)
			}
		}
	}
}

// A charger in fault charges nothing, and begins where it left off once it is right again (by hand: 24 Ah take 0.8 Ah
// an hour up to 80 %).
func TestNoRechargeWithoutCharger(t *testing.T) {
	r := newRig(oneSupply(24, 3, 0, 1200), delaysOf("en54"))
	r.p.Set(r.s, 0, 0, MainsFailed, true, 1, r)
	r.until(10 * time.Hour)
	r.p.Set(r.s, 10*time.Hour, 0, ChargerFailed, true, 2, r)
	r.p.Set(r.s, 10*time.Hour, 0, MainsFailed, false, 3, r)
	r.until(20 * time.Hour)
	if got := r.p.LeftMicroAh(r.s, 0, 20*time.Hour); got != 12_000_000 {
		t.Errorf("after ten hours on mains without a charger: %d uAh, want 12 Ah", got)
	}
	r.p.Set(r.s, 20*time.Hour, 0, ChargerFailed, false, 4, r)
	if got := r.p.LeftMicroAh(r.s, 0, 25*time.Hour); got != 16_000_000 {
		t.Errorf("five hours later: %d uAh, want 16 Ah", got)
	}
}

// A full battery after 24 h + 48 h on mains, 80 % after 24 h: EN 54-4 5.3, from memory.
func TestRecharge(t *testing.T) {
	r := newRig(oneSupply(24, 3, 0, 1200), delaysOf("en54"))
	r.p.Set(r.s, 0, 0, MainsFailed, true, 1, r)
	r.until(20 * time.Hour)
	r.p.Set(r.s, 20*time.Hour, 0, MainsFailed, false, 2, r)
	for at, want := range map[time.Duration]int64{20 * time.Hour: 0, 44 * time.Hour: 19_200_000, 92 * time.Hour: 24_000_000, 99 * time.Hour: 24_000_000} {
		if got := r.p.LeftMicroAh(r.s, 0, at); got != want {
			t.Errorf("at %v: %d uAh, want %d", at, got, want)
		}
	}
}

// The panel's own supply takes each figure from its key as any other supply does.
func TestPanelSupplyIsASupply(t *testing.T) {
	site := oneSupply(7, 3, 2, 100)
	s := site.GetSupplies()[0]
	s.VoltageV, s.EndVoltageV, s.AlarmMa, s.Voice = new(28.0), new(22.0), new(50.0), true
	site.Panel = &pb.Panel{Supply: &pb.PanelSupply{VoltageV: s.VoltageV, EndVoltageV: s.EndVoltageV, BatteryAh: s.BatteryAh,
		CurrentLimitA: s.CurrentLimitA, FuseA: s.FuseA, StandbyMa: s.StandbyMa, AlarmMa: s.AlarmMa, Voice: true}}
	p, _ := Compile(site, delaysOf("en54"))
	psu, own := p.supplies[0], p.supplies[1]
	psu.id, psu.path, own.id, own.path = "", "", "", ""
	if psu != own {
		t.Errorf("psu-1 %+v\npanel %+v", psu, own)
	}
	want := supply{mainsMicroV: 28_000_000, endMicro: 22_000_000, lowMicroV: 22_200_000, standby: 100_000, alarm: 50_000, limit: 3_000_000, fuse: 2_000_000, microAh: 7_000_000, voice: true}
	want.full, want.low, want.first = psu.full, psu.low, psu.first
	if psu != want {
		t.Errorf("psu-1 %+v\nwant  %+v", psu, want)
	}
}
