package check

import "testing"

// The wiring of inputs on which a fire or a release hangs is supervised: an open of it is monitored (NFPA 72 chapters
// 10 and 12; elsewhere common practice). A contact that opens to signal needs no resistor for that.
func TestInputs(t *testing.T) {
	input := func(more string) plan {
		return plan{devices: `devices: {address: 1 label: "I" cable_m: 1 place: "g" zone: "z1" input_module: {` + more + `}}`}
	}
	const at = "warning input.unsupervised loops[0].devices[0]"
	for _, c := range []struct {
		name string
		plan plan
		want string
	}{
		{"water that flows, supervised", input(`input: "waterflow" end_of_line_ohm: 4700`), ""},
		{"water that flows", input(`input: "waterflow"`), at + ".input_module"},
		{"another fire alarm system", input(`input: "fire"`), at + ".input_module"},
		{"a release by hand", input(`input: "release"`), at + ".input_module"},
		{"its hold-off", input(`input: "hold-off"`), at + ".input_module"},
		{"a contact that opens", input(`input: "fire" at_rest: "closed"`), ""},
		{"a frost stat", input(`input: "technical"`), ""},
		{"a conventional zone", plan{devices: `devices: {address: 1 label: "C" cable_m: 1 place: "g" zone: "z1" conventional_zone: {}}`}, at + ".conventional_zone"},
		{"a conventional zone, supervised", plan{devices: `devices: {address: 1 label: "C" cable_m: 1 place: "g" zone: "z1" conventional_zone: {end_of_line_ohm: 3900}}`}, ""},
	} {
		found := judged(t, c.plan)
		if got := brief(found); got != c.want {
			t.Errorf("%s: found %q, want %q", c.name, got, c.want)
		}
		if len(found) > 0 && found[0].GetClause() != "NFPA 72 chapters 10 and 12 (an open is monitored)" {
			t.Errorf("%s rests on %q", c.name, found[0].GetClause())
		}
	}
}
