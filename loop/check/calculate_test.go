package check

import (
	"fmt"
	"math"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// near compares a figure with a published one.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tolerance {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// figures of a plan.
func figures(t *testing.T, p plan) *pb.Calculations {
	t.Helper()
	return Calculate(p.build(t))
}

// The ring of 1 km in 1.5 mm2 with 100 devices of 0.3 mA: computed from the uniform load formulas (I R
// / 2 from one end, I R / 8 from both) and the discrete sums; 24.2 ohm/km by IEC 60228.
func TestRingOfOneKilometre(t *testing.T) {
	const run = 1000.0 / 101
	evenly := func(isolators int) string {
		var out strings.Builder
		for a := 1; a <= 100; a++ {
			more := ""
			if a <= isolators {
				more = "isolator: {}"
			}
			out.WriteString(smoke(a, "z1", run, more))
		}
		return out.String()
	}
	back := fmt.Sprintf(`wiring: "ring" return_cable_m: %v`, run)
	l := figures(t, plan{loop: back, driver: "voltage_v: 24", devices: evenly(0)}).GetLoops()[0]
	near(t, "the length", l.GetLengthM(), 1000, 0.001)
	near(t, "the resistance", l.GetResistanceOhm(), 24.2, 0.001)
	near(t, "the current at rest", l.GetRestMa(), 30, 1e-6)
	near(t, "the lowest voltage from one end", l.GetOneEndRest().GetLowestV(), 23.637, 0.0005)
	near(t, "the lowest voltage from both ends", l.GetBothEndsRest().GetLowestV(), 23.9084, 0.0005)
	if at := l.GetBothEndsRest().GetDevice(); at != "D50" && at != "D51" {
		t.Errorf("the lowest voltage from both ends is at %s", at)
	}
	if at := l.GetOneEndRest().GetDevice(); at != "D100" && at != "D1" {
		t.Errorf("the lowest voltage from one end is at %s", at)
	}
	if l.GetLostToShortCount() != 100 || l.GetLostToBreakCount() != 0 || l.GetAchievedClass() != "a" || l.GetBlindBefore() != "" {
		t.Errorf("without isolators a short loses everything for good: %v", l)
	}
	near(t, "one round", l.GetRoundS(), 1.2, 1e-9) // 100 visits of 12 ms
	near(t, "the resistance with 20 isolators of 0.1 ohm", figures(t, plan{loop: back, devices: evenly(20)}).GetLoops()[0].GetResistanceOhm(), 26.2, 0.001)
}

// 126 devices of 0.3 mA, of which 20 sounders of 5 mA, and ten indicators of 4 mA lit: 177.8 mA
// (computed from figures of common practice).
func TestCurrentInAlarm(t *testing.T) {
	var sounders strings.Builder
	for a := 107; a <= 126; a++ {
		fmt.Fprintf(&sounders, `devices: {address: %d label: "L%d" cable_m: 1 loop_sounder: {}} `, a, a)
	}
	l := figures(t, plan{devices: row(1, 106, "z1", 1) + sounders.String()}).GetLoops()[0]
	near(t, "the current in alarm", l.GetAlarmMa(), 177.8, 1e-6)
	near(t, "the current at rest", l.GetRestMa(), 37.8, 1e-6)
}

// A sounder of 1 W and 0.3 mA behind 100 ohm and 28 V: V^2 - (28 - 0.03) V + 100 = 0, 23.7 V and 42.5 mA; at the
// driver's voltage it takes 36.0 mA (Ohm's law).
func TestCurrentOfConstantPower(t *testing.T) {
	p := plan{cable: "ohm_per_km: 500", devices: `devices: {address: 1 label: "S" cable_m: 100 loop_sounder: {power_w: 1}}`}
	l := figures(t, p).GetLoops()[0]
	half := (28 - 100*0.0003) / 2
	volts := half + math.Sqrt(half*half-100)
	near(t, "the current in alarm", l.GetAlarmMa(), 0.3+1000.0/28, 1e-3)
	near(t, "the voltage in alarm", l.GetOneEndAlarm().GetLowestV(), volts, 1e-3)
	noted := ""
	for _, f := range judged(t, p) {
		if f.GetCode() == "wiring.power" {
			noted = f.GetTitle() + "; " + f.GetDetail()
		}
	}
	if given := fmt.Sprintf("gives %.4g mA", 0.3+1000/volts); !strings.Contains(noted, "takes 36.01 mA") || !strings.Contains(noted, given) {
		t.Errorf("noted: %q, wanted that the driver %s", noted, given)
	}
}

// Ring length for 40 ohm, and capacitance (computed from IEC 60228 and common practice).
func TestLengthAndCapacitance(t *testing.T) {
	for _, c := range []struct{ mm2, metres float64 }{{1, 1105}, {1.5, 1653}, {2.5, 2699}} {
		l := figures(t, plan{loop: `wiring: "ring" return_cable_m: 0`, cable: fmt.Sprintf("conductor_mm2: %g", c.mm2), devices: smoke(1, "z1", c.metres, "")}).GetLoops()[0]
		near(t, fmt.Sprintf("the resistance of %g m of %g mm2", c.metres, c.mm2), l.GetResistanceOhm(), 40, 0.02) // half a metre
	}
	for _, c := range []struct{ metres, picofarad, micro float64 }{{1500, 120, 0.18}, {2000, 240, 0.48}} {
		l := figures(t, plan{cable: fmt.Sprintf("conductor_mm2: 1.5 capacitance_pf_per_m: %g", c.picofarad), devices: smoke(1, "z1", c.metres, "")}).GetLoops()[0]
		near(t, "the capacitance", l.GetCapacitanceUf(), c.micro, 1e-9)
	}
}

// A published voltage drop example: 14 AWG solid, 0.75, 1.05 and 0.75 A at 25 ft, 50 ft and 50 ft more,
// from 20.4 V. Inputs from firetech.com/my-voltage-drop-problem, an instructor's article; the answers
// are computed from them by both methods, at 3.07 ohm/kft (75 C, NEC chapter 9 table 8) and at 2.525
// (20 C).
func TestVoltageDrop(t *testing.T) {
	const foot = 0.3048
	for _, c := range []struct {
		ohmPerKft, end float64
		volts          [3]float64
	}{
		{3.07, 18.4429, [3]float64{20.0086, 19.4560, 19.2257}},
		{2.525, 18.7903, [3]float64{20.0781, 19.6236, 19.4342}},
	} {
		circuit := fmt.Sprintf(`devices: {address: 1 label: "S" cable_m: 1 control_module: {supply: "psu" circuit: {end_of_line_ohm: 4700 cable: {ohm_per_km: %v}
			loads: {label: "A1" cable_m: %v sounder: {current_ma: 750}} loads: {label: "A2" cable_m: %v sounder: {current_ma: 1050}} loads: {label: "A3" cable_m: %v sounder: {current_ma: 750}}}}}`,
			c.ohmPerKft/foot, 25*foot, 50*foot, 50*foot)
		k := figures(t, plan{more: `supplies: {supply: "psu" voltage_v: 24}`, devices: circuit}).GetCircuits()[0]
		near(t, "the start voltage", k.GetStartV(), 20.4, 1e-9) // 0.85 x 24 V, NFPA 72 10.3
		for i, want := range c.volts {
			near(t, k.GetLoads()[i].GetLoad(), k.GetLoads()[i].GetVoltageV(), want, 0.0005)
			near(t, "its margin over 16 V", k.GetLoads()[i].GetMarginV(), want-16, 0.0005)
			near(t, "its drop", k.GetLoads()[i].GetDropV(), 20.4-want, 0.0005)
		}
		near(t, "the end-of-line method", k.GetEndOfLineV(), c.end, 0.0005)
		// L = V / (2 I r), the drop that 16 V leave.
		near(t, "the longest", k.GetLongestM(), 4.4/(2*2.55*c.ohmPerKft/foot/1000), 0.01)
	}
}

// Published battery examples. Sources stand beside each; what the page does not print is computed from
// the formula of the standard.
func TestBatteries(t *testing.T) {
	for _, c := range []struct {
		name, rules, supply      string
		standby, alarm, required float64
		tolerance                float64
		high                     float64
	}{
		// A training quiz: 6.125 Ah before the margin.
		{"0.25 A for 24 h, 1.5 A for 5 min, 2022", `packs: "nfpa72" edition: 2022`, `standby_ma: 250 alarm_ma: 1250`, 6, 0.125, 7.656, 0.0005, 100},
		{"the same, 2019", `packs: "nfpa72" edition: 2019`, `standby_ma: 250 alarm_ma: 1250`, 6, 0.125, 7.35, 0.0005, 100},
		// ecmag.com, quiz on requirements of NFPA 72: exact 14.60 Ah, its key rounds to 14.5.
		{"0.5 A for 24 h, 2 A for 5 min, 20 %", `packs: "nfpa72" edition: 2019`, `standby_ma: 500 alarm_ma: 1500`, 12, 0.166667, 14.6, 0.0005, 100},
		{"the same, 25 %", `packs: "nfpa72"`, `standby_ma: 500 alarm_ma: 1500`, 12, 0.166667, 15.208, 0.0005, 100},
		{"the same with speech, 20 %", `packs: "nfpa72" edition: 2019`, `standby_ma: 500 alarm_ma: 1500 voice: true`, 12, 0.5, 15, 0.0005, 100},
		// The annex of BS 5839-1: 0.75 A is above C/20 of 9 Ah, so that D stays 1.75.
		{"0.25 A for 24 h, 0.75 A for 30 min", `packs: "bs5839-1"`, `standby_ma: 250 alarm_ma: 500 battery_ah: 9`, 6, 0.65625, 8.3203, 0.0005, 175},
		{"0.05 A for 24 h, 0.3 A for 30 min", `packs: "bs5839-1"`, `standby_ma: 50 alarm_ma: 250 battery_ah: 2`, 1.2, 0.2625, 1.828, 0.0005, 175},
		{"the same, 6 Ah written", `packs: "bs5839-1"`, `standby_ma: 50 alarm_ma: 250 battery_ah: 6`, 1.2, 0.15, 1.6875, 0.0005, 100},
		{"under en54 alone the formula of BS 5839-1", `packs: "en54"`, `standby_ma: 50 alarm_ma: 250 battery_ah: 6`, 1.2, 0.15, 1.6875, 0.0005, 100},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := figures(t, plan{rules: c.rules, more: `supplies: {supply: "psu" voltage_v: 24 ` + c.supply + `}`}).GetSupplies()
			if len(s) != 1 || len(s[0].GetBatteries()) != 1 {
				t.Fatalf("%v", s)
			}
			b := s[0].GetBatteries()[0]
			near(t, "standby", b.GetStandbyAh(), c.standby, 1e-6)
			near(t, "alarm", b.GetAlarmAh(), c.alarm, 1e-6)
			near(t, "required", b.GetRequiredAh(), c.required, c.tolerance)
			near(t, "D", b.GetHighRatePercent(), c.high, 0)
			if b.GetClause() == "" || b.GetFormula() == "" {
				t.Errorf("%v", b)
			}
		})
	}
}

// Two packs, two calculations; the panel is left out where the file gives no figures of its supply.
func TestSuppliesListed(t *testing.T) {
	s := figures(t, plan{rules: `packs: "nfpa72" packs: "en54" packs: "bs5839-1"`, more: `supplies: {supply: "psu" voltage_v: 24 fuse_a: 3} panel: {supply: {battery_ah: 7 current_limit_a: 2}}`}).GetSupplies()
	if len(s) != 2 || s[0].GetSupply() != "psu" || s[1].GetSupply() != "panel" || len(s[0].GetBatteries()) != 2 {
		t.Fatalf("%v", s)
	}
	if s[0].GetFuseA() != 3 || s[0].LimitA != nil || s[1].GetLimitA() != 2 || s[1].FuseA != nil {
		t.Errorf("%v", s)
	}
	if s[0].GetBatteries()[0].FittedAh != nil || s[1].GetBatteries()[0].GetFittedAh() != 7 {
		t.Errorf("%v", s)
	}
}
