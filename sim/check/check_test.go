package check_test

import (
	"strings"
	"testing"
)

// judgement is one case: a mistake, or the same put right.
type judgement struct {
	name, source string
	part         part
	want         string
	says         string // in title or detail of the first
}

func judge(t *testing.T, cases []judgement) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			found := find(t, c.part)
			if got := brief(found); got != c.want {
				t.Fatalf("found\n%s\nwant (%s)\n%s\n%v", got, c.source, c.want, found)
			}
			if len(found) > 0 && !strings.Contains(found[0].GetTitle()+" "+found[0].GetDetail(), c.says) {
				t.Errorf("%q is not in %q, %q", c.says, found[0].GetTitle(), found[0].GetDetail())
			}
		})
	}
}

// Zones, routes and inputs: what the file says of places, cable and contacts.
func TestBuilt(t *testing.T) {
	another := func(place, zone string) string {
		return `      - {address: 10, label: MORE, place: ` + place + `, zone: ` + zone + `, cable_m: 5, smoke_detector: {}}`
	}
	three := strings.Replace(another("hall", "hall"), "address: 10, label: MORE", "address: 11, label: MORE-2", 1) + "\n" + strings.Replace(another("loft", "hall"), "MORE", "MORE-3", 1)
	stair := `  - {place: stair, floor: "1", use: stair}`
	valve := func(more string) string {
		return `      - {address: 12, label: VALVE, place: hall, cable_m: 5, input_module: {` + more + `}}`
	}
	supervised := program(`    - {cause: valve, when: "panel.supervisory"}`, "", `    - {causes: [valve], effects: [bms], state: "on"}`)
	judge(t, []judgement{
		{"the house", "", part{}, "", ""},

		{"a detector of the loft in the zone of the hall", "NFPA 72 23.6.1: each floor is a zone", part{devices: three}, "warning zone.several-floors zones[0]", `"MORE-3" on floor 1 may be in the wrong zone`},
		{"the same under bs5839-1", "BS 5839-1 13, from memory: one storey", part{rules: "{packs: [bs5839-1]}", devices: three}, "warning zone.several-floors zones[0]", ""},
		{"the same in a building of 400 m2 that may be one zone below 401", "BS 5839-1 13, from memory: one zone below 300 m2, or as agreed", part{rules: "{packs: [bs5839-1], limits: [{limit: one_zone_building_m2, value: 401}]}", devices: three}, "", ""},
		{"a stair goes through floors", "", part{places: stair, devices: another("stair", "hall")}, "", ""},
		{"2,100 m2 in a zone", "BS 5839-1 13, from memory: 2,000 m2", part{rules: "{packs: [bs5839-1]}", places: "  - {place: big, floor: G, area_m2: 1900}", devices: another("big", "hall")},
			"warning zone.too-large zones[0]", "2100 m2"},

		{"a duct of a building management point", "the rule on ducts asks for the fan", part{places: `  - {place: shaft, floor: G, use: duct, serves: [bms]}`}, "warning place.serves-other places[2].serves", "serves no fan or damper"},
		{"a lift lobby of nobody in particular", "serves is of the file's choice", part{places: `  - {place: shaft, floor: G, use: lift-lobby}`}, "", ""},

		{"back along the way out", "NFPA 72 chapter 12: routed separately", part{loop: "    required_class: a\n    return_route: same"}, "error wiring.same-route loops[0].return_route", ""},
		{"the same where no class is asked for", "", part{loop: "    return_route: same"}, "warning wiring.same-route loops[0].return_route", ""},
		{"a route of its own", "", part{loop: "    required_class: a\n    return_route: separate"}, "", ""},

		{"a valve as a fault", "valve position is supervisory", part{devices: valve("input: technical, senses: valve-position, end_of_line_ohm: 4700")},
			"error input.wrong-signal loops[0].devices[7].input_module.input", "input: supervisory"},
		{"a valve as it should be", "", part{devices: valve("input: supervisory, senses: valve-position, end_of_line_ohm: 4700"), program: supervised}, "", ""},
		{"a valve that looks like a broken wire", "a shut valve and a broken wire can be told apart", part{devices: valve("input: supervisory, senses: valve-position"), program: supervised},
			"warning input.valve-like-fault loops[0].devices[7].input_module", ""},
		{"flow as supervisory", "water flow is an alarm", part{devices: valve("input: supervisory, senses: water-flow, end_of_line_ohm: 4700"), program: supervised}, "error input.wrong-signal loops[0].devices[7].input_module.input", "input: waterflow"},
	})
}

// Lifts: A17.1 2.27, NFPA 72 21.3 and 21.4, EN 81-73 5.1.2.
func TestLifts(t *testing.T) {
	const lift = `  - {equipment: lift, lift: {floors: [G, "1", "2"], recall_floor: G, alternate_floor: "1"}}`
	const modules = `      - {address: 20, label: MAIN, place: hall, cable_m: 1, relay_module: {drives: {equipment: lift, input: recall}}}
      - {address: 21, label: ALTERNATE, place: hall, cable_m: 1, relay_module: {drives: {equipment: lift, input: alternate}}}
      - {address: 22, label: POWER, place: hall, cable_m: 1, relay_module: {drives: {equipment: lift, input: power-off}}}
      - {address: 23, label: HD, place: hall, zone: hall, cable_m: 1, heat_detector: {}}
      - {address: 24, label: IN-RECALL, place: hall, cable_m: 1, input_module: {input: technical, proves: {equipment: lift, signal: in-recall}}}
`
	const effects = `    - {effect: main, outputs: [MAIN], one_of: landing, until: reset}
    - {effect: alternate, outputs: [ALTERNATE], one_of: landing, until: reset}
    - {effect: power, outputs: [POWER]}
`
	loose := strings.ReplaceAll(effects, ", one_of: landing", "")
	causes := `    - {cause: low, when: "device('HALL-SD').fire"}
    - {cause: high, when: "device('LOFT-SD').fire"}
    - {cause: heat, when: "device('HD').fire"}
    - {cause: heat-and-recalled, when: "device('HD').fire && equipment('lift').proven"}
`
	house := func(effects, actions string) part {
		return part{equipment: lift, devices: modules, program: program(causes, effects, actions)}
	}
	right := `    - {causes: [low], effects: [alternate], state: "on"}
    - {causes: [high], effects: [main], state: "on"}
    - {causes: [heat], effects: [power], state: "on"}
`
	with := func(p part, places string) part { p.places = places; return p }
	one := func(rules string) part {
		p := house(strings.Replace(effects, "    - {effect: alternate, outputs: [ALTERNATE], one_of: landing, until: reset}\n", "", 1), `    - {causes: [low, high], effects: [main], state: "on"}
    - {causes: [heat], effects: [power], state: "on"}`)
		p.equipment = strings.Replace(lift, `, alternate_floor: "1"`, "", 1)
		p.devices = strings.Replace(modules, "      - {address: 21, label: ALTERNATE, place: hall, cable_m: 1, relay_module: {drives: {equipment: lift, input: alternate}}}\n", "", 1)
		p.rules = rules
		return p
	}
	judge(t, []judgement{
		{"as it should be", "", house(effects, right), "", ""},
		{"exchanged", "A17.1 2.27.3.2: never to the floor that burns", house(effects, `    - {causes: [low], effects: [main], state: "on"}
    - {causes: [high], effects: [alternate], state: "on"}
    - {causes: [heat], effects: [power], state: "on"}`), "error lift.to-fire-floor loops[0].devices[0]\nerror lift.to-fire-floor loops[0].devices[3]", "the floor that burns, G"},
		{"everything to the recall landing", "A17.1 2.27.3.2", house(effects, `    - {causes: [low, high], effects: [main], state: "on"}
    - {causes: [heat], effects: [power], state: "on"}`), "error lift.to-fire-floor loops[0].devices[0]", `"HALL-SD"`},
		{"a lift that knows one landing", "A17.1 2.27.3.2", one("{packs: [nfpa72]}"), "error lift.to-fire-floor loops[0].devices[0]", "knows no other landing"},
		{"the same under en54", "EN 81-73 5.1: an input for each designated landing", one("{packs: [en54]}"), "warning lift.to-fire-floor loops[0].devices[0]", "knows no other landing"},
		{"a second fire moves it", "EN 81-73 5.1.2: the first signal holds", house(loose, right), "error lift.moved-by-second-fire equipment[1]", "one_of"},
		{"a second fire moves it at night", "EN 81-73 5.1.2: the first signal holds", house(effects+"    - {effect: main-night, outputs: [MAIN], until: reset}\n", strings.Replace(right, `[high], effects: [main], state: "on"`, `[high], effects: [main], state: "on", unless: "panel.mode == 'night'"`, 1)+
			`    - {causes: [high], effects: [main-night], state: "on", unless: "panel.mode == 'day'"}`), "error lift.moved-by-second-fire equipment[1]", ""},
		{"call points recall", "A17.1 2.27; NFPA 72 21.3", house(effects, strings.Replace(right, "[high]", "[high, loft]", 1)), "error lift.recalled-by-call-point loops[0].devices[4]", "LOFT-CP"},
		{"call points under en54 alone", "the rule is A17.1's", func() part {
			p := house(effects, strings.Replace(right, "[high]", "[high, loft]", 1))
			p.rules = "{packs: [en54]}"
			return p
		}(), "", ""},
		{"an ordinary detector recalls", "NFPA 72 21.3: lobbies, shafts, machine rooms", with(house(effects, right), "  - {place: lobby, floor: G, use: lift-lobby, serves: [lift]}"),
			"error lift.recalled-from-elsewhere loops[0].devices[0]", `"HALL-SD"`},
		{"smoke takes the power away", "NFPA 72 21.4: heat detectors", house(effects, strings.Replace(right, "[heat]", "[heat, high]", 1)), "error lift.power-off-by-smoke loops[0].devices[3]", "LOFT-SD"},
		{"heat recalls too", "NFPA 72 21.4", house(effects, strings.Replace(right, "[low]", "[low, heat]", 1)), "warning lift.recalled-by-heat loops[0].devices[10]", "exchanged"},
		{"the power waits for a delay", "A17.1: at once", house(effects, strings.Replace(right, `effects: [power], state: "on"`, `effects: [power], state: "on", after: 30s`, 1)), "error lift.power-off-held-back loops[0].devices[10]", ""},
		{"the power waits for the recall", "A17.1: at once", house(effects, strings.Replace(right, "[heat]", "[heat-and-recalled]", 1)), "error lift.power-off-held-back program.actions[4]", "recalled"},
	})
}

// Fans, dampers, ducts, and what silence must leave alone.
func TestPlant(t *testing.T) {
	fan := `  - {equipment: fan, place: hall, fan: {runs_at_rest: true}}
  - {equipment: damper, place: hall, damper: {at_rest: closed, travel: 15s}}
`
	const modules = `      - {address: 20, label: START, place: hall, cable_m: 1, relay_module: {drives: {equipment: fan, input: start}}}
      - {address: 21, label: STOP, place: hall, cable_m: 1, relay_module: {drives: {equipment: fan, input: stop}}}
      - {address: 22, label: OPEN, place: hall, cable_m: 1, relay_module: {drives: {equipment: damper, input: open}}}
      - {address: 23, label: OPENED, place: hall, cable_m: 1, input_module: {input: technical, proves: {equipment: damper, signal: opened}}}
`
	const effects = `    - {effect: start, outputs: [START]}
    - {effect: stop, outputs: [STOP]}
    - {effect: open, outputs: [OPEN]}
`
	house := func(causes, effects, actions string) part {
		return part{equipment: fan, devices: modules, program: program(causes, effects, actions)}
	}
	shut := func(actions string) part {
		p := house("", strings.Replace(effects, "open, outputs: [OPEN]", "close, outputs: [CLOSE]", 1), actions)
		p.equipment = strings.Replace(p.equipment, "at_rest: closed", "at_rest: open", 1)
		p.devices = strings.Replace(strings.Replace(p.devices, "label: OPEN,", "label: CLOSE,", 1), "input: open", "input: close", 1)
		return p
	}
	duct := func(serves, actions string) part {
		p := house(`    - {cause: duct, when: "device('DUCT-SD').fire"}`, effects, actions)
		p.places = `  - {place: duct, floor: G, use: duct, serves: [` + serves + `]}`
		p.zones = ", {zone: duct}"
		p.devices += `      - {address: 30, label: DUCT-SD, place: duct, zone: duct, cable_m: 1, smoke_detector: {}}`
		p.program = strings.Replace(p.program, `"panel.fire"`, `"zone('hall').fire || zone('loft').fire"`, 1)
		return p
	}
	judge(t, []judgement{
		{"silence stops the fan", "silence is for what is heard and seen (NFPA 72 10.12.2)", house("", strings.Replace(effects, "[STOP]", "[STOP], silenceable: true", 1), `    - {causes: [any], effects: [stop], state: "on"}`),
			"error program.silence-stops-plant program.effects[4].outputs[0]", `"STOP"`},
		{"silence stops a release", "silence is for what is heard and seen (NFPA 72 10.12.2)", part{devices: `      - {address: 40, label: GAS, place: hall, cable_m: 1, relay_module: {}}
`, program: program("", `    - {effect: gas, outputs: [GAS], silenceable: true}
`, `    - {causes: [any], effects: [gas], state: release}`)},
			"error program.silence-stops-plant program.effects[3].outputs[0]\nwarning release.no-hold-off loops[0].devices[7]\nwarning release.countdown-short program.actions[2]\nwarning release.by-one-signal loops[0].devices[0]", `"GAS"`},
		{"a condition lets silence stop the fan", "silence is for what is heard and seen (NFPA 72 10.12.2)", house("", effects, `    - {causes: [any], effects: [stop], state: "on", unless: "panel.silenced"}`),
			"error program.silence-stops-plant program.actions[2]", "nothing new operates"},
		{"an inhibit does", "silence is for what is heard and seen (NFPA 72 10.12.2)", house(`    - {cause: quiet, when: "panel.silenced"}`, effects, `    - {causes: [any], effects: [stop], state: "on"}
    - {causes: [quiet], effects: [stop], state: "off"}`), "error program.silence-stops-plant program.actions[3]", ""},
		{"it does not", "", house("", effects, `    - {causes: [any], effects: [stop], state: "on"}`), "", ""},

		{"start and stop at once", "common practice: one configuration at a time", house("", effects, `    - {causes: [any], effects: [stop], state: "on"}
    - {causes: [hall], effects: [start], state: "on", after: 30s}
    - {causes: [hall], effects: [open], state: "on"}`), "error plant.opposed program.actions[3]", `with "HALL-SD" in fire`},
		{"two fires, start and stop", "common practice", house("", effects, `    - {causes: [loft], effects: [stop], state: "on"}
    - {causes: [hall], effects: [start], state: "on", after: 30s}
    - {causes: [hall], effects: [open], state: "on"}`), "warning plant.opposed program.actions[3]", `"LOFT-SD" in fire`},
		{"a trip cuts the fan that a fire starts", "common practice: one configuration at a time", func() part {
			p := house("", effects+"    - {effect: cut, outputs: [CUT]}\n", `    - {causes: [loft], effects: [cut], state: "on"}
    - {causes: [hall], effects: [start], state: "on", after: 30s}
    - {causes: [hall], effects: [open], state: "on"}`)
			p.equipment += "  - {equipment: cut, trip: {cuts: [fan]}}\n"
			p.devices += "      - {address: 31, label: CUT, place: hall, cable_m: 1, relay_module: {drives: {equipment: cut, input: trip}}}\n"
			return p
		}(), "warning plant.opposed program.actions[3]", "lose its power"},
		{"an inhibit decides", "off is the strongest demand", house("", effects, `    - {causes: [any], effects: [stop], state: "on", unless: "zone('hall').fire"}
    - {causes: [hall], effects: [start], state: "on", after: 30s}
    - {causes: [hall], effects: [open], state: "on"}`), "", ""},
		{"a set decides", "the first of a set holds until reset", house("", strings.ReplaceAll(strings.ReplaceAll(effects, "[START]", "[START], one_of: air"), "[STOP]", "[STOP], one_of: air"), `    - {causes: [loft], effects: [stop], state: "on"}
    - {causes: [hall], effects: [start], state: "on", after: 30s}
    - {causes: [hall], effects: [open], state: "on"}`), "", ""},

		{"the fan before the damper", "IBC 909.17: an order that damages nothing", house("", effects, `    - {causes: [hall], effects: [start, open], state: "on"}`), "warning fan.against-shut-damper loops[0].devices[0]", "not had the time"},
		{"nothing opens the damper", "IBC 909.17", house("", effects, `    - {causes: [hall], effects: [start], state: "on"}`), "warning fan.against-shut-damper loops[0].devices[0]", "nothing opens it"},
		{"the damper shuts on a fan that runs on", "IBC 909.17: an order that damages nothing", shut(`    - {causes: [any], effects: [close], state: "on"}`), "warning fan.shut-in loops[0].devices[0]", "runs on"},
		{"both at once", "", shut(`    - {causes: [any], effects: [close, stop], state: "on"}`), "", ""},
		{"a key starts the fan, and nothing opens the damper", "IBC 909.17: by hand as by itself", house(`    - {cause: key, when: "control('key').on"}`, effects, `    - {causes: [key], effects: [start], state: "on"}`),
			"warning fan.against-shut-damper program.controls[0]", `key "key" starts "fan"`},
		{"a switch starts the fan, and nothing opens the damper", "IBC 909.17: by hand as by itself", func() part {
			p := house("", effects, `    - {causes: [hall], effects: [stop], state: "on"}`)
			p.program += "\n  overrides: [{override: air, effects: [start], opposes: [stop]}]\n"
			return p
		}(), "warning fan.against-shut-damper program.overrides[0]", `switch "air", put to on, starts "fan"`},
		{"a switch opens it too", "", func() part {
			p := house("", effects, `    - {causes: [hall], effects: [stop], state: "on"}`)
			p.program += "\n  overrides: [{override: air, effects: [start, open], opposes: [stop]}]\n"
			return p
		}(), "", ""},
		{"a technical input shuts the damper on a fan that runs on", "IBC 909.17: an order that damages nothing", func() part {
			p := shut(`    - {causes: [frost], effects: [close], state: "on"}`)
			p.program = strings.Replace(p.program, "  effects:\n", "    - {cause: frost, when: \"device('FROST').active\"}\n  effects:\n", 1)
			p.devices += "      - {address: 50, label: FROST, place: hall, cable_m: 1, input_module: {input: technical, end_of_line_ohm: 4700}}\n"
			return p
		}(), "warning fan.shut-in loops[0].devices[11]", `"FROST" shuts the damper`},
		{"a damper of some other duct", "", func() part {
			p := house("", effects, `    - {causes: [hall], effects: [start], state: "on"}`)
			p.equipment += "  - {equipment: other, place: hall, damper: {}}"
			return p
		}(), "note damper.without-fan equipment[2]", ""},
		{"the same, and it belongs to no fan", "", func() part {
			p := house("", effects, `    - {causes: [hall], effects: [start], state: "on"}`)
			p.equipment += "  - {equipment: other, place: hall, damper: {}}"
			p.places = "  - {place: duct, floor: G, serves: [damper]}"
			return p
		}(), "", ""},
		{"the same, and a place that serves both", "IBC 909.17", func() part {
			p := house("", effects, `    - {causes: [hall], effects: [start], state: "on"}`)
			p.equipment += "  - {equipment: other, place: hall, damper: {}}"
			p.places = "  - {place: duct, floor: G, serves: [fan, damper]}"
			return p
		}(), "warning fan.against-shut-damper loops[0].devices[0]", "nothing opens it"},
		{"the fan after the damper's travel", "", house("", effects, `    - {causes: [hall], effects: [open], state: "on"}
    - {causes: [hall], effects: [start], state: "on", after: 15s}`), "", ""},
		{"the fan on proof", "", house(`    - {cause: opened, when: "zone('hall').fire && device('OPENED').active"}`, effects, `    - {causes: [hall], effects: [open], state: "on"}
    - {causes: [opened], effects: [start], state: "on"}`), "", ""},

		{"a duct stops its fan", "NFPA 90A", duct("fan", `    - {causes: [duct, any], effects: [stop], state: "on"}`), "", ""},
		{"a duct does not stop its fan", "NFPA 90A", duct("fan", `    - {causes: [duct], effects: [bms], state: "on"}`), "error duct.fan-not-stopped loops[0].devices[11]", `"DUCT-SD"`},
		{"a duct evacuates", "common practice: supervisory", duct("fan", `    - {causes: [duct], effects: [stop], state: "on"}
    - {causes: [duct], effects: [hall-s], state: evacuate}`), "warning duct.evacuates loops[0].devices[11]", ""},
	})
}

// Smoke modes: the first zone in alarm chooses (from memory).
func TestSmokeModes(t *testing.T) {
	house := func(set string) part {
		return part{equipment: "  - {equipment: hall-fan, fan: {}}\n  - {equipment: loft-fan, fan: {}}",
			devices: `      - {address: 20, label: HALL-FAN, place: hall, cable_m: 1, relay_module: {drives: {equipment: hall-fan, input: start}}}
      - {address: 21, label: LOFT-FAN, place: hall, cable_m: 1, relay_module: {drives: {equipment: loft-fan, input: start}}}`,
			program: program("", "    - {effect: hall-fan, outputs: [HALL-FAN]"+set+"}\n    - {effect: loft-fan, outputs: [LOFT-FAN]"+set+"}", `    - {causes: [hall], effects: [hall-fan], state: "on"}
    - {causes: [loft], effects: [loft-fan], state: "on"}`)}
	}
	together := house("")
	together.program = strings.Replace(together.program, "[hall], effects: [hall-fan]", "[any], effects: [hall-fan, loft-fan]", 1)
	judge(t, []judgement{
		{"a second fire, a second fan", "from memory: the first fire chooses", house(""), "note smoke.second-mode loops[0].devices[3]", `"loft-fan" while "hall-fan"`},
		{"one set", "", house(", one_of: smoke"), "", ""},
		{"both from any fire", "", together, "", ""},
	})
}

// Extinguishing: cross-zoned release with a hold-off (guide specifications for CO2).
func TestRelease(t *testing.T) {
	const gas = `  - {equipment: gas, release: {}}`
	const modules = `      - {address: 20, label: RELEASE, place: hall, cable_m: 1, relay_module: {drives: {equipment: gas, input: release}}}
      - {address: 21, label: HOLD, place: hall, cable_m: 1, relay_module: {drives: {equipment: gas, input: hold-off}}}
      - {address: 22, label: HOLD-BUTTON, place: hall, cable_m: 1, input_module: {input: hold-off, end_of_line_ohm: 4700}}
`
	house := func(devices, when string) part {
		return part{equipment: gas, devices: devices, program: program(`    - {cause: gas, when: "`+when+`"}
    - {cause: hold, when: "device('HOLD-BUTTON').active"}`, "    - {effect: gas, outputs: [RELEASE]}\n    - {effect: hold, outputs: [HOLD]}", `    - {causes: [gas], effects: [gas], state: "on"}
    - {causes: [hold], effects: [hold], state: "on"}`)}
	}
	byHand := func(when string) part {
		p := house(modules+`      - {address: 23, label: BUTTON, place: hall, cable_m: 1, input_module: {input: release, end_of_line_ohm: 4700}}`, when)
		p.equipment = strings.Replace(gas, "release: {}", "release: {countdown: 0s}", 1)
		return p
	}
	paused := func(while string) part {
		p := house(modules, "zone('hall').detectors_in_fire >= 1 && zone('loft').detectors_in_fire >= 1")
		p.program = strings.Replace(p.program, "    - {causes: [hold], effects: [hold], state: \"on\"}", "", 1)
		p.program = strings.Replace(p.program, `effects: [gas], state: "on"`, `effects: [gas], state: "on", after: 20s, pause_while: "`+while+`"`, 1)
		return p
	}
	unnamed := func(drives, when, more string) part {
		p := house(modules, when)
		p.equipment = "  - {equipment: bottles, generic: {}}"
		p.devices = strings.Replace(modules, "{drives: {equipment: gas, input: release}}", "{drives: "+drives+"}", 1)
		p.devices = strings.Replace(p.devices, "{drives: \"\"}", "{}", 1)
		p.devices = strings.Replace(p.devices, "{drives: {equipment: gas, input: hold-off}}", "{}", 1)
		p.program = strings.Replace(p.program, `effects: [gas], state: "on"`, "effects: [gas], state: release"+strings.ReplaceAll(more, `\"`, `"`), 1)
		return p
	}
	cross := "zone('hall').detectors_in_fire >= 1 && zone('loft').detectors_in_fire >= 1"
	judge(t, []judgement{
		{"cross-zoned", "", house(modules, cross), "", ""},
		{"one detector, which its zone does not believe alone", "a zone may confirm", func() part {
			p := house(modules, "device('HALL-SD').fire")
			p.program = strings.Replace(p.program, "program:\n", "program:\n  detection: [{zone: hall, confirm: other-zone}]\n", 1)
			return p
		}(), "", ""},
		{"by hand at once", "the release by hand acts at once", byHand("device('BUTTON').active"), "", ""},
		{"by hand at once, and by detectors too", "guide specifications: 20 s to 30 s", byHand("device('BUTTON').active || zone('hall').detectors_in_fire >= 1 && zone('loft').detectors_in_fire >= 1"),
			"warning release.countdown-short program.actions[2]", ""},
		{"one detector", "two zones confirm", house(modules, "device('HALL-SD').fire"), "warning release.by-one-signal loops[0].devices[0]", ""},
		{"a countdown of 10 s", "guide specifications: 20 s to 30 s", func() part {
			p := house(modules, cross)
			p.equipment = strings.Replace(gas, "release: {}", "release: {countdown: 10s}", 1)
			return p
		}(), "warning release.countdown-short program.actions[2]", ""},
		{"a countdown of 10 s, and 10 s before it", "", func() part {
			p := house(modules, cross)
			p.equipment = strings.Replace(gas, "release: {}", "release: {countdown: 10s}", 1)
			p.program = strings.Replace(p.program, `effects: [gas], state: "on"`, `effects: [gas], state: "on", after: 10s`, 1)
			return p
		}(), "", ""},
		{"the hold-off follows from a fire, not from its button", "abort within reach", func() part {
			p := house(modules, cross)
			p.program = strings.Replace(p.program, "device('HOLD-BUTTON').active", "panel.fire", 1)
			return p
		}(), "warning release.no-hold-off equipment[1]", "no output that the button operates"},
		{"the delay stands still unless the button is pressed", "abort within reach: pressing holds (guide specifications for CO2: pause and resume)", paused("!device('HOLD-BUTTON').active"), "warning release.no-hold-off equipment[1]", ""},
		{"the delay stands still while it is", "", paused("device('HOLD-BUTTON').active"), "", ""},
		{"the cause goes with the button", "", func() part {
			p := house(modules, cross+" && !device('HOLD-BUTTON').active")
			p.program = strings.Replace(p.program, "    - {causes: [hold], effects: [hold], state: \"on\"}", "", 1)
			return p
		}(), "", ""},
		{"only the program says that it releases, at once and by one detector", "guide specifications for CO2: two zones, 20 s to 30 s, abort within reach", unnamed(`""`, "device('HALL-SD').fire", ""),
			"warning release.no-hold-off loops[0].devices[7]\nwarning release.countdown-short program.actions[2]\nwarning release.by-one-signal loops[0].devices[0]", `nothing can hold "RELEASE" back`},
		{"the same, of something", "likewise", unnamed("{equipment: bottles, input: operate}", "device('HALL-SD').fire", ", after: 20s"),
			"warning release.no-hold-off loops[0].devices[7]\nwarning release.by-one-signal loops[0].devices[0]", ""},
		{"cross-zoned, with a delay that the button stops", "", unnamed("{equipment: bottles, input: operate}", cross, `, after: 20s, pause_while: \"device('HOLD-BUTTON').active\"`), "", ""},
		{"no button", "abort within reach", house(strings.Replace(modules, "input: hold-off, end", "input: technical, end", 1), cross), "warning release.no-hold-off equipment[1]", ""},
	})
}

// Modes: what waits for people who are not there at night.
func TestNight(t *testing.T) {
	investigate := func(given string) string {
		return strings.Replace(program("", "", ""), "program:\n", "program:\n  detection: [{zone: hall, investigate: {"+given+"}}]\n", 1)
	}
	judge(t, []judgement{
		{"always", "common practice: by day only", part{program: investigate("")}, "warning program.investigation-at-night program.detection[0].investigate", "with night"},
		{"by day", "", part{program: investigate(`given: "panel.mode == 'day'"`)}, "", ""},
		{"by a key", "", part{program: investigate(`given: "control('key').on"`)}, "warning program.investigation-at-night program.detection[0].investigate", `with night and "key" on`},
		{"by a key, by day", "", part{program: investigate(`given: "control('key').on && panel.mode != 'night'"`)}, "", ""},
		{"delayed at night, at once by day", "common practice: delays by day only", part{program: strings.Replace(program("", "", `    - {causes: [hall], effects: [hall-s], state: evacuate, unless: "panel.mode == 'night'"}
    - {causes: [hall], effects: [hall-s], state: alert}
    - {causes: [hall], effects: [hall-s], state: evacuate, after: 2m}
    - {causes: [loft], effects: [loft-s], state: evacuate}`), "    - {causes: [any], effects: [hall-s, loft-s], state: evacuate}\n", "", 1)}, "warning program.later-at-night loops[0].devices[0]", "after 2m0s at night"},
		{"delayed by day", "", part{program: strings.Replace(program("", "", `    - {causes: [hall], effects: [hall-s], state: evacuate, unless: "panel.mode == 'day'"}
    - {causes: [hall], effects: [hall-s], state: alert}
    - {causes: [hall], effects: [hall-s], state: evacuate, after: 2m}
    - {causes: [loft], effects: [loft-s], state: evacuate}`), "    - {causes: [any], effects: [hall-s, loft-s], state: evacuate}\n", "", 1)}, "", ""},
		{"the weekend is forgotten", "", part{panel: `panel: {calendar: [{days: [mon, tue, wed, thu, fri], at: 7h, mode: day}, {days: [mon, tue, wed, thu], at: 19h, mode: night}]}`},
			"warning panel.calendar-day-at-night panel.calendar", "Saturday, Sunday"},
		{"every evening", "", part{panel: `panel: {calendar: [{days: [mon, tue, wed, thu, fri], at: 7h, mode: day}, {days: [mon, tue, wed, thu, fri], at: 19h, mode: night}]}`}, "", ""},
	})
}

// The receiving centre has an alarm within 90 s (NFPA 72 26.6.3); the dialler's receipt takes 20 s (common practice).
func TestDialler(t *testing.T) {
	told := func(after string) part {
		return part{equipment: "  - {equipment: dialler, dialler: {}}", devices: `      - {address: 10, label: DIALLER, place: hall, cable_m: 5, relay_module: {drives: {equipment: dialler, input: alarm}}}`,
			program: program("", "    - {effect: dialler, outputs: [DIALLER]}", `    - {causes: [any], effects: [dialler], state: "on"`+after+`}`)}
	}
	judge(t, []judgement{
		{"at once", "", told(""), "", ""},
		{"70 s late", "", told(", after: 70s"), "", ""},
		{"71 s late", "NFPA 72 26.6.3: 90 s", told(", after: 71s"), "warning dialler.late loops[0].devices[0]", `"HALL-SD", "HALL-CP"`},
	})
}

// Phased evacuation floor by floor (common practice).
func TestPhasing(t *testing.T) {
	phased := func(floors, places, devices, equipment string) part {
		return part{zones: ", {zone: store}", places: places, devices: devices, equipment: equipment, program: `program:
  causes:
    - {cause: hall, when: "zone('hall').fire"}
    - {cause: loft, when: "zone('loft').fire"}
    - {cause: any, when: "panel.fire"}
  effects:
    - {effect: hall-s, outputs: [HALL-S], silenceable: true}
    - {effect: loft-s, outputs: [LOFT-S], silenceable: true}
    - {effect: bms, outputs: [BMS]}
  phasings: [{phasing: house, step_time: 2m, floors: [` + floors + `]}]
  actions: [{causes: [any], effects: [bms], state: "on"}]
`}
	}
	const g, one = "{floor: G, cause: hall, effect: hall-s}", `{floor: "1", cause: loft, effect: loft-s}`
	cellar := `      - {address: 10, label: CELLAR-SD, place: store, zone: hall, cable_m: 5, smoke_detector: {}}`
	judge(t, []judgement{
		{"both floors", "", phased(g+", "+one, "", "", ""), "", ""},
		{"a floor whose fires begin nothing", "common practice", phased(g+", "+one, "  - {place: store, floor: B}", strings.Replace(cellar, "zone: hall", "zone: store", 1), ""),
			"warning phasing.floor-missing program.phasings[0].floors", "detectors: B"},
		{"a floor between is left out", "common practice", phased(g+", "+strings.Replace(one, "floor: \"1\"", "floor: \"2\"", 1), "  - {place: top, floor: \"2\"}", "", `  - {equipment: lift, lift: {floors: [G, "1", "2"], recall_floor: G}}`),
			"warning phasing.floor-missing program.phasings[0].floors", "detectors: 1"},
		{"out of order", "the lift's floors", phased(one+", "+g, "", "", `  - {equipment: lift, lift: {floors: [G, "1"], recall_floor: G}}`), "warning phasing.order program.phasings[0].floors", "floor G out of order"},
		{"the loft burns, and the hall leaves first", "the floor that burns goes first", phased(`{floor: G, cause: loft, effect: hall-s}, {floor: "1", cause: hall, effect: loft-s}`, "", "", ""),
			"warning phasing.own-floor-waits program.phasings[0].floors[0].cause\nwarning phasing.wrong-cause program.phasings[0].floors[1].cause", ""},
		{"the same, and neighbours go together", "the floor that burns and its neighbours go first", func() part {
			p := phased(`{floor: G, cause: loft, effect: hall-s}, {floor: "1", cause: hall, effect: loft-s}`, "", "", "")
			p.program = strings.Replace(p.program, "step_time: 2m", "step_time: 2m, together: [above, below]", 1)
			return p
		}(), "warning phasing.wrong-cause program.phasings[0].floors[0].cause\nwarning phasing.wrong-cause program.phasings[0].floors[1].cause", "begins the phase of floor 1"},
		{"numbers out of order", "common practice: 1, 3, 2 is no order of floors", func() part {
			p := phased(g+", "+one+`, {floor: "3", cause: top, effect: top-s}, {floor: "2", cause: store, effect: store-s}`, "  - {place: store, floor: \"2\"}\n  - {place: top, floor: \"3\"}",
				strings.Replace(cellar, "zone: hall", "zone: store", 1)+"\n      - {address: 11, label: STORE-S, place: store, cable_m: 5, loop_sounder: {}}\n      - {address: 12, label: TOP-S, place: top, cable_m: 5, loop_sounder: {}}", "")
			p.program = strings.Replace(p.program, "  effects:\n", "    - {cause: store, when: \"zone('store').fire\"}\n    - {cause: top, when: \"zone('store').fire || zone('hall').fire\"}\n  effects:\n    - {effect: store-s, outputs: [STORE-S]}\n    - {effect: top-s, outputs: [TOP-S]}\n", 1)
			return p
		}(), "warning phasing.order program.phasings[0].floors", "floor 2 out of order"},
	})
}

// Signals that nothing follows from, and `and` where `or` is meant.
func TestSignals(t *testing.T) {
	only := func(when string) part {
		p := part{program: program(`    - {cause: both, when: "`+when+`"}`, `    - {effect: both, outputs: [BMS]}`, `    - {causes: [both], effects: [both], state: "on"}`)}
		p.program = strings.Replace(p.program, `    - {causes: [any], effects: [bms], state: "on"}`+"\n", "", 1)
		return p
	}
	judge(t, []judgement{
		{"and where or is meant", "truth table: no single device makes it true", only("device('HALL-SD').fire && device('LOFT-SD').fire"), "warning program.coincidence-only program.causes[3].when", `"HALL-SD" in fire and "LOFT-SD" in fire`},
		{"or", "", only("device('HALL-SD').fire || device('LOFT-SD').fire"), "", ""},
		{"counted on purpose", "", only("at_least(2, [device('HALL-SD').fire, device('LOFT-SD').fire])"), "", ""},
		{"and not by night", "", only("device('HALL-SD').fire && panel.mode == 'day'"), "", ""},
		{"nothing follows", "", part{zones: ", {zone: shed}", devices: `      - {address: 10, label: SHED-SD, place: hall, zone: shed, cable_m: 5, smoke_detector: {}}`,
			program: strings.Replace(program("", "", ""), `"panel.fire"`, `"zone('hall').fire || zone('loft').fire"`, 1)}, "warning program.signal-without-effect loops[0].devices[7]", `"SHED-SD"`},
		{"a signal that only inhibits", "", part{zones: ", {zone: shed}", devices: `      - {address: 10, label: SHED-SD, place: hall, zone: shed, cable_m: 5, smoke_detector: {}}`,
			program: strings.Replace(program("", "", ""), `"panel.fire"`, `"(zone('hall').fire || zone('loft').fire) && !zone('shed').fire"`, 1)}, "warning program.signal-without-effect loops[0].devices[7]", `"SHED-SD"`},
		{"no row asks", "every input is verified against the matrix", part{matrix: "cause,when,given,HALL-S,LOFT-S,BMS\nhall,place('hall').fire,,evacuate,evacuate,on\n"}, "warning matrix.signal-without-row loops[0].devices[3]", `"LOFT-SD", "LOFT-CP"`},
		{"rows for all", "", part{matrix: "cause,when,given,HALL-S,LOFT-S,BMS\nany,panel.fire,,evacuate,evacuate,on\n"}, "", ""},
	})
}

// The response: n readings of a round of P take n x P at worst; 4 s and three readings fail 10 s (NFPA 72 10.11.1), and
// 3 s and three readings pass (worst latency to the decision 9 s); a call point has 3 s (BS 5839-1).
func TestResponse(t *testing.T) {
	line := func(slot string, readings string) string {
		return "    line: {poll_slot: " + slot + ", alarm_readings: " + readings + "}"
	}
	judge(t, []judgement{
		{"a round of 7 x 570 ms, three readings", "3 x 4 s is 12 s", part{loop: line("570ms", "3")}, "error response.over-target loops[0].devices[0]", "the target is 10 s"},
		{"a round of 7 x 300 ms, three readings", "3 x 2.1 s", part{loop: line("300ms", "3")}, "", ""},
		{"a call point, a round of 7 x 430 ms", "BS 5839-1: 3 s", part{rules: "{packs: [bs5839-1]}", loop: line("430ms", "1")}, "error response.over-target loops[0].devices[1]", "the target is 3 s"},
		{"a target of the file above the rules'", "NFPA 72 10.11.1: 10 s", part{panel: "targets: {detector: 60s}"}, "warning targets.above-limit targets.detector", "the limit is 10s"},
		{"the same, agreed", "", part{rules: "{packs: [nfpa72], limits: [{limit: detector_target_s, value: 60}]}", panel: "targets: {detector: 60s}"}, "", ""},
		{"a call point, a round of 7 x 250 ms", "BS 5839-1: 3 s", part{rules: "{packs: [bs5839-1]}", loop: line("250ms", "1")}, "", ""},
	})
}
