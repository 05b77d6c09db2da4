package check

import (
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Equipment that nothing operates is told of; what a trip cuts is operated by the trip. The rule is
// common practice: a wire forgotten in the file shows in no row of a matrix.
func TestUndriven(t *testing.T) {
	const (
		relay = `devices: {address: 1 label: "R" cable_m: 1 relay_module: {contact: {at_rest: "open" on_loop_loss: "stays"} drives: {equipment: "t" input: "trip"}}}
			devices: {address: 2 label: "P" cable_m: 1 input_module: {input: "technical" proves: {equipment: "t" signal: "tripped"}}} `
		socket = `equipment: {equipment: "s" generic: {}} `
	)
	for _, c := range []struct {
		name string
		plan plan
		want string
	}{
		{"cut by a trip that is driven", plan{more: socket + `equipment: {equipment: "t" trip: {cuts: "s"}}`, devices: relay}, ""},
		{"neither driven nor cut", plan{more: socket + `equipment: {equipment: "t" trip: {}}`, devices: relay}, "warning equipment.undriven equipment[0]"},
		{"a trip that nothing drives", plan{more: socket + `equipment: {equipment: "t" trip: {cuts: "s"}}`}, "warning equipment.undriven equipment[1]"},
		{"driven by an output of the panel", plan{more: socket + `panel: {outputs: {label: "O" relay: {} drives: {equipment: "s" input: "operate"}}}`}, ""},
	} {
		var got []string
		for _, f := range judged(t, c.plan) {
			if f.GetCode() == "equipment.undriven" {
				got = append(got, brief([]*pb.Finding{f}))
			}
		}
		if strings.Join(got, "\n") != c.want {
			t.Errorf("%s: found %q, want %q", c.name, got, c.want)
		}
	}
}
