package loop

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/loop/figure"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/rule"
)

// commonPractice marks figures that no standard gives.
const commonPractice = "common practice"

// Timing and electrical defaults. Each is printed by `check --effective`.
const (
	defaultPollSlot        = 12 * time.Millisecond
	defaultNoReplySlot     = 20 * time.Millisecond
	defaultCommandSlot     = 15 * time.Millisecond
	defaultAlarmReadings   = 2
	defaultMissedReplies   = 3
	defaultCommandsBetween = 8
	defaultDecisionTime    = 200 * time.Millisecond
	defaultSwitchTime      = time.Millisecond
	defaultPanelRestart    = 30 * time.Second
	defaultSmokePct        = 3.4
	defaultHeatC           = 57.0
	prealarmShare          = 0.75
)

// RestartTime is how long a device takes from being fed again to its first reply.
const RestartTime = wire.RestartTime

// Defaults lists the defaults of the installation that change a result.
func Defaults() []figure.Default {
	return []figure.Default{
		{Key: "panel.decision_time", Value: defaultDecisionTime.String(), Source: commonPractice},
		{Key: "panel.switch_time", Value: defaultSwitchTime.String(), Source: commonPractice},
		{Key: "panel.restart_time", Value: defaultPanelRestart.String(), Source: commonPractice},
		{Key: "panel.outputs.relay.on_power_loss", Value: "rests", Source: commonPractice},
		{Key: "panel.reset", Value: "keep-caused", Source: commonPractice + ": reset needs the cause cleared, else the alarm returns"},
		{Key: "panel.resound", Value: "new-zone", Source: "EN 54-2 7.10, from memory"},
		{Key: "panel.mode", Value: "day", Source: commonPractice},
		{Key: "loops.line.poll_slot", Value: defaultPollSlot.String(), Source: commonPractice},
		{Key: "loops.line.no_reply_slot", Value: defaultNoReplySlot.String(), Source: commonPractice},
		{Key: "loops.line.command_slot", Value: defaultCommandSlot.String(), Source: commonPractice},
		{Key: "loops.line.alarm_readings", Value: fmt.Sprint(defaultAlarmReadings), Source: commonPractice},
		{Key: "loops.line.missed_replies", Value: fmt.Sprint(defaultMissedReplies), Source: commonPractice},
		{Key: "loops.line.commands_between_visits", Value: fmt.Sprint(defaultCommandsBetween), Source: commonPractice},
		{Key: "smoke_detector.alarm_pct_per_m", Value: fmt.Sprintf("%g %%/m", defaultSmokePct), Source: "0.15 dB/m, " + commonPractice},
		{Key: "heat_detector.alarm_c", Value: fmt.Sprintf("%g C", defaultHeatC), Source: "within class A1 of EN 54-5"},
		{Key: "multi_criteria_detector.alarm_pct_per_m", Value: fmt.Sprintf("%g %%/m", defaultSmokePct), Source: "0.15 dB/m, " + commonPractice},
		{Key: "multi_criteria_detector.alarm_c", Value: fmt.Sprintf("%g C", defaultHeatC), Source: "within class A1 of EN 54-5"},
		{Key: "pre-alarm level", Value: "75 % of the threshold", Source: commonPractice},
		{Key: "contact.at_rest", Value: "open", Source: commonPractice},
		{Key: "contact.on_loop_loss", Value: "rests", Source: commonPractice},
		{Key: "input_module.at_rest", Value: "open", Source: commonPractice},
		{Key: "input_module.short_means", Value: "active", Source: commonPractice},
		{Key: "conventional_zone.short_means", Value: "active", Source: commonPractice},
		{Key: "proves.within", Value: "limit " + rule.ProofOfFan + ", " + rule.ProofOfDamper + ", else " + rule.Proof, Source: "rule pack"},
		{Key: "targets.detector", Value: "limit " + rule.DetectorTarget, Source: "rule pack"},
		{Key: "targets.call_point", Value: "limit " + rule.CallPointTarget, Source: "rule pack"},
	}
}
