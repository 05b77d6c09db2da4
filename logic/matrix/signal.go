package matrix

import "loopdrill.dev/loopdrill/logic/term"

// SignalKind is what a device is made to signal.
type SignalKind uint8

// Kinds of signals. A point can give one of Fire, Active and Supervisory, as its input is, and
// PrealarmSignal besides if it is asked for pre-alarms.
const (
	FireSignal        SignalKind = iota + 1 // fire inputs: at or above the alarm threshold
	ActiveSignal                            // technical, release and hold-off inputs: active
	SupervisorySignal                       // supervisory inputs: active
	PrealarmSignal                          // detectors: above the pre-alarm level, below alarm
)

// String returns the word for reports.
func (k SignalKind) String() string {
	switch k {
	case FireSignal:
		return "fire"
	case ActiveSignal:
		return "active"
	case SupervisorySignal:
		return "supervisory"
	case PrealarmSignal:
		return "prealarm"
	}
	return "no signal"
}

// Signal is one device made to signal.
type Signal struct {
	Point int
	Kind  SignalKind
}

// Way is one smallest set of signals that makes a row true, in point order.
type Way []Signal

// Makes reports whether the signal, once confirmed, makes a fact true. A fire signal is an
// active reading too, and on a point that gives pre-alarms it is above that level as well.
func (s Signal) Makes(f term.Fact, w *term.World) bool {
	if int(f.Index) != s.Point {
		return false
	}
	switch f.Kind {
	case term.DeviceFire:
		return s.Kind == FireSignal
	case term.DeviceActive:
		return s.Kind == FireSignal || s.Kind == ActiveSignal || s.Kind == SupervisorySignal
	case term.DeviceSupervisory:
		return s.Kind == SupervisorySignal
	case term.DevicePrealarm:
		return s.Kind == PrealarmSignal || s.Kind == FireSignal && w.Points[s.Point].Prealarm
	}
	return false
}

// level orders the signals of one point: each level makes all that the one below it makes.
type level = int8

const (
	quiet     level = 0
	prealarmL level = 1 // PrealarmSignal
	alarmL    level = 2 // the point's other signal
)

// needs returns the least level of the point's signals that makes the fact true; ok is false if
// the fact is not about a device signal, and the level is quiet if the point cannot give it.
func needs(f term.Fact, w *term.World) (need level, ok bool) {
	switch f.Kind {
	case term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory:
	default:
		return quiet, false
	}
	point := &w.Points[f.Index]
	switch {
	case f.Kind == term.DeviceFire && point.Input.Fire(),
		f.Kind == term.DeviceActive && point.Input != term.NoInput,
		f.Kind == term.DeviceSupervisory && point.Input == term.Supervisory:
		return alarmL, true
	case f.Kind == term.DevicePrealarm && point.Prealarm:
		return prealarmL, true
	}
	return quiet, true
}

// signalAt is the signal of a point at a level other than quiet.
func signalAt(point int, l level, w *term.World) Signal {
	input := w.Points[point].Input
	switch {
	case l == prealarmL:
		return Signal{point, PrealarmSignal}
	case input.Fire():
		return Signal{point, FireSignal}
	case input == term.Supervisory:
		return Signal{point, SupervisorySignal}
	}
	return Signal{point, ActiveSignal}
}

// AtRest reports whether a fact holds on a quiescent, healthy panel in day mode on which nobody
// has done anything: every output is at rest, and nothing else is so.
func AtRest(f term.Fact) bool {
	switch f.Kind {
	case term.PanelMode:
		return f.Value == term.Day
	case term.OverrideAt:
		return f.Value == term.Auto
	case term.OutputCommanded, term.OutputState:
		return term.State(f.Value) == term.Rest
	}
	return false
}

// Holds reports whether a fact that is no device signal holds in the row's runs before any
// signal: as the row's `given` says, else as rest says (AtRest if nil).
func (r *Row) Holds(f term.Fact, rest func(term.Fact) bool) bool {
	if rest == nil {
		rest = AtRest
	}
	for _, s := range r.Given {
		if s.Kind == Acknowledge {
			continue
		}
		if s.Kind == SetMode && f.Kind == term.PanelMode {
			return f.Value == s.Value
		}
		if s.Kind == SetOverride && f.Kind == term.OverrideAt && int(f.Index) == s.Index {
			return f.Value == s.Value
		}
		if s.Fact() == f {
			return true
		}
	}
	return rest(f)
}

// disables reports whether `given` keeps a point's signals from coming to anything: the point is
// disabled, or it is a fire input of a zone that is disabled or in test.
func (r *Row) disables(point int32, w *term.World) bool {
	p := &w.Points[point]
	for _, s := range r.Given {
		if s.Kind == DisablePoint && s.Index == int(point) {
			return true
		}
		if (s.Kind == DisableZone || s.Kind == TestZone) && p.Input.Fire() && s.Index == p.Zone {
			return true
		}
	}
	return false
}
