package check

import (
	"strings"
	"testing"
)

// watch is an input module that watches the supply psu.
func watch(address, signal string) string {
	return `devices: {address: ` + address + ` label: "W` + address + `" cable_m: 1 input_module: {input: "technical" watches: {supply: "psu" signal: "` + signal + `"}}} `
}

// sounders is a control module with one sounder at the end of a cable of 10 ohm/km.
func sounders(circuit string) string {
	return `devices: {address: 9 label: "S" cable_m: 1 control_module: {supply: "psu" circuit: {end_of_line_ohm: 4700 cable: {ohm_per_km: 10} ` + circuit + `}}} `
}

// What is found about supplies and output circuits.
func TestSupplies(t *testing.T) {
	const (
		good  = `supplies: {supply: "psu" voltage_v: 24 battery_ah: 7 standby_ma: 30 current_limit_a: 2}`
		s1    = `loads: {label: "S1" cable_m: 1000 sounder: {current_ma: `
		load  = "loops[0].devices[1].control_module.circuit.loads[0]"
		panel = `panel: {supply: {voltage_v: 28 battery_ah: 24 standby_ma: `
		out   = ` outputs: {label: "P" circuit: {end_of_line_ohm: 4700 cable: {ohm_per_km: 10} loads: {label: "P1" cable_m: 10 sounder: {current_ma: 100}}}}}`
	)
	fault := watch("8", "fault")
	for _, c := range []struct {
		name, source string
		plan         plan
		want         string
	}{
		{"a watched supply", "", plan{more: good, devices: fault}, ""},
		{"an unwatched supply", "a fault is to be a trouble signal, NFPA 72 chapter 10", plan{more: good}, "warning supply.unwatched supplies[0].supply"},
		{"only its mains is watched", "NFPA 72 chapter 10", plan{more: good, devices: watch("8", "mains-fault")}, "warning supply.unwatched supplies[0].supply"},
		{"all three of its faults are watched", "NFPA 72 chapter 10", plan{more: good, devices: watch("5", "mains-fault") + watch("6", "battery-fault") + watch("7", "output-fault")}, ""},

		// I x R: 4.4 V over 20 ohm (1000 m of 10 ohm/km, out and back) at 220 mA leave 16.0 V of 20.4 V.
		{"16.0 V", "0.85 x 24 V (NFPA 72 10.3) to 16 V (UL 464, UL 1971); Ohm's law", plan{more: good, devices: fault + sounders(s1+`220}}`)}, ""},
		{"15.98 V", "the same", plan{more: good, devices: fault + sounders(s1+`221}}`)}, "error circuit.voltage " + load},
		{"15.98 V, a load that does with 15 V", "the load's own figure", plan{more: good, devices: fault + sounders(s1+`221 min_voltage_v: 15}}`)}, ""},
		{"15.98 V of a supply that ends at 21 V", "the supply's own figure", plan{more: strings.Replace(good, "standby_ma", "end_voltage_v: 21 standby_ma", 1), devices: fault + sounders(s1+`221}}`)}, ""},
		// 21 V to 18 V: 3 V over 20 ohm are 150 mA.
		{"18.0 V under en54", "21 V to 18 V, common practice", plan{rules: `packs: "en54"`, more: good, devices: fault + sounders(s1+`150}}`)}, ""},
		{"17.98 V under en54", "the same", plan{rules: `packs: "en54"`, more: good, devices: fault + sounders(s1+`151}}`)}, "error circuit.voltage " + load},
		{"a ring whose short end breaks", "class A: fed from either end", plan{more: good, devices: fault + sounders(`wiring: "ring" return_cable_m: 1000 loads: {label: "S1" cable_m: 1 sounder: {current_ma: 221}}`)},
			"error circuit.voltage " + load},

		// 24 h x 0.25 A + 5 min x 0.25 A = 6.02 Ah, x 1.25 = 7.53 Ah; x 1.2 = 7.225 Ah.
		{"7 Ah of 7.53 Ah", "NFPA 72 10.6.7, x 1.25 from 2022", plan{more: strings.Replace(good, "standby_ma: 30", "standby_ma: 250", 1), devices: fault}, "error supply.battery-small supplies[0].battery_ah"},
		{"7.3 Ah of 7.53 Ah", "NFPA 72 10.6.7", plan{more: strings.NewReplacer("standby_ma: 30", "standby_ma: 250", "battery_ah: 7", "battery_ah: 7.3").Replace(good), devices: fault}, "error supply.battery-small supplies[0].battery_ah"},
		{"7.3 Ah of 7.225 Ah, edition 2019", "NFPA 72 10.6.7, x 1.2 before 2022", plan{rules: `packs: "nfpa72" edition: 2019`, more: strings.NewReplacer("standby_ma: 30", "standby_ma: 250", "battery_ah: 7", "battery_ah: 7.3").Replace(good), devices: fault}, ""},
		{"no battery", "", plan{more: strings.Replace(good, "battery_ah: 7", "", 1), devices: fault}, "warning supply.no-battery supplies[0].battery_ah"},
		{"no current at rest", "common practice: a load left out", plan{more: strings.Replace(good, "standby_ma: 30", "", 1), devices: fault}, "warning supply.standby-unwritten supplies[0]"},
		{"2.03 A of 2 A", "the supply's own limit", plan{more: strings.Replace(good, "battery_ah: 7", "battery_ah: 7 alarm_ma: 2000", 1), devices: fault}, "error supply.overload supplies[0].current_limit_a"},
		{"2.03 A through a fuse of 2 A", "the fuse", plan{more: strings.NewReplacer("battery_ah: 7", "battery_ah: 7 alarm_ma: 2000", "current_limit_a", "fuse_a").Replace(good), devices: fault}, "error supply.fuse supplies[0].fuse_a"},

		// One smoke detector: 0.3 mA at rest, 4.3 mA in alarm.
		{"a panel that feeds its loop", "", plan{more: panel + `0.3 alarm_ma: 4}}`, devices: row(1, 1, "z1", 5)}, ""},
		{"a panel's standby without its loop", "common practice: a load left out", plan{more: panel + `0.2 alarm_ma: 5}}`, devices: row(1, 1, "z1", 5)}, "warning supply.standby-low panel.supply.standby_ma"},
		{"a panel's alarm without its loop", "common practice: a load left out", plan{more: panel + `0.3 alarm_ma: 3.9}}`, devices: row(1, 1, "z1", 5)}, "warning supply.alarm-low panel.supply.alarm_ma"},
		{"0.35 A of a panel's 0.3 A", "the supply's own limit", plan{more: panel + `250 current_limit_a: 0.3}` + out}, "error supply.overload panel.supply.current_limit_a"},
		{"a panel's circuit without panel.supply", "nothing is skipped in silence", plan{more: `panel: {` + out}, "note supply.panel-unwritten panel"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, c.plan)); got != c.want {
				t.Errorf("found\n%s\nwant (%s)\n%s", got, c.source, c.want)
			}
		})
	}
}

// No load has less than nothing, whatever the calculation says: 2 A over 20 ohm would take 40 V of 20.4 V.
func TestNoVoltageLeft(t *testing.T) {
	found := judged(t, plan{more: `supplies: {supply: "psu" voltage_v: 24 battery_ah: 7 standby_ma: 30}`,
		devices: watch("8", "fault") + sounders(`loads: {label: "S1" cable_m: 1000 sounder: {current_ma: 2000}}`)})
	if len(found) != 1 {
		t.Fatalf("found %v", found)
	}
	const want = `"S1" has no voltage with all loads on and needs 16 V; psu ends at 20.4 V and the cable would take 40 V`
	if got := found[0].GetTitle() + "; " + found[0].GetDetail(); !strings.HasPrefix(got, want) {
		t.Error(got)
	}
}
