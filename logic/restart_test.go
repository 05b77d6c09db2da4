package logic

import (
	"slices"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// A panel that starts again knows nothing but what operators have set, finds what still stands
// through new readings, and begins the mode that the calendar began while it was off.
func TestRestart(t *testing.T) {
	b := newBench(t, `{panel: {calendar: [{days: [mon], at: 8h, mode: day}, {days: [mon], at: 8h1m, mode: night}]},
		program: {controls: [{control: key}],
		causes: [{cause: in, when: "panel.fire"}, {cause: dark, when: "panel.mode == 'night'"}],
		effects: [{effect: x, outputs: [DOOR], until: reset}, {effect: y, outputs: [FAN]}, {effect: z, outputs: [PANEL]}],
		actions: [{causes: [in], effects: [x], state: "on"}, {causes: [in], effects: [z], state: "on", after: 30s}, {causes: [dark], effects: [z], state: "on"}],
		overrides: [{override: s, effects: [y]}]}}`)
	b.state = b.program.NewStateAt(panel.InWeek("mon", 8*time.Hour))
	b.evaluate()
	b.step(time.Second, "control key", "override s on", "disable-device A2", "test b", "fire A1", "silence")
	if b.demand("DOOR") != "on" || b.demand("FAN") != "on" {
		t.Fatalf("before: DOOR %s, FAN %s", b.demand("DOOR"), b.demand("FAN"))
	}
	b.now = 90 * time.Second
	b.program.Restart(b.state, b.now)
	if next, ok := b.program.Next(b.state); !ok || next != b.now {
		t.Errorf("evaluation asked for at %v, %v", next, ok)
	}
	b.evaluate()
	for label, want := range map[string]string{"DOOR": "off", "FAN": "on", "PANEL": "on"} { // PANEL: it is night by now
		if got := b.demand(label); got != want {
			t.Errorf("%s is %s, want %s", label, got, want)
		}
	}
	for f, want := range map[term.Fact]bool{
		{Kind: term.ControlOn}: true, {Kind: term.OverrideAt, Value: term.SwitchedOn}: true, {Kind: term.DeviceDisabled, Index: 1}: true, {Kind: term.ZoneTest, Index: 1}: true,
		{Kind: term.PanelMode, Value: term.Night}: true, {Kind: term.DeviceFire}: false, {Kind: term.PanelSilenced}: false, {Kind: term.PanelBuzzer}: false,
	} {
		if got := b.program.Fact(b.state, f); got != want {
			t.Errorf("%v is %v", f, got)
		}
	}
	if got := b.program.Conditions(b.state); len(got) != 2 || got[0] != panel.Disablement || got[1] != panel.Test {
		t.Errorf("conditions %v", got)
	}
	b.step(100*time.Second, "fire A1")
	if got := b.demand("DOOR"); got != "on" {
		t.Errorf("DOOR is %s after the fire was found again", got)
	}
	b.step(110*time.Second, "override s auto")
	if got := b.demand("FAN"); got != "off" {
		t.Errorf("FAN is %s with its switch at auto", got)
	}
}

// What the calendar began and ended while the panel was off never was: a panel that starts is in the
// mode of the day, and has not been in the others (common practice).
func TestRestartKnowsTheModeOfTheDay(t *testing.T) {
	for _, c := range []struct {
		off  time.Duration // when it starts again
		want []int32
	}{{30 * time.Second, nil}, {90 * time.Second, []int32{term.Night}}, {panel.Week + 30*time.Second, nil}, {3*panel.Week + 90*time.Second, []int32{term.Night}}} {
		b := newBench(t, `{panel: {calendar: [{days: [mon], at: 8h, mode: day}, {days: [mon], at: 8h1m, mode: night}]}}`)
		b.state = b.program.NewStateAt(panel.InWeek("mon", 8*time.Hour))
		b.evaluate()
		b.now = c.off
		b.program.Restart(b.state, b.now)
		b.evaluate()
		var modes []int32
		for _, change := range b.changes {
			if change.Kind == ModeScheduled {
				modes = append(modes, change.Index)
			}
		}
		if !slices.Equal(modes, c.want) {
			t.Errorf("off for %v: modes %v, want %v", c.off, modes, c.want)
		}
		if next, ok := b.program.Next(b.state); !ok || next <= b.now || next > b.now+panel.Week {
			t.Errorf("off for %v: the next line at %v, %v", c.off, next, ok)
		}
	}
}
