package check

import (
	"fmt"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// circuitOf is a control module with sounders of 30 mA, each 10 m of 10 ohm/km from the one before, and
// isolators in some.
func circuitOf(fields string, count int, isolators string) string {
	var loads strings.Builder
	for i := range count {
		fmt.Fprintf(&loads, `loads: {label: "L%d" cable_m: 10 isolator: %v sounder: {current_ma: 30}} `, i, strings.Contains(isolators, fmt.Sprint(i)))
	}
	return `devices: {address: 9 label: "S" cable_m: 1 control_module: {supply: "psu" circuit: {end_of_line_ohm: 4700 cable: {ohm_per_km: 10} ` + fields + loads.String() + `}}} `
}

// The class that a circuit achieves and what one fault of it silences: pathway classes of NFPA 72
// chapter 12. Class B: nothing beyond an open. Class A: an open silences none, a short at rest holds
// the circuit off. Class X: of a short only its section.
func TestCircuitClass(t *testing.T) {
	const (
		path = "loops[0].devices[1].control_module.circuit"
		ring = `wiring: "ring" return_cable_m: 10 `
		more = `supplies: {supply: "psu" voltage_v: 24 battery_ah: 7 standby_ma: 30 current_limit_a: 2}`
	)
	required := func(class string) string { return `required_class: "` + class + `" ` }
	for _, c := range []struct {
		fields    string
		loads     int
		isolators string
		class     string
		short     int32
		open      int32
		want      string
	}{
		{"", 4, "", "b", 4, 4, ""},
		{required("b"), 4, "", "b", 4, 4, ""},
		{required("a"), 4, "", "b", 4, 4, "error circuit.class " + path + ".required_class"},
		{required("x"), 4, "", "b", 4, 4, "error circuit.class " + path + ".required_class"},
		{ring, 4, "", "a", 4, 0, ""},
		{ring + required("a"), 4, "", "a", 4, 0, ""},
		{ring + required("b"), 4, "", "a", 4, 0, ""},
		{ring + required("x"), 4, "", "a", 4, 0, "error circuit.class " + path + ".required_class"},
		{ring + required("x"), 4, "1", "x", 2, 0, ""},
		{ring + required("x"), 4, "0123", "x", 0, 0, ""},
		{ring + required("a"), 4, "3", "x", 3, 0, ""},
		{required("x"), 4, "1", "b", 4, 4, "note circuit.isolators-on-branch " + path + ".loads\nerror circuit.class " + path + ".required_class"},
		{"", 4, "3", "b", 4, 4, ""}, // nothing lies beyond that isolator
	} {
		p := plan{more: more, devices: watch("8", "fault") + circuitOf(c.fields, c.loads, c.isolators)}
		if got := brief(judged(t, p)); got != c.want {
			t.Errorf("%s, isolators in %q: found\n%s\nwant\n%s", c.fields, c.isolators, got, c.want)
		}
		k := figures(t, p).GetCircuits()[0]
		if k.GetAchievedClass() != c.class || k.GetLostToShortCount() != c.short || k.GetLostToBreakCount() != c.open {
			t.Errorf("%s, isolators in %q: class %s, a short silences %d, a break %d; want class %s, %d, %d",
				c.fields, c.isolators, k.GetAchievedClass(), k.GetLostToShortCount(), k.GetLostToBreakCount(), c.class, c.short, c.open)
		}
	}
}

// Closed isolators of 0.1 ohm (common practice) are in the resistance and in the drop: 50 m of 2 x 10
// ohm/km and four of them.
func TestCircuitIsolatorsAreInTheDrop(t *testing.T) {
	p := plan{more: `supplies: {supply: "psu" voltage_v: 24}`, devices: circuitOf(`wiring: "ring" return_cable_m: 10 required_class: "x" `, 4, "0123")}
	k := figures(t, p).GetCircuits()[0]
	near(t, "the resistance", k.GetResistanceOhm(), 50*0.02+4*0.1, 1e-9)
	near(t, "the end-of-line method", k.GetEndOfLineV(), 20.4-0.12*(4*0.2+4*0.1), 1e-6) // from the return: the return and three runs, with all four isolators
	near(t, "the longest", k.GetLongestM(), (4.4-0.12*4*0.1)/(2*0.12*0.01), 1e-6)       // V / (2 I r)
	if k.GetIsolatorCount() != 4 || k.GetRequiredClass() != "x" {
		t.Errorf("%v", k)
	}
}

// Constant power on too thin a cable: the current at the least voltage counts in both methods, and the
// end-of-line method is the worse for every load (listings quote the highest current over the range,
// common practice). 3.2 W at 16 V are 0.2 A: three runs of 2 ohm take 0.6 A each by the end-of-line method.
func TestPowerBelowLeastVoltage(t *testing.T) {
	loads := strings.Repeat(`loads: {label: "L" cable_m: 100 beacon: {power_w: 3.2}} `, 3)
	for i := range 3 {
		loads = strings.Replace(loads, `"L"`, fmt.Sprintf(`"L%d"`, i), 1)
	}
	for _, c := range []struct{ ohmPerKm, end float64 }{{10, 20.4 - 0.6*6}, {20, 20.4 - 0.6*12}, {90, 20.4 - 0.6*54}} {
		p := plan{more: `supplies: {supply: "psu" voltage_v: 24}`, devices: fmt.Sprintf(
			`devices: {address: 9 label: "S" cable_m: 1 control_module: {supply: "psu" circuit: {end_of_line_ohm: 4700 cable: {ohm_per_km: %v} %s}}} `, c.ohmPerKm, loads)}
		k := figures(t, p).GetCircuits()[0]
		near(t, "the end-of-line method", k.GetEndOfLineV(), c.end, 1e-6)
		var worst *pb.LoadCalculation
		for _, l := range k.GetLoads() {
			if worst == nil || l.GetVoltageV() < worst.GetVoltageV() {
				worst = l
			}
		}
		if worst.GetVoltageV() < k.GetEndOfLineV() || worst.GetMarginV() < k.GetEndOfLineMarginV() {
			t.Errorf("%g ohm/km: %s has %g V point to point, %g V by the end-of-line method", c.ohmPerKm, worst.GetLoad(), worst.GetVoltageV(), k.GetEndOfLineV())
		}
	}
}
