package loop

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"loopdrill.dev/loopdrill/loop/line"
)

// Each key of `line` that switches something on or off reaches the line of its loop, and no other; of what is
// not written all is off (rule B12).
func TestLineOptions(t *testing.T) {
	for _, c := range []struct {
		written string
		want    *line.Config
	}{
		{"", &line.Config{}},
		{"out_of_turn: true", &line.Config{OutOfTurn: true}},
		{"probe_unused: true", &line.Config{ProbeUnused: true}},
		{"shared_commands: true", &line.Config{SharedCommands: true}},
		{"reply_current_check: true", &line.Config{ReplyCurrentCheck: true}},
		{"error_rate: 0.25", &line.Config{ErrorRate: 0.25}},
	} {
		got := good(t, branch("line: {"+c.written+`} devices: {address: 1 label: "CP" cable_m: 5 place: "hall" zone: "z1" call_point: {}}`)).Loops[0].Line.Config()
		ignored := cmpopts.IgnoreFields(line.Config{}, "PollSlot", "NoReplySlot", "CommandSlot", "MissedReplies", "CommandsBetweenVisits", "Devices")
		if diff := cmp.Diff(c.want, got, ignored); diff != "" {
			t.Errorf("line: {%s} (-want +got):\n%s", c.written, diff)
		}
	}
}

// The device types of a site reach its loops: 2 mA in place of 0.3.
func TestTypesReachTheLoop(t *testing.T) {
	in := good(t, branch(`devices: {address: 1 label: "CP" cable_m: 5 place: "hall" zone: "z1" type: "hungry" call_point: {}}`)+` device_types: {type: "hungry" standby_ma: 2}`)
	if got := in.Loops[0].Wire.Figures().RestMicroAmp; got != 2000 {
		t.Errorf("%d uA at rest, want 2000", got)
	}
}
