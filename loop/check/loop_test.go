package check

import (
	"strings"
	"testing"
)

// What is found about loops. The rule that a case rests on stands beside it; each case but the first of
// a group differs from one without a finding by what its name says.
func TestLoops(t *testing.T) {
	nine := row(1, 3, "z1", 5) + isolator("I1") + row(4, 6, "z1", 5) + isolator("I2") + row(7, 9, "z1", 5)
	for _, c := range []struct {
		name, source string
		plan         plan
		want         string
	}{
		{"one detector on a branch", "", plan{devices: row(1, 1, "z1", 5)}, ""},
		{"no device", "", plan{}, ""},

		// NFPA 72 chapter 12: A works past an open, X past a short as well.
		{"class b, asked for b", "NFPA 72 chapter 12", plan{loop: `wiring: "branch" required_class: "b"`, devices: row(1, 3, "z1", 5)}, ""},
		{"class b, asked for a", "NFPA 72 chapter 12", plan{loop: `wiring: "branch" required_class: "a"`, devices: row(1, 3, "z1", 5)},
			"error wiring.class loops[0].required_class"},
		{"class a, asked for a", "NFPA 72 chapter 12", plan{loop: ringA, devices: row(1, 3, "z1", 5)}, ""},
		{"class a, asked for x", "NFPA 72 chapter 12", plan{loop: ringX, devices: row(1, 3, "z1", 5)}, "error wiring.class loops[0].required_class"},
		{"class x, asked for x", "NFPA 72 chapter 12", plan{loop: ringX, devices: nine}, ""},
		// Class x asks that a short loses only what lies between two isolators (NFPA 72 chapter 12), the panel's terminals among
		// them; how much that may be is no matter of the class but of what one fault may lose.
		{"class x by one isolator, 20 devices on either side", "NFPA 72 chapter 12; common practice", plan{loop: ringX, devices: row(1, 20, "z1", 5) + isolator("I") + row(21, 40, "z1", 5)}, ""},
		{"class x by one isolator, 21 on one side", "common practice", plan{loop: ringX, devices: row(1, 21, "z1", 5) + isolator("I") + row(22, 40, "z1", 5)}, "warning wiring.isolator-spacing loops[0].devices[0]"},
		{"class x by one isolator, two zones on one side", "NFPA 72 23.6.1", plan{loop: ringX, devices: row(1, 3, "z1", 5) + row(4, 6, "z2", 5) + isolator("I") + row(7, 9, "z2", 5)},
			"error wiring.fault-loses-zones loops[0].devices[0].cable_m"},
		{"class x by one isolator beside the panel", "a short loses every device", plan{loop: ringX, devices: isolator("I") + row(1, 9, "z1", 5)}, "error wiring.class loops[0].required_class"},
		{"a spur on a class a ring", "class rule: every node of the ring has degree 2", plan{loop: ringA, devices: row(1, 3, "z1", 5) + smoke(4, "z1", 5, "spur_from: 2")},
			"error wiring.spur-on-ring loops[0].devices[3].spur_from"},
		{"two of them", "each is a cause of its own", plan{loop: ringX, devices: nine + smoke(10, "z1", 5, "spur_from: 2") + smoke(11, "z1", 5, "spur_from: 2")},
			"error wiring.spur-on-ring loops[0].devices[11].spur_from\nerror wiring.spur-on-ring loops[0].devices[12].spur_from"},
		{"a spur without a device", "loses nothing", plan{loop: ringA, devices: row(1, 3, "z1", 5) + `devices: {label: "I" cable_m: 5 isolator: {} spur_from: 2}`},
			"warning wiring.spur-on-ring loops[0].devices[3].spur_from"},
		{"a spur on a ring of no class", "", plan{loop: ring, devices: row(1, 3, "z1", 5) + smoke(4, "z1", 5, "spur_from: 2")}, ""},

		// Limits of a loop: 40 ohm, 0.36 uF, 1500 m, common practice. 1.5 mm2 has 12.1 ohm/km (IEC
		// 60228), so that 40 ohm are 1652.9 m; 0.36 uF are 1000 m at 360 pF/m.
		{"1500 m", "common practice", plan{loop: `wiring: "branch"`, devices: row(1, 1, "z1", 1500)}, ""},
		{"1501 m", "common practice", plan{loop: `wiring: "branch"`, devices: row(1, 1, "z1", 1501)}, "warning wiring.length loops[0]"},
		{"1652 m, and the length agreed", "common practice; IEC 60228", plan{rules: `packs: "nfpa72" limits: {limit: "loop_length_m" value: 2000}`, devices: row(1, 1, "z1", 1652)}, ""},
		{"1654 m, and the length agreed", "common practice; IEC 60228", plan{rules: `packs: "nfpa72" limits: {limit: "loop_length_m" value: 2000}`, devices: row(1, 1, "z1", 1654)},
			"warning wiring.resistance loops[0]"},
		{"1000 m of 360 pF/m", "common practice", plan{cable: "conductor_mm2: 1.5 capacitance_pf_per_m: 360", devices: row(1, 1, "z1", 1000)}, ""},
		{"1000 m of 361 pF/m", "common practice", plan{cable: "conductor_mm2: 1.5 capacitance_pf_per_m: 361", devices: row(1, 1, "z1", 1000)}, "warning wiring.capacitance loops[0]"},
		{"half the length agreed", "rules.limits", plan{rules: `packs: "nfpa72" limits: {limit: "loop_length_m" value: 10}`, devices: row(1, 1, "z1", 11)}, "warning wiring.length loops[0]"},

		// One detector takes 0.3 mA and its indicator 4 mA (common practice).
		{"4.3 mA of 4.3 mA", "common practice", plan{driver: "voltage_v: 28 current_limit_ma: 4.3", devices: row(1, 1, "z1", 5)}, ""},
		{"4.3 mA of 4.2 mA", "common practice", plan{driver: "voltage_v: 28 current_limit_ma: 4.2", devices: row(1, 1, "z1", 5)},
			"error wiring.current loops[0].driver.current_limit_ma"},

		// 4.3 mA through 1000 m of 10 ohm/km, 20 ohm: 0.086 V; at rest 0.006 V.
		{"17.09 V less 0.086 V", "17 V, common practice; Ohm's law", plan{driver: "voltage_v: 17.09", cable: "ohm_per_km: 10", devices: row(1, 1, "z1", 1000)}, ""},
		{"17.08 V less 0.086 V", "17 V, common practice; Ohm's law", plan{driver: "voltage_v: 17.08", cable: "ohm_per_km: 10", devices: row(1, 1, "z1", 1000)},
			"error wiring.voltage loops[0].devices[0]"},
		// The same at the end of a ring that a break beside the panel leaves fed from the far end: 5 m
		// one way, 1000 m the other.
		{"a ring whose short end breaks", "a ring must do with either end", plan{loop: `wiring: "ring" return_cable_m: 1000`, driver: "voltage_v: 17.08", cable: "ohm_per_km: 10", devices: row(1, 1, "z1", 5)},
			"error wiring.voltage loops[0].devices[0]"},

		{"20 devices between isolators", "common practice", plan{loop: ring, devices: isolator("I1") + row(1, 20, "z1", 5) + isolator("I2") + row(21, 40, "z1", 5)}, ""},
		{"21 devices between isolators", "common practice", plan{loop: ring, devices: isolator("I1") + row(1, 20, "z1", 5) + isolator("I2") + row(21, 41, "z1", 5)},
			"warning wiring.isolator-spacing loops[0].devices[22]"},
		{"21 devices, one of them with an isolator", "common practice", plan{loop: ring, devices: row(1, 20, "z1", 5) + smoke(21, "z1", 5, "isolator: {}")}, ""},
		{"20 devices and one on a spur", "common practice", plan{loop: ring, devices: row(1, 20, "z1", 5) + smoke(21, "z1", 5, "spur_from: 4")},
			"warning wiring.isolator-spacing loops[0].devices[0]"},
		{"25 between isolators, agreed", "rules.limits", plan{rules: `packs: "nfpa72" limits: {limit: "devices_between_isolators_count" value: 25}`, loop: ring, devices: row(1, 25, "z1", 5)}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, c.plan)); got != c.want {
				t.Errorf("found\n%s\nwant (%s)\n%s", got, c.source, c.want)
			}
		})
	}
}

// What one fault may take away: by the rule pack and its edition.
func TestOneFault(t *testing.T) {
	// A ring of 12, isolators in the gaps 3|4, 6|7, 9|10.
	twelve := func(six string) string {
		return row(1, 3, "z1", 5) + isolator("I1") + row(4, 5, "z1", 5) + smoke(6, six, 5, "") + isolator("I2") + row(7, 9, "z1", 5) + isolator("I3") + row(10, 12, "z1", 5)
	}
	upstairs := strings.Replace(row(1, 2, "z1", 5), `place: "g"`, `place: "up"`, 1)
	const (
		en    = `packs: "en54"`
		bs    = `packs: "bs5839-1"`
		wide  = ` limits: {limit: "devices_between_isolators_count" value: 100}`
		old   = `packs: "nfpa72" edition: 2013` + wide
		since = `packs: "nfpa72" edition: 2016`
	)
	at := func(place string, from, to int) string {
		return strings.ReplaceAll(row(from, to, "z1", 5), `place: "g"`, `place: "`+place+`"`)
	}
	for _, c := range []struct {
		name, source string
		plan         plan
		want         string
	}{
		{"4, 5 and 6 in one zone", "design check of the ring of 12", plan{loop: ringX, devices: twelve("z1")}, ""},
		{"6 in another zone", "NFPA 72 23.6.1 (2016 on)", plan{loop: ringX, devices: twelve("z2")}, "error wiring.fault-loses-zones loops[0].devices[4].cable_m"},
		{"the same, edition 2016", "NFPA 72 23.6.1 (2016 on)", plan{rules: since, loop: ringX, devices: twelve("z2")}, "error wiring.fault-loses-zones loops[0].devices[4].cable_m"},
		{"the same, edition 2013", "NFPA 72 23.6.1 (2013), from memory: 50 devices", plan{rules: old, loop: ringX, devices: twelve("z2")}, ""},
		{"the same under en54", "the rule is NFPA 72's", plan{rules: en, loop: ringX, devices: twelve("z2")}, ""},
		{"an isolator between the zones", "NFPA 72 23.6.1", plan{loop: ringX, devices: row(1, 3, "z1", 5) + isolator("I1") + row(4, 6, "z2", 5)}, ""},
		{"two zones on a branch", "NFPA 72 23.6.1", plan{devices: row(1, 2, "z1", 5) + row(3, 4, "z2", 5)}, "error wiring.fault-loses-zones loops[0].devices[0].cable_m"},
		{"two zones on a branch with an isolator", "a break before the first loses both", plan{devices: row(1, 2, "z1", 5) + isolator("I") + row(3, 4, "z2", 5)},
			"error wiring.fault-loses-zones loops[0].devices[0].cable_m"},
		{"one zone on two floors", "NFPA 72 23.6.1: each floor is a zone", plan{devices: upstairs}, "error wiring.fault-loses-zones loops[0].devices[0].cable_m"},

		{"50 devices, edition 2013", "NFPA 72 23.6.1 (2013), from memory", plan{rules: old, devices: row(1, 50, "z1", 5)}, ""},
		{"51 devices, edition 2013", "NFPA 72 23.6.1 (2013), from memory", plan{rules: old, devices: row(1, 51, "z1", 5)}, "error wiring.fault-loses-devices loops[0].devices[0].cable_m"},

		{"32 fire inputs", "CEN/TS 54-14, EN 54-2 12.5, from memory", plan{rules: en + wide, loop: ring, devices: row(1, 32, "z1", 5)}, ""},
		{"33 fire inputs", "CEN/TS 54-14, EN 54-2 12.5, from memory", plan{rules: en + wide, loop: ring, devices: row(1, 33, "z1", 5)},
			"error wiring.fault-loses-fire-inputs loops[0].devices[0].cable_m"},
		{"32 fire inputs and a relay", "only detectors and call points count", plan{rules: en + wide, loop: ring, devices: row(1, 32, "z1", 5) + `devices: {address: 33 label: "R" cable_m: 5 relay_module: {}}`}, ""},
		{"33 in two sections", "CEN/TS 54-14", plan{rules: en + wide, loop: ring, devices: row(1, 17, "z1", 5) + isolator("I") + row(18, 33, "z1", 5)}, ""},

		// 900 m2 a place, in the rig.
		{"1800 m2", "BS 5839-1: 2,000 m2", plan{rules: bs, devices: at("g", 1, 3) + at("up", 4, 10)}, ""},
		{"2700 m2, one floor and five beside it", "BS 5839-1", plan{rules: bs, devices: at("g", 1, 6) + at("up", 7, 11) + at("attic", 12, 16)}, ""},
		{"2700 m2, six on the floor beside it", "BS 5839-1", plan{rules: bs, devices: at("g", 1, 7) + at("up", 8, 13) + at("attic", 14, 15)},
			"error wiring.fault-loses-area loops[0].devices[0].cable_m"},
		{"2700 m2 in three sections", "BS 5839-1", plan{rules: bs, loop: ring, devices: at("g", 1, 6) + isolator("I1") + at("up", 7, 12) + isolator("I2") + at("attic", 13, 18)}, ""},
		{"a place without area", "BS 5839-1", plan{rules: bs, more: `places: {place: "shed"}`, devices: at("shed", 1, 1)}, "note place.area-unknown places[4]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, c.plan)); got != c.want {
				t.Errorf("found\n%s\nwant (%s)\n%s", got, c.source, c.want)
			}
		})
	}
}
