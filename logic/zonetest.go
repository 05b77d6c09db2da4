package logic

import "loopdrill.dev/loopdrill/logic/term"

// A zone in test: what its fire inputs signal is noted and goes no further. No fact is set, so
// nothing operates, other zones are not held up, and the same device can be tested again as soon as
// its reading is gone. When the test ends what still stands counts as it does after enabling.

// inTest reports whether the device is a fire input of a zone in test.
func (p *Program) inTest(s *State, point int32) bool {
	zone := p.points[point].zone
	if zone < 0 || !p.points[point].fire {
		return false
	}
	leaf, _ := p.net.leaf(term.Fact{Kind: term.ZoneTest, Index: zone})
	return s.net.value[leaf]
}

// noteTested notes a decision of a device in test. The reading may be gone already: decisions fall
// some time after the reading that completed them.
func (p *Program) noteTested(s *State, point int32, event uint64, sink Sink) {
	s.withheld[point] = true
	event = sink.Note(Change{Kind: FireTested, Index: point, Parent: event})
	if !s.reading[point] {
		p.rearm(s, point, event, sink)
	}
}

// takeReading keeps what a device reads, beside the fact that conditions see, and reports whether
// that fact follows it: readings of a device in test do not make one, and nor does its pre-alarm.
func (p *Program) takeReading(s *State, in input, sink Sink) (follows bool) {
	point := in.fact.Index
	switch in.fact.Kind {
	case term.DeviceActive:
		s.reading[point] = in.on
		if !in.on && p.inTest(s, point) {
			p.rearm(s, point, in.event, sink)
		}
	case term.DevicePrealarm:
		s.lineEarly[point] = in.on
	default:
		return true
	}
	return !in.on || !p.inTest(s, point)
}

// test begins or ends the test of a zone.
func (p *Program) test(s *State, op operation, sink Sink) {
	fact := term.Fact{Kind: term.ZoneTest, Index: op.Index}
	leaf, ok := p.net.leaf(fact)
	if !ok {
		panic("logic: nothing to test: " + fact.String())
	}
	if s.net.value[leaf] == op.On {
		return
	}
	event := sink.Note(Change{Kind: TestChanged, Index: op.Index, Fact: fact, On: op.On, Parent: op.event})
	p.setFact(s, leaf, op.On, event)
	for i := range p.points {
		point := int32(i)
		if p.points[i].zone != op.Index || !p.points[i].fire {
			continue
		}
		if op.On {
			p.dropSignal(s, point, event, sink)
			continue
		}
		if s.reading[point] {
			p.setPoint(s, term.DeviceActive, point, event)
		}
		if s.lineEarly[point] && p.setPoint(s, term.DevicePrealarm, point, event) {
			p.setPanel(s, term.PanelAcknowledged, false, event, sink)
		}
		p.rearm(s, point, event, sink)
	}
}

// setPoint makes a fact of a device so; it reports whether it was not.
func (p *Program) setPoint(s *State, kind term.Kind, point int32, event uint64) bool {
	leaf, _ := p.net.leaf(term.Fact{Kind: kind, Index: point})
	return p.setFact(s, leaf, true, event)
}
