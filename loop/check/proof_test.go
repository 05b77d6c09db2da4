package check

import (
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A proof that the panel waits for less long than healthy equipment takes is told of: common practice.
// 60 s for a fan is NFPA 92, 200 s for anything else UL 864, both from memory.
func TestProofTooLate(t *testing.T) {
	relay := func(equipment, input, proof string) string {
		return `devices: {address: 1 label: "R" cable_m: 1 relay_module: {contact: {at_rest: "open" on_loop_loss: "stays"} drives: {equipment: "` + equipment + `" input: "` + input + `"}}}
			devices: {address: 2 label: "P" cable_m: 1 input_module: {input: "technical" ` + proof + `}} `
	}
	const found = "warning equipment.proof-too-late loops[0].devices[1]"
	for _, c := range []struct {
		name string
		plan plan
		want string
	}{
		{"just in time", plan{more: `equipment: {equipment: "f" fan: {run_up: {seconds: 60}}}`, devices: relay("f", "start", `proves: {equipment: "f" signal: "running"}`)}, ""},
		{"a slow fan", plan{more: `equipment: {equipment: "f" fan: {run_up: {seconds: 61}}}`, devices: relay("f", "start", `proves: {equipment: "f" signal: "running"}`)}, found},
		{"agreed", plan{more: `equipment: {equipment: "f" fan: {run_up: {seconds: 61}}}`, devices: relay("f", "start", `proves: {equipment: "f" signal: "running" within: {seconds: 61}}`)}, ""},
		{"a retard on top", plan{more: `equipment: {equipment: "f" fan: {run_up: {seconds: 60}}}`, devices: relay("f", "start", `retard: {seconds: 1} proves: {equipment: "f" signal: "running"}`)}, found},
		{"a fault signal", plan{more: `equipment: {equipment: "f" fan: {run_up: {seconds: 61}}}`, devices: relay("f", "start", `proves: {equipment: "f" signal: "tripped"}`)}, ""},
		{"a long countdown", plan{more: `equipment: {equipment: "g" release: {countdown: {seconds: 240}}}`, devices: relay("g", "release", `proves: {equipment: "g" signal: "released"}`)}, found},
		{"nothing drives it", plan{more: `equipment: {equipment: "g" release: {countdown: {seconds: 240}}} equipment: {equipment: "s" generic: {}}`,
			devices: relay("s", "operate", `proves: {equipment: "g" signal: "released"}`)}, ""},
	} {
		var got []string
		for _, f := range judged(t, c.plan) {
			if f.GetCode() == "equipment.proof-too-late" {
				got = append(got, brief([]*pb.Finding{f}))
			}
		}
		if strings.Join(got, "\n") != c.want {
			t.Errorf("%s: found %q, want %q", c.name, got, c.want)
		}
	}
}
