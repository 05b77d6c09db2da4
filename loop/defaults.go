package loop

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/loop/wire"
)

// Default is a figure that applies where a file gives none.
type Default struct {
	Key    string // field, as in the file
	Value  string // with its unit
	Source string
}

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
	defaultSmokePct        = 3.4
	defaultHeatC           = 57.0
	prealarmShare          = 0.75
	defaultTarget          = 10 * time.Second
	defaultCallPointBS     = 3 * time.Second
)

// RestartTime is how long a device takes from being fed again to its first reply.
const RestartTime = wire.RestartTime

// Defaults lists the defaults of the installation that change a result.
func Defaults() []Default {
	ms := func(d time.Duration) string { return fmt.Sprintf("%d ms", d.Milliseconds()) }
	return []Default{
		{"panel.decision_time", ms(defaultDecisionTime), commonPractice},
		{"panel.switch_time", ms(defaultSwitchTime), commonPractice},
		{"panel.reset", "keep-caused", commonPractice + ": reset needs the cause cleared, else the alarm returns"},
		{"panel.resound", "new-zone", "EN 54-2 7.10, from memory"},
		{"panel.mode", "day", commonPractice},
		{"loops.line.poll_slot", ms(defaultPollSlot), commonPractice},
		{"loops.line.no_reply_slot", ms(defaultNoReplySlot), commonPractice},
		{"loops.line.command_slot", ms(defaultCommandSlot), commonPractice},
		{"loops.line.alarm_readings", fmt.Sprint(defaultAlarmReadings), commonPractice},
		{"loops.line.missed_replies", fmt.Sprint(defaultMissedReplies), commonPractice},
		{"loops.line.commands_between_visits", fmt.Sprint(defaultCommandsBetween), commonPractice},
		{"smoke_detector.alarm_pct_per_m", fmt.Sprintf("%g %%/m", defaultSmokePct), "0.15 dB/m, " + commonPractice},
		{"heat_detector.alarm_c", fmt.Sprintf("%g C", defaultHeatC), "within class A1 of EN 54-5"},
		{"multi_criteria_detector.alarm_pct_per_m", fmt.Sprintf("%g %%/m", defaultSmokePct), "0.15 dB/m, " + commonPractice},
		{"multi_criteria_detector.alarm_c", fmt.Sprintf("%g C", defaultHeatC), "within class A1 of EN 54-5"},
		{"pre-alarm level", "75 % of the threshold", commonPractice},
		{"contact.at_rest", "open", commonPractice},
		{"contact.on_loop_loss", "rests", commonPractice},
		{"targets.detector", "10 s", "NFPA 72 10.11.1; EN 54-2 7.1, from memory"},
		{"targets.call_point", "10 s (nfpa72, en54), 3 s (bs5839-1 first)", "NFPA 72 10.11.1; EN 54-2 7.7, from memory; BS 5839-1"},
	}
}
