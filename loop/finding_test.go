package loop

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// smoke is a device about which nothing is to be found.
const smoke = `devices: {address: 1 label: "SD" cable_m: 5 place: "hall" zone: "z1" smoke_detector: {}} `

// What Compile finds, beyond the stories of package sim/site: each case differs from a good site in
// what it names. The rules are those of detail in DEVELOPERS.md; where none is given, the comments
// of the schema.
func TestFindings(t *testing.T) {
	second := func(text string) string {
		return branch(smoke + `devices: {address: 2 label: "B" cable_m: 5 ` + text + `}`)
	}
	module := func(circuit string) string {
		return second(`control_module: {supply: "psu" circuit: {end_of_line_ohm: 4700 ` + circuit + `}}`)
	}
	panel := func(output string) string { return branch(smoke) + ` panel: {outputs: {label: "P" ` + output + `}}` }
	const at, load = "loops[0].devices[1]", "loops[0].devices[1].control_module.circuit.loads[0]"
	for _, c := range []struct {
		name, source string
		site         string
		want         string // severity, code and path of each finding
	}{
		{"nothing", "", branch(smoke), ""},
		{"a ring with its return", "A9", strings.Replace(branch(smoke), `wiring: "branch"`, `wiring: "ring" return_cable_m: 4`, 1), ""},
		{"two places", "A3", branch(smoke) + `places: {place: "hall"}`, "REFUSED reference.duplicate places[2].place"},
		{"a place that serves nobody", "promised in README: nothing dangling is ignored", branch(smoke) + `places: {place: "lobby" serves: "lift"}`,
			"REFUSED reference.unknown places[2].serves[0]"},
		{"two zones", "A3", branch(smoke) + `zones: {zone: "z2"}`, "REFUSED reference.duplicate zones[2].zone"},
		{"two supplies", "A3", branch(smoke) + `supplies: {supply: "psu"}`, "REFUSED reference.duplicate supplies[1].supply"},
		{"two loops", "A4", branch(smoke) + `loops: {loop: 1 wiring: "branch" driver: {voltage_v: 28} cable: {conductor_mm2: 1.5}}`,
			"REFUSED reference.duplicate loops[1].loop"},
		{"a return cable on a branch", "A9", strings.Replace(branch(smoke), `wiring: "branch"`, `wiring: "branch" return_cable_m: 4`, 1),
			"REFUSED wiring.return-on-branch loops[0].return_cable_m"},

		{"no address", "A9", branch(smoke + `devices: {label: "B" cable_m: 5 relay_module: {}}`), "REFUSED device.address-missing " + at},
		{"no kind", "A6", second(""), "REFUSED device.kind-missing " + at + ".kind"},
		{"an isolator with an address", "schema: Device.isolator", second("isolator: {}"), "REFUSED device.isolator-address " + at + ".address"},
		{"a loop sounder of a current and a power", "schema: LoopSounder", second("loop_sounder: {current_ma: 5 power_w: 0.14}"),
			"REFUSED loop-sounder.current-and-power " + at + ".loop_sounder"},
		{"a loop sounder of a power", "schema: LoopSounder", second("loop_sounder: {power_w: 0.14}"), ""},
		{"an isolator built in", "schema: Device.isolator", second("isolator: {} loop_sounder: {}"), ""},
		{"a label of an isolator and a device", "A3", branch(smoke + `devices: {label: "SD" cable_m: 5 isolator: {}}`),
			"REFUSED reference.duplicate-label " + at + ".label"},
		{"a label of a load and a device", "A3", module(`loads: {label: "SD" cable_m: 5 beacon: {current_ma: 5}}`),
			"REFUSED reference.duplicate-label " + load + ".label"},
		{"a label of a panel's output and a device", "A3", branch(smoke) + ` panel: {outputs: {label: "SD" relay: {}}}`,
			"REFUSED reference.duplicate-label panel.outputs[0].label"},

		{"a fire contact without a place", "A7", second(`zone: "z1" input_module: {input: "fire"}`), "REFUSED device.place-and-zone " + at},
		{"a flow switch without a zone", "A7", second(`place: "hall" input_module: {input: "waterflow"}`), "REFUSED device.place-and-zone " + at},
		{"a call point without either", "A7", second(`call_point: {}`), "REFUSED device.place-and-zone " + at},
		{"a supervisory contact needs neither", "A7", second(`input_module: {input: "supervisory"}`), ""},
		{"a device in no known place", "", second(`place: "hal" zone: "z1" call_point: {}`), "REFUSED reference.unknown " + at + ".place"},
		{"a load in no known place", "", module(`loads: {label: "L" place: "hal" cable_m: 5 beacon: {current_ma: 5}}`),
			"REFUSED reference.unknown " + load + ".place"},

		{"a contact that watches and proves", "schema: InputModule", second(`input_module: {input: "technical" watches: {supply: "psu"} proves: {equipment: "fan" signal: "running"}}`),
			"REFUSED device.watches-and-proves " + at + ".input_module"},
		{"proof of no equipment", "", second(`input_module: {input: "technical" proves: {equipment: "fam" signal: "running"}}`),
			"REFUSED reference.unknown " + at + ".input_module.proves.equipment"},
		{"proof of no signal", "", second(`input_module: {input: "technical" proves: {equipment: "fan" signal: "open"}}`),
			"REFUSED reference.unknown " + at + ".input_module.proves.signal"},
		{"a watch over no supply", "", second(`input_module: {input: "technical" watches: {supply: "pus"}}`),
			"REFUSED reference.unknown " + at + ".input_module.watches.supply"},

		{"a load without a figure", "A9", module(`loads: {label: "L" cable_m: 5 sounder: {}}`), "REFUSED circuit.load-current " + load},
		{"a load with two", "A9", module(`loads: {label: "L" cable_m: 5 lock: {current_ma: 5 power_w: 1}}`), "REFUSED circuit.load-current " + load},
		{"a load of some power", "A9", module(`loads: {label: "L" cable_m: 5 coil: {power_w: 1}}`), ""},
		{"a circuit in a ring without its return", "schema: Circuit", module(`wiring: "ring" loads: {label: "L" cable_m: 5 lamp: {current_ma: 5}}`),
			"REFUSED wiring.return-missing " + at + ".control_module.circuit.return_cable_m"},
		{"a circuit's return on a branch", "schema: Circuit", module(`return_cable_m: 3 loads: {label: "L" cable_m: 5 lamp: {current_ma: 5}}`),
			"REFUSED wiring.return-on-branch " + at + ".control_module.circuit.return_cable_m"},

		// The door operates when its voltage goes away, which a contact must fit.
		{"a contact that does not say how it rests", "A8", second(`relay_module: {drives: {equipment: "door" input: "hold"}}`),
			"REFUSED contact.position-unstated " + at + ".relay_module"},
		{"one that says half", "A8", second(`relay_module: {contact: {at_rest: "closed"} drives: {equipment: "door" input: "hold"}}`),
			"REFUSED contact.position-unstated " + at + ".relay_module"},
		{"one that says all", "A8", second(`relay_module: {contact: {at_rest: "closed" on_loop_loss: "operates"} drives: {equipment: "door" input: "hold"}}`), ""},
		{"one that is open at rest", "C6", second(`relay_module: {contact: {at_rest: "open" on_loop_loss: "rests"} drives: {equipment: "door" input: "hold"}}`),
			"ERROR contact.operates-at-rest " + at + ".relay_module"},
		{"a panel's relay that does not say", "A8", panel(`relay: {at_rest: "closed"} drives: {equipment: "door" input: "hold"}`),
			"REFUSED contact.position-unstated panel.outputs[0]"},
		{"a panel's relay that says", "A8", panel(`relay: {at_rest: "closed" on_power_loss: "operates"} drives: {equipment: "door" input: "hold"}`), ""},
		{"a panel's output that drives nothing known", "", panel(`relay: {} drives: {equipment: "fam" input: "start"}`),
			"REFUSED reference.unknown panel.outputs[0].drives.equipment"},
		{"a panel's output that drives no input", "", panel(`relay: {} drives: {equipment: "fan" input: "strt"}`),
			"REFUSED reference.unknown panel.outputs[0].drives.input"},
	} {
		_, found := Compile(read(t, c.site))
		var got []string
		for _, f := range found {
			got = append(got, strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_")+" "+f.GetCode()+" "+f.GetPath())
			if f.GetTitle() == "" || f.GetDetail() == "" {
				t.Errorf("%s: %s has no title or no remedy", c.name, f.GetCode())
			}
		}
		var want []string
		if c.want != "" {
			want = strings.Split(c.want, "; ")
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (%s) (-want +got):\n%s", c.name, c.source, diff)
		}
	}
}

// All findings come at once, each at its place, and the order is that of the file.
func TestFindingsTogether(t *testing.T) {
	_, found := Compile(read(t, branch(`
		devices: {address: 1 label: "A" cable_m: 5 smoke_detector: {}}
		devices: {address: 1 label: "B" cable_m: 5 relay_module: {}}
		devices: {label: "A" cable_m: 5 isolator: {}}
		devices: {address: 4 label: "D" cable_m: 5 relay_module: {drives: {equipment: "fam" input: "start"}}}`)))
	var got []string
	for _, f := range found {
		got = append(got, f.GetPath())
	}
	want := []string{"loops[0].devices[0]", "loops[0].devices[1].address", "loops[0].devices[2].label", "loops[0].devices[3].relay_module.drives.equipment"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// A kind that the schema has can be told from the device that has it.
func TestKinds(t *testing.T) {
	kinds := Kinds()
	for _, kind := range kinds {
		needs := map[string]string{"control_module": "circuit: {}"}[kind] // Compile takes what the schema requires for granted
		in, _ := Compile(read(t, branch(`devices: {address: 9 label: "A" cable_m: 5 place: "hall" zone: "z1" `+kind+`: {`+needs+`}}`)))
		if len(in.Points) != 1 || in.Points[0].Kind != Kind(kind) {
			t.Errorf("%s: points %+v", kind, in.Points)
		}
	}
	if slices.Contains(kinds, "isolator") || len(kinds) < 10 {
		t.Errorf("kinds: %v", kinds)
	}
}
