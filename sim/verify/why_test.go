package verify

import (
	"reflect"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestWaysReadBack: what a report calls a way, `why` reads as that run: of every run of the demo, in
// which each form occurs but a pre-alarm.
func TestWaysReadBack(t *testing.T) {
	demo := openDemo(t)
	v := newVerifier(t, demo.Plan(), demo.Matrix)
	forms := map[string]int{" and ": 0, ", then ": 0, " at once, just after a sample of ": 0, "(given ": 0, "; ": 0}
	for _, r := range v.runs {
		text := v.text(r)
		for form := range forms {
			if strings.Contains(text, form) {
				forms[form]++
			}
		}
		back, err := v.parseWay(text)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if back.atOnce != r.atOnce || back.givenKey != r.givenKey || !reflect.DeepEqual(back.signals, r.signals) {
			t.Errorf("%s\nread as %s", text, v.text(back))
		}
	}
	for form, n := range forms {
		if n == 0 {
			t.Errorf("no run of the demo is written with %q", form)
		}
	}
}

// TestWhyTellsOfWhatIsGiven: a setting shows in what the run does.
func TestWhyTellsOfWhatIsGiven(t *testing.T) {
	demo := openDemo(t)
	where := func(string) *pb.Position { return nil }
	for way, operated := range map[string]bool{"G-SD-HALL-NORTH": true, "G-SD-HALL-NORTH (given control=fan-override)": false} {
		report, err := Why(demo.Plan(), way, "hall-damper", where)
		if err != nil {
			t.Fatal(err)
		}
		if got := report.GetOutputs()[0].GetOperated(); got != operated {
			t.Errorf("%s: operated %v, want %v", way, got, operated)
		}
	}
}

// TestWhyTellsWhatKeepsASignal: the link that is named as missing is the one that somebody has taken out.
func TestWhyTellsWhatKeepsASignal(t *testing.T) {
	demo := openDemo(t)
	for way, want := range map[string]string{
		"G-SD-HALL-NORTH (given disabled=G-SD-HALL-NORTH)":    linkTaken,
		"G-SD-HALL-NORTH (given disabled=zone:market-hall)":   linkTaken,
		"G-SD-HALL-NORTH (given test=market-hall)":            linkTaken,
		"G-SD-HALL-NORTH (given disabled=G-HALL-DAMPER-OPEN)": linkEnabled,
		"B1-MC-NORTH": linkCause,
	} {
		report, err := Why(demo.Plan(), way, "hall-damper", nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := report.GetOutputs()[0].GetBrokenLink(); got != want {
			t.Errorf("%s: %q, want %q", way, got, want)
		}
	}
}

// TestWhyRefuses: what is no way, or no effect, is said with what would be one.
func TestWhyRefuses(t *testing.T) {
	demo := openDemo(t)
	for _, c := range []struct{ way, effect, want string }{
		{"G-SD-HALL-NORHT", "siren", `there is no device "G-SD-HALL-NORHT": did you mean "G-SD-HALL-NORTH"?`},
		{"nothing like it", "siren", `there is no device "nothing like it": known are `},
		{"G-SD-HALL-NORTH and G-SD-LIFT, then G-CP-HALL", "siren", `not by both`},
		{"G-LOBBY-SOUNDERS", "siren", `"G-LOBBY-SOUNDERS" gives no such signal: a way names detectors, call points and inputs`},
		{"G-CP-HALL(given mode=evening)", "siren", `"evening" is not a mode`},
		{"G-CP-HALL", "sirene", `there is no effect or output "sirene": did you mean "siren"?`},
	} {
		if _, err := Why(demo.Plan(), c.way, c.effect, func(string) *pb.Position { return nil }); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s, %s: %v, want %s", c.way, c.effect, err, c.want)
		}
	}
}
