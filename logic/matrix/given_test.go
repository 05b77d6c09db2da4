package matrix

import (
	"slices"
	"strings"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// givenWorld is the test world with overrides, equipment, and an equipment that has a zone's id.
func givenWorld() *term.World {
	w := testWorld()
	w.Overrides = []string{"fan", "damper"}
	w.Equipment = []term.Equipment{{ID: "hall-fan"}, {ID: "hall"}}
	return w
}

func TestGivenSettings(t *testing.T) {
	for text, want := range map[string]Setting{
		"override=fan:off":        {Kind: SetOverride, Index: 0, Value: term.SwitchedOff},
		"override = damper : on ": {Kind: SetOverride, Index: 1, Value: term.SwitchedOn},
		"test=hall":               {Kind: TestZone, Index: 1},
		"disabled=car-park":       {Kind: DisableZone, Index: 0},
		"disabled=zone:hall":      {Kind: DisableZone, Index: 1},
		"disabled=equipment:hall": {Kind: DisableEquipment, Index: 1},
		"disabled=hall-fan":       {Kind: DisableEquipment, Index: 0},
		"disabled=HALL-SD-1":      {Kind: DisablePoint, Index: 2},
		"disabled=HALL-FAN-RUN":   {Kind: DisableOutput, Index: 1},
		"acknowledged = 1m30s":    {Kind: Acknowledge, After: 90 * time.Second},
	} {
		got, err := ParseGiven(text, givenWorld())
		if err != nil || len(got) != 1 || got[0] != want {
			t.Errorf("%s: %v %v, want %v", text, got, err, want)
		}
	}
	for text, want := range map[string]string{
		"override=fan":                     "says no position",
		"override=fan:auto":                "says no position",
		"override=fna:on":                  `did you mean "fan"`,
		"override=fan:on; override=fan:on": "set twice",
		"test=hal":                         `did you mean "hall"`,
		"disabled=hall":                    "several things",
		"disabled=zone:hall-fan":           "there is no",
		"acknowledged=0s":                  "at the very instant",
		"acknowledged=10":                  "lacks a unit",
		"acknowledged=25h":                 "longer than 24 h",
		"acknowledged":                     "sets nothing",
		"acknowleged=10s":                  `did you mean "acknowledged"`,
		"acknowledged=5s; acknowledged=6s": "set twice",
	} {
		if _, err := ParseGiven(text, givenWorld()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", text, err, want)
		}
	}
}

// What a setting says of facts holds in the row's runs, and what it says nothing of is at rest.
func TestGivenHolds(t *testing.T) {
	w := givenWorld()
	given, err := ParseGiven("override=fan:off; test=hall; disabled=zone:car-park; disabled=hall-fan", w)
	if err != nil {
		t.Fatal(err)
	}
	r := &Row{Given: given}
	for text, want := range map[string]bool{
		"override('fan').position == 'off'":     true,
		"override('fan').position == 'auto'":    false,
		"override('damper').position == 'auto'": true,
		"override('damper').position == 'on'":   false,
		"zone('hall').test && panel.test":       true,
		"zone('car-park').test":                 false,
		"zone('car-park').disabled":             true,
		"equipment('hall-fan').disabled":        true,
		"equipment('hall').disabled":            false,
		"panel.indicated == 'disablement'":      true,
	} {
		when, problems := term.Parse(text, w, term.Matrix)
		if len(problems) > 0 {
			t.Fatalf("%s: %v", text, problems)
		}
		if got := when.Eval(func(f term.Fact) bool { return r.Holds(f, nil) }); got != want {
			t.Errorf("%s is %v", text, got)
		}
	}
}

// Fire inputs of a zone that is disabled or in test give no signal, its other inputs do, and other
// zones are not held up.
func TestGivenKeepsZonesQuiet(t *testing.T) {
	w := givenWorld()
	for _, setting := range []string{"test=hall", "disabled=zone:hall"} {
		given, err := ParseGiven(setting, w)
		if err != nil {
			t.Fatal(err)
		}
		when, _ := term.Parse("panel.fire || device('HALL-FAN-FLOW').active", w, term.Matrix)
		m := &Matrix{Rows: []Row{{Given: given, When: when}}}
		ways, found := m.Ways(0, w, nil)
		if found != nil {
			t.Fatal(found)
		}
		var labels []string
		for _, way := range ways {
			labels = append(labels, w.Points[way[0].Point].Label)
		}
		if want := []string{"B1-SD-01", "B1-CP-01", "HALL-FAN-FLOW"}; !slices.Equal(labels, want) {
			t.Errorf("%s: ways %v, want %v", setting, labels, want)
		}
	}
}
