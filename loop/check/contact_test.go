package check

import (
	"strings"
	"testing"
)

// What is found about contacts and what hangs on them.
func TestContacts(t *testing.T) {
	const (
		proof = `devices: {address: 8 label: "P" cable_m: 1 input_module: {input: "technical" proves: {equipment: "e" signal: `
		at    = "loops[0].devices[0].relay_module.contact"
	)
	equipment := func(text string) string { return `equipment: {equipment: "e" ` + text + `}` }
	relay := func(contact, input string) string {
		return `devices: {address: 1 label: "R" cable_m: 1 relay_module: {contact: {` + contact + `} drives: {equipment: "e" input: "` + input + `"}}} `
	}
	fan := func(more string) plan {
		return plan{more: equipment(`fan: {` + more + `}`), devices: relay(`at_rest: "open" on_loop_loss: "stays" volts_v: 30 amps_a: 2`, "start") + proof + `"running"}}}`}
	}
	door := func(loss, more string) plan {
		return plan{more: equipment(`deenergise_to_operate: "hold" door_holder: {` + more + `}`), devices: relay(`at_rest: "closed" on_loop_loss: "`+loss+`" volts_v: 30 amps_a: 2`, "hold")}
	}
	twice := func(more string) plan {
		p := door("operates", more)
		p.devices += strings.NewReplacer(`address: 1 label: "R"`, `address: 2 label: "R2"`).Replace(relay(`at_rest: "closed" on_loop_loss: "operates" volts_v: 30 amps_a: 2`, "hold"))
		return p
	}
	lift := func(main, alternate string) plan {
		return plan{more: equipment(`deenergise_to_operate: "recall" deenergise_to_operate: "alternate" lift: {floors: "G" floors: "1" recall_floor: "G" alternate_floor: "1"}`),
			devices: relay(`at_rest: "closed" on_loop_loss: "`+main+`"`, "recall") +
				`devices: {address: 2 label: "A" cable_m: 1 relay_module: {contact: {at_rest: "closed" on_loop_loss: "` + alternate + `"} drives: {equipment: "e" input: "alternate"}}}`}
	}
	for _, c := range []struct {
		name, source string
		plan         plan
		want         string
	}{
		{"a relay coil of 120 mA with its diode", "", fan(`coil_ma: 120 coil_diode: true`), ""},
		{"no diode", "common practice", fan(`coil_ma: 120`), "warning contact.no-diode " + at},
		{"a contactor of 600 mA", "common practice; NFPA 72 21.2", fan(`coil_ma: 600 coil_diode: true`), "error contact.drives-contactor " + at},
		// 0.4 of 2 A for a d.c. coil.
		{"801 mA of 800 mA, of a contactor: one cause", "2 A x 0.4, common practice", fan(`coil_ma: 801 coil_diode: true`), "error contact.drives-contactor " + at},
		{"a contactor of 230 V on 30 V: one cause", "common practice", fan(`coil_ma: 200 coil_v: 230`), "error contact.drives-contactor " + at},
		{"48 V on 30 V", "the contact's own rating", fan(`coil_ma: 120 coil_v: 48 coil_diode: true`), "error contact.voltage " + at + ".volts_v"},

		{"nothing proves the fan", "NFPA 72 21.2: monitored, or one open operates it",
			plan{more: equipment(`fan: {}`), devices: relay(`at_rest: "open"`, "start")}, "warning contact.unproven loops[0].devices[0]"},
		{"a trip signal proves nothing", "a fan that trips does not run", plan{more: equipment(`fan: {}`), devices: relay(`at_rest: "open"`, "start") + proof + `"tripped"}}}`},
			"warning contact.unproven loops[0].devices[0]"},
		{"a point of the building management", "it only reports", plan{more: equipment(`bms: {}`), devices: relay(`at_rest: "open"`, "point")}, ""},

		{"a door that is let go when the loop is lost", "BS 7273-4, category A", door("operates", `category: "a"`), "warning contact.short-holds " + at},
		{"two contacts in series", "BS 7273-4, category A: release under a short too", twice(`category: "a"`), ""},
		{"a door of category b that is let go when the loop is lost", "BS 7273-4, category B", door("operates", `category: "b"`), ""},
		{"a door that stays held when the loop is lost", "BS 7273-4, category A", door("stays", `category: "a"`), "warning contact.not-fail-safe " + at + ".on_loop_loss\nwarning contact.short-holds " + at},
		{"a door that rests when the loop is lost", "common practice", door("rests", ``), "warning contact.not-fail-safe " + at + ".on_loop_loss"},
		{"a door of category c", "BS 7273-4, category C: alarm only", door("rests", `category: "c"`), ""},
		{"a door that needs voltage", "BS 7273-4, category A; common practice", plan{more: equipment(`door_holder: {category: "a"}`), devices: relay(`at_rest: "open"`, "hold") + proof + `"closed"}}}`},
			"warning equipment.energise-to-release equipment[0]"},
		{"a door of category c that needs voltage", "BS 7273-4, category C", plan{more: equipment(`door_lock: {category: "c"}`), devices: relay(`at_rest: "open"`, "hold") + proof + `"locked"}}}`}, ""},

		{"a lift sent to one landing when the loop is lost", "EN 81-73 5.1 to 5.3", lift("operates", "rests"), ""},
		{"a lift that goes on when the loop is lost", "EN 81-73 5.1 to 5.3", lift("rests", "stays"),
			"warning contact.not-fail-safe " + at + ".on_loop_loss\nwarning contact.not-fail-safe loops[0].devices[1].relay_module.contact.on_loop_loss"},

		{"a lift that needs voltage to be recalled", "EN 81-73 5.1 to 5.3: a break of the interface starts the recall", plan{rules: `packs: "en54"`,
			more: equipment(`lift: {floors: "G" floors: "1" recall_floor: "G"}`), devices: relay(`at_rest: "open"`, "recall") + proof + `"at-floor"}}}`}, "warning equipment.energise-to-recall equipment[0]"},
		{"the same under nfpa72", "", plan{more: equipment(`lift: {floors: "G" floors: "1" recall_floor: "G"}`), devices: relay(`at_rest: "open"`, "recall") + proof + `"at-floor"}}}`}, ""},

		{"a dialler told of a panel without power", "common practice",
			plan{more: equipment(`deenergise_to_operate: "fault" dialler: {}`) + `panel: {outputs: {label: "F" relay: {at_rest: "closed" on_power_loss: "operates"} drives: {equipment: "e" input: "fault"}}}`}, ""},
		{"a dialler not told of it", "common practice",
			plan{more: equipment(`deenergise_to_operate: "fault" dialler: {}`) + `panel: {outputs: {label: "F" relay: {at_rest: "closed" on_power_loss: "rests"} drives: {equipment: "e" input: "fault"}}}`},
			"warning contact.not-fail-safe panel.outputs[0].relay.on_power_loss"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, c.plan)); got != c.want {
				t.Errorf("found\n%s\nwant (%s)\n%s", got, c.source, c.want)
			}
		})
	}
}
