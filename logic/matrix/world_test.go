package matrix

import (
	"testing"

	"loopdrill.dev/loopdrill/logic/term"
)

// testWorld is an invented building with one point of every kind of input.
func testWorld() *term.World {
	w := &term.World{
		Places: []string{"car-park", "hall", "lobby"}, Zones: []string{"car-park", "hall"}, Groups: []string{"recall-alternate"},
		Causes: []string{"hall-fire", "any-fire", "twice"}, Controls: []string{"hold-stages", "fan-override", "zone("}, Loops: []uint32{1},
		PointRefs: map[string]int{}, OutputRefs: map[string]int{},
	}
	point := func(label, address string, place int, input term.Input, detector, prealarm bool, groups ...int) {
		w.PointRefs[label], w.PointRefs[address] = len(w.Points), len(w.Points)
		w.Points = append(w.Points, term.Point{Label: label, Address: address, Zone: min(place, 1), Place: place,
			Input: input, Detector: detector, Prealarm: prealarm, Groups: groups})
	}
	point("B1-SD-01", "1/1", 0, term.Fire, true, true)
	point("B1-CP-01", "1/2", 0, term.CallPoint, false, false)
	point("HALL-SD-1", "1/3", 1, term.Fire, true, false, 0)
	point("HALL-SD-2", "1/4", 1, term.Fire, true, false, 0)
	point("HALL-FLOW", "1/5", 1, term.Waterflow, false, false)
	point("TANK-LOW", "1/6", 0, term.Supervisory, false, false)
	point("HALL-FAN-FLOW", "1/7", 1, term.Technical, false, false)
	point("HALL-SOUNDERS", "1/9", -1, term.NoInput, false, false)
	point("HALL-FAN-RUN", "1/10", -1, term.NoInput, false, false)
	point("LIFT-A-MAIN", "1/11", -1, term.NoInput, false, false)
	point("LIFT-A-ALT", "1/12", -1, term.NoInput, false, false)
	output := func(label, address string, sounder bool) {
		w.OutputRefs[label] = len(w.Outputs)
		if address != "" {
			w.OutputRefs[address] = len(w.Outputs)
		}
		w.Outputs = append(w.Outputs, term.Output{Label: label, Address: address, Sounder: sounder})
	}
	output("HALL-SOUNDERS", "1/9", true)
	output("HALL-FAN-RUN", "1/10", false)
	output("LIFT-A-MAIN", "1/11", false)
	output("LIFT-A-ALT", "1/12", false)
	output("PANEL-FAULT", "", false)
	output("hall-plant", "", false)
	return w
}

func testNames(t testing.TB, w *term.World) Names {
	when := func(text string) *term.Term {
		parsed, problems := term.Parse(text, w, term.Cause)
		if len(problems) > 0 {
			t.Fatalf("%s: %v", text, problems)
		}
		return parsed
	}
	return Names{
		Effects: []Effect{
			{"hall-sounders", []int{0}},
			{"hall-exhaust", []int{1}},
			{"lift-main", []int{2}},
			{"mixed", []int{0, 1, 2}},
			{"hall-plant", []int{5}},
		},
		Causes: []Cause{
			{"hall-fire", when("zone('hall').fire")},
			{"any-fire", when("panel.fire")},
			{"twice", when("cause('hall-fire') && zone('car-park').fire")},
		},
	}
}
