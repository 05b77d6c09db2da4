package verify

import (
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/sim/site"
)

// TestWhyShowsTheHeldStep: the page tells what stood between the signal of a detector and its fire,
// with the time of each step, and names it where nothing came of the signal.
func TestWhyShowsTheHeldStep(t *testing.T) {
	program := func(detection string) string {
		return readText(t, "testdata/bench.yaml") + `program:
  detection: [` + detection + `]
  causes: [{cause: hall-fire, when: "zone('hall').fire"}]
  effects: [{effect: bell, outputs: [BELL]}]
  actions: [{causes: [hall-fire], effects: [bell], state: "on"}]
`
	}
	for _, c := range []struct {
		detection, way string
		steps          []string // in this order
	}{
		{"{zone: hall, investigate: {}}", "HALL-SD-1", []string{
			"1.928000 s  HALL-SD-1: its signal is decided",
			"1.928000 s  HALL-SD-1: its signal is to be investigated; somebody must acknowledge by 16.928 s",
			"16.928000 s  HALL-SD-1: its investigation ends: fire",
			"16.928000 s  cause hall-fire becomes true"}},
		{"{zone: hall, confirm: same-or-other}", "HALL-SD-1", []string{
			"HALL-SD-1: its signal is decided",
			"HALL-SD-1: its signal is held; it must be confirmed by 1801.928 s",
			"31.928000 s  HALL-SD-1 has been reset and is ready again",
			"HALL-SD-1: its signal is confirmed by its own second one",
			"cause hall-fire becomes true"}},
		{"{zone: hall, verification: {}}", "HALL-SD-1", []string{
			"HALL-SD-1: its signal is decided",
			"HALL-SD-1 is reset to verify its signal, and out until 31.928 s",
			"31.928000 s  HALL-SD-1 is ready again; it must signal by 91.928 s",
			"HALL-SD-1 signals again: verified",
			"cause hall-fire becomes true"}},
		{"{zone: hall, confirm: other}", "HALL-SD-1, then HALL-SD-2", []string{
			"HALL-SD-2: its signal is decided",
			"HALL-SD-2: its signal is confirmed by HALL-SD-1",
			"cause hall-fire becomes true"}},
		{"{zone: hall, confirm: other}", "HALL-SD-1", []string{
			"the first link that is missing: signal passed on by the detection of its zone",
			"HALL-SD-1: its signal is held; it must be confirmed by 1801.928 s"}},
		{"{zone: hall, confirm: other, within: 2m}", "HALL-SD-1", []string{ // the smoke stands, and signals every 2 min
			"the first link that is missing: signal passed on by the detection of its zone",
			"HALL-SD-1: its own output is active (t0)",
			"HALL-SD-1: its signal is held; it must be confirmed by 121.928 s",
			"121.928000 s  HALL-SD-1: its signal is dropped"}},
	} {
		built, _ := site.Build(bundleOf(program(c.detection), "cause,when,given,BELL\na,device('HALL-CP').fire,,on\n"))
		report, err := Why(built.Plan(), c.way, "bell", nil)
		if err != nil {
			t.Fatal(err)
		}
		text := WhyText(report)
		rest := strings.Join(strings.Fields(text), " ") // however it is wrapped
		for _, step := range c.steps {
			_, after, found := strings.Cut(rest, strings.Join(strings.Fields(step), " "))
			if !found {
				t.Fatalf("%s, %s: no step %q there in\n%s", c.detection, c.way, step, text)
			}
			rest = after
		}
	}
}
