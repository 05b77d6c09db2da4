package logic

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// The priority of demands on one output, total and independent of the order in file or time (rule
// E6): each pair of states that one output takes, begun in either order, with every position of a
// switch, put there before, between and after. The order itself is common practice; that a
// firefighters' switch is above all of it is IBC 909.16.
func TestPriorityOfStates(t *testing.T) {
	weakestFirst := []string{"on", "alert", "evacuate", "release", "off"}
	vocabularies := map[string][]string{"FAN": {"on", "release", "off"}, "SND-A": {"alert", "evacuate", "off"}}
	checked := 0
	for label, states := range vocabularies {
		switched := map[string]string{"FAN": "on", "SND-A": "evacuate"}[label]
		for _, a := range states {
			for _, b := range states {
				want := a
				if slices.Index(weakestFirst, b) > slices.Index(weakestFirst, a) {
					want = b
				}
				text := fmt.Sprintf(`{program: {controls: [{control: a}, {control: b}],
					causes: [{cause: a, when: "control('a').on"}, {cause: b, when: "control('b').on"}],
					effects: [{effect: x, outputs: [%s]}, {effect: y, outputs: [%s]}],
					actions: [{causes: [a], effects: [x], state: %q}, {causes: [b], effects: [y], state: %q}],
					overrides: [{override: s, effects: [y]}]}}`, label, label, a, b)
				for _, order := range [][]string{{"control a", "control b"}, {"control b", "control a"}} {
					for _, position := range []string{"auto", "on", "off"} {
						for at := range 3 {
							acts := slices.Insert(slices.Clone(order), at, "override s "+position)
							bench := newBench(t, text)
							for i, act := range acts {
								bench.step(time.Duration(i+1)*time.Second, act)
							}
							end := map[string]string{"auto": want, "on": switched, "off": "off"}[position]
							if got := bench.demand(label); got != end {
								t.Errorf("%s with %q and %q, %v: %s, want %s", label, a, b, acts, got, end)
							}
							bench.step(9*time.Second, "override s auto")
							if got := bench.demand(label); got != want {
								t.Errorf("%s with %q and %q after %v: %s, want %s", label, a, b, acts, got, want)
							}
							checked++
						}
					}
				}
			}
		}
	}
	if checked != 2*9*2*3*3 {
		t.Errorf("checked %d cases", checked)
	}
}

// Commands of one instant go out with the switch's first, then by strength (rule C2).
func TestSwitchesCommandFirst(t *testing.T) {
	b := newBench(t, `{program: {controls: [{control: a}],
		causes: [{cause: a, when: "control('a').on"}],
		effects: [{effect: x, outputs: [SND-A]}, {effect: y, outputs: [DOOR]}, {effect: z, outputs: [FAN]}],
		actions: [{causes: [a], effects: [x], state: evacuate}, {causes: [a], effects: [y], state: release}],
		overrides: [{override: s, effects: [z]}]}}`)
	b.step(time.Second, "control a", "override s on")
	var order []string
	var strengths []term.State
	for _, c := range b.changes {
		if c.Kind == OutputDemanded {
			order, strengths = append(order, b.world.Outputs[c.Index].Label), append(strengths, c.Strength)
		}
	}
	if got := strings.Join(order, " "); got != "FAN DOOR SND-A" || !slices.Equal(strengths, []term.State{panel.OverrideStrength, term.Release, term.Evacuate}) {
		t.Errorf("order %s, strengths %v", got, strengths)
	}
	if over, ok := b.program.Overridden(b.state, b.world.OutputRefs["FAN"]); !ok || over != 0 {
		t.Errorf("FAN overridden by %d, %v", over, ok)
	}
	if _, ok := b.program.Overridden(b.state, b.world.OutputRefs["DOOR"]); ok {
		t.Error("DOOR is overridden")
	}
}

// A switch may not both operate and rest an output, and names effects that exist.
func TestOverridesRefused(t *testing.T) {
	_, _, _, findings := compileText(t, `{program: {
		effects: [{effect: x, outputs: [FAN, DOOR]}, {effect: y, outputs: [DOOR]}],
		overrides: [{override: s, effects: [x], opposes: [y]}, {override: s, effects: [z]}]}}`)
	var got []string
	for _, f := range findings {
		got = append(got, f.GetCode()+" "+f.GetPath())
	}
	for _, want := range []string{"program.duplicate-id program.overrides[1].override", "program.override-contradicts program.overrides[0].opposes", "reference.unknown program.overrides[1].effects[0]"} {
		if !slices.Contains(got, want) {
			t.Errorf("no %s among %v", want, got)
		}
	}
}

// The first zone in alarm sets the mode of smoke control, a later one does not change it until reset
// (common practice; likewise the landing of a lift, EN 81-73 5.1.2).
func TestFirstZoneSetsSmokeMode(t *testing.T) {
	b := newBench(t, `{program: {
		causes: [{cause: a, when: "zone('a').fire"}, {cause: b, when: "zone('b').fire"}],
		effects: [{effect: exhaust-a, outputs: [FAN], one_of: smoke, until: reset}, {effect: exhaust-b, outputs: [DOOR], one_of: smoke, until: reset}],
		actions: [{causes: [a], effects: [exhaust-a], state: "on"}, {causes: [b], effects: [exhaust-b], state: "on"}]}}`)
	modes := func() string { return b.demand("FAN") + "/" + b.demand("DOOR") }
	for i, step := range []struct{ act, want string }{
		{"fire B1", "off/on"}, {"fire A1", "off/on"}, {"clear B1", "off/on"}, {"reset", "on/off"}, {"clear A1", "on/off"}, {"reset", "off/off"},
	} {
		b.step(time.Duration(i)*time.Second, step.act)
		if got := modes(); got != step.want {
			t.Errorf("after %s: %s, want %s", step.act, got, step.want)
		}
	}
}
