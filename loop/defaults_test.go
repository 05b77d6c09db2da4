package loop

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"loopdrill.dev/loopdrill/proto/rule"
)

// elsewhere lists the defaults of the panel that the program applies, not the installation. Their
// values are held to the program's in package sim/site.
var elsewhere = []string{"panel.resound", "panel.mode"}

// plain is a site that leaves out whatever may be left out.
const plain = `devices: {address: 1 label: "SD" cable_m: 5 place: "hall" zone: "z1" smoke_detector: {}}
	devices: {address: 2 label: "HD" cable_m: 5 place: "hall" zone: "z1" heat_detector: {}}
	devices: {address: 3 label: "MD" cable_m: 5 place: "hall" zone: "z1" multi_criteria_detector: {}}
	devices: {address: 4 label: "R" cable_m: 5 relay_module: {}}
	devices: {address: 5 label: "IN" cable_m: 5 input_module: {input: "technical"}}
	devices: {address: 6 label: "CZ" cable_m: 5 place: "hall" zone: "z1" conventional_zone: {}}`

const plainPanel = ` panel: {outputs: {label: "P" relay: {}}}`

// written says everything that plain leaves out, and says it otherwise.
const written = `line: {poll_slot: {nanos: 1000000} no_reply_slot: {nanos: 2000000} command_slot: {nanos: 3000000}
		alarm_readings: 1 missed_replies: 9 commands_between_visits: 2}
	devices: {address: 1 label: "SD" cable_m: 5 place: "hall" zone: "z1" smoke_detector: {alarm_pct_per_m: 5}}
	devices: {address: 2 label: "HD" cable_m: 5 place: "hall" zone: "z1" heat_detector: {alarm_c: 80}}
	devices: {address: 3 label: "MD" cable_m: 5 place: "hall" zone: "z1" multi_criteria_detector: {alarm_pct_per_m: 6 alarm_c: 70}}
	devices: {address: 4 label: "R" cable_m: 5 relay_module: {contact: {at_rest: "closed" on_loop_loss: "stays"}}}
	devices: {address: 5 label: "IN" cable_m: 5 input_module: {input: "technical" at_rest: "closed" end_of_line_ohm: 4700 short_means: "fault"}}
	devices: {address: 6 label: "CZ" cable_m: 5 place: "hall" zone: "z1" conventional_zone: {end_of_line_ohm: 4700 short_means: "fault"}}`

const writtenPanel = ` panel: {decision_time: {} switch_time: {nanos: 5000000} restart_time: {seconds: 5} reset: "drop-all"
	outputs: {label: "P" relay: {on_power_loss: "operates"}}} targets: {detector: {seconds: 7} call_point: {seconds: 2}}`

// inForce reads off a compiled site what applies, by the keys of Defaults and in its words.
func inForce(in *Installation) map[string]string {
	cfg := in.Loops[0].Line.Config()
	smoke := func(i int) string { return fmt.Sprintf("%g %%/m", float64(in.Points[i].SmokeMicroPct)/1e6) }
	heat := func(i int) string { return fmt.Sprintf("%g C", float64(in.Points[i].HeatMicroC)/1e6) }
	contact := in.Outputs[in.Points[3].Output]
	return map[string]string{
		"panel.decision_time":                     in.DecisionTime.String(),
		"panel.switch_time":                       in.SwitchTime.String(),
		"panel.restart_time":                      in.PanelRestart.String(),
		"panel.outputs.relay.on_power_loss":       map[OnLoss]string{Rests: "rests", Stays: "stays", Operates: "operates"}[in.Outputs[len(in.Outputs)-1].OnLoss],
		"panel.reset":                             map[bool]string{false: "keep-caused", true: "drop-all"}[in.ResetDrops],
		"loops.line.poll_slot":                    cfg.PollSlot.String(),
		"loops.line.no_reply_slot":                cfg.NoReplySlot.String(),
		"loops.line.command_slot":                 cfg.CommandSlot.String(),
		"loops.line.alarm_readings":               fmt.Sprint(in.Readings(0)),
		"loops.line.missed_replies":               fmt.Sprint(cfg.MissedReplies),
		"loops.line.commands_between_visits":      fmt.Sprint(cfg.CommandsBetweenVisits),
		"smoke_detector.alarm_pct_per_m":          smoke(0),
		"heat_detector.alarm_c":                   heat(1),
		"multi_criteria_detector.alarm_pct_per_m": smoke(2),
		"multi_criteria_detector.alarm_c":         heat(2),
		"contact.at_rest":                         map[bool]string{false: "open", true: "closed"}[contact.Closed(false)],
		"contact.on_loop_loss":                    map[OnLoss]string{Rests: "rests", Stays: "stays", Operates: "operates"}[contact.OnLoss],
		"input_module.at_rest":                    map[bool]string{false: "open", true: "closed"}[in.Points[4].ClosedAtRest],
		"input_module.short_means":                map[bool]string{false: "active", true: "fault"}[in.Points[4].ShortIsFault],
		"conventional_zone.short_means":           map[bool]string{false: "active", true: "fault"}[in.Points[5].ShortIsFault],
		"targets.detector":                        fmt.Sprintf("%g s", in.Targets.Detector.Seconds()),
		"targets.call_point":                      fmt.Sprintf("%g s", in.Targets.CallPoint.Seconds()),
	}
}

// Each default that `check --effective` prints is the one that Compile uses, and is used only
// where the file says nothing.
func TestDefaults(t *testing.T) {
	const packs = `rules: {packs: "nfpa72"} `
	got, other := inForce(good(t, packs+branch(plain)+plainPanel)), inForce(good(t, packs+branch(written)+writtenPanel))
	// Figures that no key of a file changes.
	got["pre-alarm level"] = fmt.Sprintf("%d %% of the threshold", PrealarmMicro(100))
	// The targets are the first rule pack's: NFPA 72 10.11.1, 10 s; BS 5839-1, 3 s from a call point.
	target := func(packs string) string { return inForce(good(t, packs+branch(plain)))["targets.call_point"] }
	if target(`rules: {packs: "en54"}`) != got["targets.call_point"] || target(`rules: {packs: "en54" packs: "bs5839-1"}`) != got["targets.call_point"] {
		t.Error("en54 has another target for call points than nfpa72")
	}
	if bs := target(`rules: {packs: "bs5839-1" packs: "en54"}`); bs != "3 s" || got["targets.call_point"] != "10 s" || got["targets.detector"] != "10 s" {
		t.Errorf("targets: detector %s, call point %s, and %s under bs5839-1", got["targets.detector"], got["targets.call_point"], bs)
	}
	got["targets.detector"], got["targets.call_point"] = "limit "+rule.DetectorTarget, "limit "+rule.CallPointTarget
	// What applies to which equipment is held to the standards in package sim/drill.
	got["proves.within"] = fmt.Sprintf("limit %s, %s, else %s", rule.ProofOfFan, rule.ProofOfDamper, rule.Proof)
	for _, key := range elsewhere {
		got[key] = ""
	}

	printed := map[string]string{}
	for _, d := range Defaults() {
		if _, twice := printed[d.Key]; twice || d.Source == "" {
			t.Errorf("%s stands twice, or has no source", d.Key)
		}
		printed[d.Key] = d.Value
	}
	for _, key := range elsewhere {
		if printed[key] == "" {
			t.Errorf("%s is not printed", key)
		}
		printed[key] = ""
	}
	if diff := cmp.Diff(printed, got); diff != "" {
		t.Errorf("what Defaults prints (-) and what Compile uses (+); a new default needs its line in inForce:\n%s", diff)
	}
	for key, value := range other { // order does not show: one message for each key
		if strings.HasPrefix(printed[key], value) {
			t.Errorf("%s: %s is in force although the file says otherwise", key, value)
		}
	}
}

// The values themselves: rule B12 leaves them to Defaults, so a change of one is a change of what
// every site without it does. Common practice, but for the targets (NFPA 72 10.11.1, 10 s; BS
// 5839-1, 3 s from a call point), and heat (within class A1 of EN 54-5: 54 to 65 C, from memory).
func TestDefaultValues(t *testing.T) {
	got := map[string]string{}
	for _, d := range Defaults() {
		got[d.Key] = d.Value
	}
	for key, want := range map[string]string{ // order does not show: one message for each key
		"panel.decision_time": "200ms", "panel.switch_time": "1ms", "panel.reset": "keep-caused", "panel.resound": "new-zone", "panel.mode": "day",
		"loops.line.poll_slot": "12ms", "loops.line.no_reply_slot": "20ms", "loops.line.command_slot": "15ms",
		"loops.line.alarm_readings": "2", "loops.line.missed_replies": "3", "loops.line.commands_between_visits": "8",
		"smoke_detector.alarm_pct_per_m": "3.4 %/m", "heat_detector.alarm_c": "57 C",
		"multi_criteria_detector.alarm_pct_per_m": "3.4 %/m", "multi_criteria_detector.alarm_c": "57 C",
		"contact.at_rest": "open", "contact.on_loop_loss": "rests",
		"input_module.at_rest": "open", "input_module.short_means": "active", "conventional_zone.short_means": "active",
	} {
		if got[key] != want {
			t.Errorf("%s: %q, want %q", key, got[key], want)
		}
	}
	// The smoke threshold is 0.15 dB/m: of the light, 1 - 10^(-0.15/10) is lost over a metre.
	if lost := 100 * (1 - math.Pow(10, -0.15/10)); math.Abs(lost-defaultSmokePct) > 0.05 {
		t.Errorf("0.15 dB/m is %.2f %%/m", lost)
	}
}
