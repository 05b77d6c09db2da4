package check_test

import (
	"fmt"
	"strings"
	"testing"
)

// relay is a line of the house: a relay that drives an input of equipment.
func relay(address int, label, equipment, input string) string {
	return fmt.Sprintf("      - {address: %d, label: %s, place: hall, cable_m: 1, relay_module: {drives: {equipment: %s, input: %s}}}\n", address, label, equipment, input)
}

// at replaces a line of the house's program.
func (p part) at(old, replacement string) part {
	if !strings.Contains(p.program, old) {
		panic("the house has no " + old)
	}
	p.program = strings.Replace(p.program, old, replacement, 1)
	return p
}

const (
	everywhere = "    - {causes: [any], effects: [hall-s, loft-s], state: evacuate}\n"
	noDuct     = `"zone('hall').fire || zone('loft').fire"`
)

// Lifts: mistakes that no single detector shows, or that names hide. Beside each stands the same put right.
func TestLiftsInOtherShapes(t *testing.T) {
	const (
		places = "  - {place: lobby, floor: G, area_m2: 20, use: lift-lobby}\n  - {place: lobby-1, floor: \"1\", area_m2: 20, use: lift-lobby}\n"
		sets   = "    - {effect: main, outputs: [MAIN], until: reset, one_of: landing}\n    - {effect: alternate, outputs: [ALTERNATE], until: reset, one_of: landing}\n"
		causes = "    - {cause: upper, when: \"device('UP').fire\"}\n"
	)
	house := func(more, lobby, effects, actions string) part {
		return part{equipment: "  - {equipment: lift, lift: {floors: [G, \"1\", \"2\"], recall_floor: G, alternate_floor: \"1\"}}\n", places: places,
			devices: relay(30, "MAIN", "lift", "recall") + relay(31, "ALTERNATE", "lift", "alternate") + relay(32, "OFF", "lift", "power-off") + `      - {address: 40, label: LOBBY-1, place: lobby, zone: hall, groups: [lobby], cable_m: 1, smoke_detector: {}}
      - {address: 41, label: LOBBY-2, place: lobby, zone: hall, groups: [lobby], cable_m: 1, smoke_detector: {}}
      - {address: 42, label: UP, place: lobby-1, zone: loft, cable_m: 1, smoke_detector: {}}
`, program: program(causes+"    - {cause: lobby, when: \""+lobby+"\"}\n"+more, sets+effects, actions)}
	}
	const one, two = "group('lobby').fire", "group('lobby').detectors_in_fire >= 2"
	right := "    - {causes: [upper], effects: [main], state: \"on\"}\n    - {causes: [lobby], effects: [alternate], state: \"on\"}\n"
	renamed := house("", one, "", right)
	renamed.places += "  - {place: annex, floor: Ground, use: lift-lobby}\n"
	other := renamed
	other.places = strings.Replace(renamed.places, "Ground, use: lift-lobby", "Ground, use: lift-lobby, serves: [hoist]", 1)
	other.equipment += "  - {equipment: hoist, lift: {floors: [Ground, \"3\"], recall_floor: Ground, alternate_floor: \"3\"}}\n"
	hand := "    - {cause: hand, when: \"device('HALL-CP').fire\"}\n"
	off := "    - {effect: off, outputs: [OFF]}\n"
	judge(t, []judgement{
		{"each lobby to the other landing", "", house("", one, "", right), "", ""},
		{"two detectors of the lobby send it to their own floor", "ASME A17.1 2.27.3.2: the alternate landing", house("", two, "", "    - {causes: [upper, lobby], effects: [main], state: \"on\"}\n"),
			"error lift.to-fire-floor loops[0].devices[10]", `"lift" is sent to the floor that burns, G, by "LOBBY-1", "LOBBY-2"`},
		{"two detectors of the lobby send it to the alternate", "", house("", two, "", right), "", ""},
		{"two detectors that are in no lobby recall it", "ASME A17.1 2.27: lobbies, shafts and machine rooms", func() part {
			p := house("    - {cause: two, when: \"group('pair').detectors_in_fire >= 2\"}\n", one, "", right+"    - {causes: [two], effects: [main], state: \"on\"}\n")
			for _, a := range []string{"50", "51"} {
				p.devices += "      - {address: " + a + ", label: PAIR-" + a + ", place: loft, zone: loft, groups: [pair], cable_m: 1, smoke_detector: {}}\n"
			}
			return p
		}(), "error lift.recalled-from-elsewhere loops[0].devices[3]", `"PAIR-50"`},
		{"a lobby on a floor that no lift knows", "a rule about landings needs one name for a floor", renamed, "warning place.lobby-without-stop places[4].floor", `"lift" stops at G, 1, 2`},
		{"the lobby of another lift, which stops there", "", other, "", ""},
		{"a call point takes the power away", "NFPA 72 21.4: heat beside sprinklers", house(hand, one, off, right+"    - {causes: [hand], effects: [off], state: \"on\"}\n"),
			"error lift.power-off-without-heat loops[0].devices[1]", `"HALL-CP"`},
	})
}

// Silence must leave plant alone (NFPA 72 10.12.2 says what silence is for), whatever stands between it and the plant.
func TestSilenceInOtherShapes(t *testing.T) {
	house := func(causes, more string) part {
		return part{equipment: "  - {equipment: doors, deenergise_to_operate: [hold], door_holder: {}}\n", devices: strings.Replace(relay(20, "DOORS", "doors", "hold"), "{drives", "{contact: {at_rest: closed, on_loop_loss: operates}, drives", 1),
			program: program(causes, "    - {effect: doors, outputs: [DOORS]}\n", "    - {causes: [which], effects: [doors], state: \"on\""+more+"}\n")}
	}
	sounding := "    - {cause: which, when: \"output('HALL-S').commanded == 'evacuate'\"}\n"
	burning := "    - {cause: which, when: \"zone('hall').fire || zone('loft').fire\"}\n"
	stopped := []judgement{
		{"the doors hang on a sounder", "NFPA 72 10.12.2", house(sounding, ""), "error program.silence-stops-plant program.effects[3]", `silence puts it to rest, which drives "doors"`},
		{"silence cancels their delay", "NFPA 72 10.12.2", house(burning, `, after: 20s, cancel_when: "panel.silenced"`), "error program.silence-stops-plant program.effects[3]", `drives "doors"`},
		{"and keeps it from running", "NFPA 72 10.12.2", house(burning, `, after: 20s, pause_while: "panel.silenced"`), "error program.silence-stops-plant program.effects[3]", ""},
	}
	judge(t, append(stopped, []judgement{
		{"they are held again once somebody acknowledges", "common practice: acknowledging quietens the buzzer", house(strings.Replace(burning, "zone('loft').fire", "zone('loft').fire && !panel.acknowledged", 1), ""),
			"error program.acknowledge-stops-plant program.effects[3]", `an acknowledgement puts it to rest`},
		{"the doors hang on the fire", "", house(burning, ""), "", ""},
		{"after a delay", "", house(burning, ", after: 20s"), "", ""},
		{"they hang on a sounder, until reset", "what is held until reset outlasts silence", house(sounding, "").at("outputs: [DOORS]", "outputs: [DOORS], until: reset"), "", ""},
	}...))
}

// Fans and dampers in time, and a switch above them.
func TestAirInOtherShapes(t *testing.T) {
	const effects = "    - {effect: start, outputs: [START]}\n    - {effect: stop, outputs: [STOP]}\n    - {effect: open, outputs: [OPEN]}\n    - {effect: close, outputs: [CLOSE]}\n"
	house := func(fan, atRest, causes, actions string) part {
		return part{equipment: "  - {equipment: fan, place: hall, fan: {" + fan + "}}\n  - {equipment: damper, place: hall, damper: {travel: 15s, at_rest: " + atRest + "}}\n",
			devices: relay(20, "START", "fan", "start") + relay(21, "STOP", "fan", "stop") + relay(22, "OPEN", "damper", "open") + relay(23, "CLOSE", "damper", "close"),
			program: program(causes, effects, actions)}
	}
	const runs = "runs_at_rest: true"
	duct := func(more string) part {
		p := house(runs, "open", "    - {cause: duct, when: \"zone('duct').fire\"}\n", "    - {causes: [duct], effects: [stop], state: \"on\""+more+"}\n").at(`"panel.fire"`, noDuct)
		p.places, p.zones = "  - {place: duct, floor: G, use: duct, serves: [fan]}\n", ", {zone: duct}"
		p.devices += "      - {address: 40, label: DUCT-SD, place: duct, zone: duct, cable_m: 1, smoke_detector: {}}\n"
		return p
	}
	switched := func(more, unless string) part {
		p := house("", "open", "", "    - {causes: [any], effects: [stop], state: \"on\""+unless+"}\n")
		p.program += "\n  overrides: [{override: air, effects: [start]" + more + "}]\n"
		return p
	}
	only := "    - {cause: only, when: \"zone('hall').fire && !zone('loft').fire\"}\n"
	oneThenOther := "    - {causes: [only], effects: [start], state: \"on\"}\n    - {causes: [loft], effects: [stop], state: \"on\"}\n"
	judge(t, []judgement{
		{"its duct stops the fan at once", "", duct(""), "", ""},
		{"its duct stops the fan after the 10 s of an emergency control", "NFPA 72 10.11.1: 10 s; NFPA 90A", duct(", after: 11s"), "error duct.fan-not-stopped loops[0].devices[11]", "at once"},

		{"the damper shuts on a fan that stops after 5 min", "IBC 909.17: an order that damages nothing", house(runs, "open", "", "    - {causes: [any], effects: [close], state: \"on\"}\n    - {causes: [any], effects: [stop], state: \"on\", after: 300s}\n"),
			"warning fan.shut-in loops[0].devices[0]", "runs on"},
		{"the fan stops while the damper shuts", "", house(runs, "open", "", "    - {causes: [any], effects: [close], state: \"on\"}\n    - {causes: [any], effects: [stop], state: \"on\", after: 15s}\n"), "", ""},
		{"the damper is opened for 20 s, and the fan runs on", "IBC 909.17", house("", "closed", "", "    - {causes: [any], effects: [open], state: \"on\", for: 20s}\n    - {causes: [any], effects: [start], state: \"on\", after: 15s}\n"),
			"warning fan.against-shut-damper loops[0].devices[0]", "let shut again"},
		{"the damper is shut on a fan that was started", "IBC 909.17", house("", "open", "", "    - {causes: [any], effects: [start], state: \"on\"}\n    - {causes: [any], effects: [close], state: \"on\", after: 60s}\n"),
			"warning fan.against-shut-damper loops[0].devices[0]", "shut while the fan runs"},
		{"the damper is shut after a fan that ran for a minute", "", house("", "open", "", "    - {causes: [any], effects: [start], state: \"on\", for: 60s}\n    - {causes: [any], effects: [close], state: \"on\", after: 60s}\n"), "", ""},

		{"a fire stops the fan that a switch starts", "common practice: the switch has the last word", switched("", ""), "warning plant.switch-left-out program.overrides[0]", `"STOP" may tell it to stop`},
		{"the switch opposes it", "", switched(", opposes: [stop]", ""), "", ""},
		{"the action asks the switch", "", switched("", `, unless: "override('air').position == 'on'"`), "", ""},

		{"a start held until reset, and a later stop", "common practice: one configuration at a time", house("", "open", only, oneThenOther).at("outputs: [START]", "outputs: [START], until: reset"),
			"warning plant.opposed equipment[1]", `"HALL-SD" asks for the one, and after it "LOFT-SD"`},
		{"a start held by a long off-delay, and a later stop", "common practice", house("", "open", only, strings.Replace(oneThenOther, `state: "on"}`, `state: "on", hold: 600s}`, 1)), "warning plant.opposed equipment[1]", ""},
		{"a start that ends with the second fire", "", house("", "open", only, oneThenOther), "", ""},
	})
}

// Two contacts in series hold a door of category A (BS 7273-4: it is let go under a short too).
func TestSeries(t *testing.T) {
	contact := func(address int, label string) string {
		return strings.Replace(relay(address, label, "doors", "hold"), "{drives", "{contact: {at_rest: closed, on_loop_loss: operates}, drives", 1)
	}
	house := func(category, second string) part {
		return part{equipment: "  - {equipment: doors, deenergise_to_operate: [hold], door_holder: {category: " + category + "}}\n", devices: contact(20, "FIRST") + contact(21, "SECOND"),
			program: program("", "    - {effect: first, outputs: [FIRST]}\n    - {effect: second, outputs: [SECOND]}\n", "    - {causes: [any], effects: [first], state: \"on\"}\n    - {causes: ["+second+"], effects: [second], state: \"on\"}\n")}
	}
	judge(t, []judgement{
		{"both open", "", house("a", "any"), "", ""},
		{"the second opens for the loft alone", "BS 7273-4, category A", house("a", "loft"), "warning contact.short-holds loops[0].devices[8]", `"SECOND" stays closed, so that a short of another wire holds "doors": "HALL-SD", "HALL-CP"`},
		{"the same, category b", "BS 7273-4, category B", house("b", "loft"), "", ""},
	})
}

// Locked ways out are free no later than people are told to go, and until somebody resets (NFPA 72 chapter 21).
func TestLocks(t *testing.T) {
	house := func(place, actions string) part {
		return part{equipment: "  - {equipment: lock, deenergise_to_operate: [hold]" + place + ", door_lock: {}}\n", devices: strings.Replace(relay(20, "LOCK", "lock", "hold"), "{drives", "{contact: {at_rest: closed, on_loop_loss: operates}, drives", 1),
			program: program("", "    - {effect: lock, outputs: [LOCK]}\n", actions)}
	}
	const there = ", place: loft"
	phased := func(lock string) part {
		return house(there, "    - {causes: [hall], effects: [lock], state: \"on\", after: "+lock+"}\n").at(everywhere, "    - {causes: [any], effects: [hall-s], state: evacuate}\n    - {causes: [loft], effects: [loft-s], state: evacuate}\n    - {causes: [hall], effects: [loft-s], state: alert}\n    - {causes: [hall], effects: [loft-s], state: evacuate, after: 60s}\n")
	}
	judge(t, []judgement{
		{"at once", "", house(there, "    - {causes: [any], effects: [lock], state: \"on\"}\n"), "", ""},
		{"a minute after the sounders", "NFPA 72 chapter 21", house(there, "    - {causes: [any], effects: [lock], state: \"on\", after: 60s}\n"), "error lock.later-than-sounders equipment[1]", `"HALL-SD"`},
		{"the same, nobody knows where", "", house("", "    - {causes: [any], effects: [lock], state: \"on\", after: 60s}\n"), "", ""},
		{"with the phase of its floor", "", phased("60s"), "", ""},
		{"after the phase of its floor", "NFPA 72 chapter 21", phased("61s"), "error lock.later-than-sounders equipment[1]", `"HALL-SD", "HALL-CP"`},
		{"free for a while", "NFPA 72 chapter 21", house(there, "    - {causes: [any], effects: [lock], state: \"on\", for: 30s}\n"), "error lock.locks-again equipment[1]", `"LOFT-SD"`},
		{"free for a while, but held until reset", "", house(there, "    - {causes: [any], effects: [lock], state: \"on\", for: 30s}\n").at("outputs: [LOCK]", "outputs: [LOCK], until: reset"), "", ""},
	})
}

// Call points: whoever presses one hears it where he is (BS 5839-1: 3 s to the sounder of its own area).
func TestOwnArea(t *testing.T) {
	house := func(actions string) part {
		return part{rules: "{packs: [bs5839-1]}", program: program("", "", "")}.at(everywhere, actions)
	}
	loft := "    - {causes: [loft], effects: [hall-s, loft-s], state: evacuate}\n"
	judge(t, []judgement{
		{"its own area alone", "", house("    - {causes: [hall], effects: [hall-s], state: evacuate}\n" + loft), "", ""},
		{"its own area waits", "BS 5839-1: 3 s", house("    - {causes: [hall], effects: [hall-s], state: evacuate, after: 60s}\n    - {causes: [hall], effects: [loft-s], state: evacuate}\n" + loft),
			"warning program.call-point-unheard loops[0].devices[1]", `"HALL-CP"`},
		{"its own area is exchanged for another", "BS 5839-1", house("    - {causes: [hall], effects: [loft-s], state: evacuate}\n    - {causes: [loft], effects: [hall-s], state: evacuate}\n"),
			"warning program.call-point-unheard loops[0].devices[1]", `"HALL-CP", "LOFT-CP"`},
		{"its own area is alerted, and evacuates later", "", house("    - {causes: [hall], effects: [hall-s], state: alert}\n    - {causes: [hall], effects: [hall-s], state: evacuate, after: 60s}\n" + loft), "", ""},
	})
}

// Extinguishing by other means, and what is coincidence or a stray by other means.
func TestSignalsInOtherShapes(t *testing.T) {
	const cross = "zone('hall').detectors_in_fire >= 1 && zone('loft').detectors_in_fire >= 1"
	agent := func(kind, drives, when, state, more string) part {
		hold := relay(21, "HOLD", "agent", "hold-off")
		if kind != "release" {
			hold = "      - {address: 21, label: HOLD, place: hall, cable_m: 1, relay_module: {drives: {equipment: bms, input: point}}}\n"
		}
		return part{equipment: "  - {equipment: agent, " + kind + ": {}}\n", devices: relay(20, "AGENT", "agent", drives) + hold + `      - {address: 22, label: BUTTON, place: hall, cable_m: 1, input_module: {input: hold-off, end_of_line_ohm: 4700}}
      - {address: 23, label: TECHNICAL, place: hall, cable_m: 1, input_module: {input: technical, end_of_line_ohm: 4700}}
      - {address: 24, label: BY-HAND, place: hall, cable_m: 1, input_module: {input: release, end_of_line_ohm: 4700}}
`, program: program("    - {cause: agent, when: \""+when+"\"}\n    - {cause: button, when: \"device('BUTTON').active\"}\n", "    - {effect: agent, outputs: [AGENT]}\n    - {effect: hold, outputs: [HOLD]}\n",
			"    - {causes: [agent], effects: [agent], state: "+state+", after: 20s, pause_while: \"device('BUTTON').active\"}\n    - {causes: [button], effects: [hold], state: \"on\"}\n") + more}
	}
	const ruled = "\n  overrides: [{override: valve, effects: [agent]}]\n"
	guarded := func(when string) part {
		return part{program: program("", "", "")}.at(everywhere, "    - {causes: [any], effects: [loft-s], state: evacuate}\n    - {causes: ["+when+", unless: \"!zone('loft').fire\"}\n")
	}
	stray := func(zones ...string) part {
		p := part{zones: ", {zone: foyer}", places: "  - {place: foyer, floor: G, area_m2: 50}\n"}
		for i, z := range zones {
			place := "hall"
			if i >= 3 {
				place = "foyer"
			}
			p.devices += fmt.Sprintf("      - {address: %d, label: D-%d, place: %s, zone: %s, cable_m: 1, smoke_detector: {}}\n", 50+i, i, place, z)
		}
		return p
	}
	judge(t, []judgement{
		{"a valve that the program releases, by one detector", "guide specifications for CO2: two zones", agent("valve", "close", "device('HALL-SD').fire", "release", ""), "warning release.by-one-signal loops[0].devices[0]", `"AGENT"`},
		{"the same cross-zoned", "", agent("valve", "close", cross, "release", ""), "", ""},
		{"a valve that shuts is no release", "", agent("valve", "close", "device('HALL-SD').fire", `"on"`, ""), "", ""},
		{"a technical input releases", "guide specifications for CO2: two zones, or by hand", agent("release", "release", "device('TECHNICAL').active", `"on"`, ""), "warning release.by-one-signal loops[0].devices[10]", "`input: release`"},
		{"the manual release does", "", agent("release", "release", "device('BY-HAND').active", `"on"`, ""), "", ""},
		{"a switch above a release that is told `on`", "guide specifications for CO2: delay and hold-off", agent("release", "release", cross, `"on"`, ruled), "warning program.switched-release program.overrides[0]", `rules the release "agent"`},

		{"a coincidence through unless", "common practice: each detector alone is enough", guarded("hall], effects: [hall-s], state: evacuate"), "warning program.coincidence-only program.actions[1].unless", `"HALL-S"`},
		{"the same, beside an action that each detector operates", "", guarded("hall], effects: [loft-s], state: alert").at("    - {causes: [any], effects: [loft-s], state: evacuate}\n", "    - {causes: [any], effects: [hall-s, loft-s], state: alert}\n").at("[hall], effects: [loft-s], state: alert", "[hall], effects: [loft-s], state: evacuate"), "", ""},

		{"one detector of the hall in the zone of the foyer", "common practice: a zone tells where to search", stray("hall", "hall", "foyer", "foyer", "foyer"), "warning zone.stray-detector loops[0].devices[9].zone", `"D-2" is the only detector of "hall" in zone "foyer"`},
		{"half of the hall in it", "a place may be divided", stray("hall", "foyer", "foyer", "foyer", "foyer"), "", ""},
		{"a zone of one place's own", "", stray("hall", "hall", "foyer"), "", ""},
	})
}
