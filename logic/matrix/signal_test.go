package matrix

import (
	"testing"

	"loopdrill.dev/loopdrill/logic/term"
)

// What each signal makes true: rules A7 (fire inputs), B7 (pre-alarm below the alarm threshold,
// so a fire is above it), D1, D3.
func TestSignalMakes(t *testing.T) {
	w := testWorld()
	facts := []term.Kind{term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault}
	for _, c := range []struct {
		label string
		kind  SignalKind
		want  [5]bool // in the order of facts
	}{
		{"B1-SD-01", FireSignal, [5]bool{true, true, true, false, false}}, // gives pre-alarms
		{"B1-SD-01", PrealarmSignal, [5]bool{false, false, true, false, false}},
		{"HALL-SD-1", FireSignal, [5]bool{true, true, false, false, false}},
		{"HALL-FLOW", FireSignal, [5]bool{true, true, false, false, false}},
		{"TANK-LOW", SupervisorySignal, [5]bool{false, true, false, true, false}},
		{"HALL-FAN-FLOW", ActiveSignal, [5]bool{false, true, false, false, false}},
	} {
		s := Signal{w.PointRefs[c.label], c.kind}
		for i, kind := range facts {
			if got := s.Makes(term.Fact{Kind: kind, Index: int32(s.Point)}, w); got != c.want[i] {
				t.Errorf("%s.%s makes fact kind %d: %v, want %v", c.label, c.kind, kind, got, c.want[i])
			}
			if s.Makes(term.Fact{Kind: kind, Index: int32(s.Point + 1)}, w) {
				t.Errorf("%s.%s makes a fact of another point", c.label, c.kind)
			}
		}
	}
}

func TestHolds(t *testing.T) {
	night := term.Fact{Kind: term.PanelMode, Value: term.Night}
	day := term.Fact{Kind: term.PanelMode, Value: term.Day}
	disabled := term.Fact{Kind: term.DeviceDisabled, Index: 2}
	row := Row{Given: []Setting{{Kind: SetMode, Value: term.Night}, {Kind: DisablePoint, Index: 2}}}
	if !row.Holds(night, nil) || row.Holds(day, nil) || !row.Holds(disabled, nil) {
		t.Error("what is given does not hold")
	}
	var bare Row
	if bare.Holds(night, nil) || !bare.Holds(day, nil) || bare.Holds(disabled, nil) {
		t.Error("at rest the panel is in day mode and nothing is disabled")
	}
	atRest := term.Fact{Kind: term.OutputCommanded, Index: 1, Value: int32(term.Rest)}
	if !bare.Holds(atRest, nil) || bare.Holds(term.Fact{Kind: term.OutputCommanded, Index: 1, Value: int32(term.On)}, nil) {
		t.Error("at rest an output is commanded to rest and to nothing else")
	}
	if !bare.Holds(night, func(f term.Fact) bool { return f == night }) {
		t.Error("the caller's idea of rest is not asked")
	}
}
