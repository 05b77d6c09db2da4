package week

import (
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// thing is what an act leaves standing, so that another must undo it.
type thing struct {
	kind  drill.ActKind
	index int32
}

// ledger is what acts have left standing: nobody can expect a panel at rest while there is any.
type ledger struct {
	site     *site
	standing map[thing]bool
	faults   map[string]drill.Act // by id
	supplies time.Duration        // the last act on a supply, or its repair; negative for none
}

func newLedger(s *site) *ledger {
	return &ledger{site: s, standing: map[thing]bool{}, faults: map[string]drill.Act{}, supplies: -1}
}

// enter notes an act.
func (l *ledger) enter(a drill.Act) {
	if a.Kind == drill.ActSupply {
		l.supplies = a.At
	}
	switch {
	case a.Kind == drill.ActRepair:
		if l.faults[a.Name].Kind == drill.ActSupply {
			l.supplies = a.At
		}
		delete(l.faults, a.Name)
	case a.Kind.Fault():
		l.faults[a.Name] = a
	case a.Kind == drill.ActClear:
		delete(l.standing, thing{drill.ActSmoke, a.Index})
	case a.Kind == drill.ActSmoke, a.Kind == drill.ActHeat, a.Kind == drill.ActFlame, a.Kind == drill.ActPress, a.Kind == drill.ActActivate:
		l.standing[thing{drill.ActSmoke, a.Index}] = true
	case a.Kind == drill.ActMode: // with a calendar, until that moves it
		l.set(thing{a.Kind, 0}, a.Value != l.restMode() || l.site.plan.Program.HasCalendar())
	case a.Kind == drill.ActOverride:
		l.set(thing{a.Kind, a.Index}, a.Value != 0)
	case a.Kind == drill.ActDisableDevice, a.Kind == drill.ActDisableZone, a.Kind == drill.ActDisableOutput, a.Kind == drill.ActDisableEquipment,
		a.Kind == drill.ActControl, a.Kind == drill.ActTest, a.Kind == drill.ActStandIn:
		l.set(thing{a.Kind, a.Index}, a.On)
	}
}

func (l *ledger) set(t thing, on bool) {
	if on {
		l.standing[t] = true
	} else {
		delete(l.standing, t)
	}
}

// scheduled notes that the calendar has moved the mode.
func (l *ledger) scheduled() { delete(l.standing, thing{drill.ActMode, 0}) }

// restMode is the mode at the start where no calendar says it.
func (l *ledger) restMode() int64 {
	if l.site.message.GetPanel().GetMode() == "night" {
		return 1
	}
	return 0
}

// clear reports whether nothing stands and every battery has had the time to fill (EN 54-4 5.3, from
// memory: 72 h in all).
func (l *ledger) clear(now time.Duration) bool {
	return len(l.standing) == 0 && len(l.faults) == 0 && (l.supplies < 0 || now-l.supplies >= 72*time.Hour)
}

// harms reports whether a fault that stands is on the way to an output, other than one of the loop's
// cable, of which the bench says itself whom it leaves without voltage.
func (l *ledger) harms(o int32) bool {
	plan := l.site.plan
	out := &plan.In.Outputs[o]
	for _, a := range l.faults { // order does not show: any one will do
		switch a.Kind {
		case drill.ActRemove, drill.ActMute, drill.ActDuplicate, drill.ActWrongType, drill.ActStuck, drill.ActFieldWireOpen, drill.ActFieldWireShort, drill.ActDeviceReversed:
			if a.Index == out.Point {
				return true
			}
		case drill.ActLineErrors:
			if out.Point >= 0 && plan.In.Points[out.Point].Loop == a.Index {
				return true
			}
		case drill.ActCircuitOpen, drill.ActCircuitShort, drill.ActResistor, drill.ActReversed, drill.ActRelayStuck, drill.ActCircuitEarth:
			if a.Index == o {
				return true
			}
		case drill.ActSupply:
			if out.Circuit != nil {
				return true
			}
		case drill.ActPanelStop:
			return true
		}
	}
	return false
}

// kindOf is the key of a step.
func kindOf(s *pb.Step) string {
	m := s.ProtoReflect()
	return string(m.WhichOneof(m.Descriptor().Oneofs().ByName("kind")).Name())
}
