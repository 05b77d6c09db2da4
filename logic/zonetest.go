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

// muted reports whether the device's signals count for nothing: it is disabled, or a fire input of a
// zone that is disabled or in test.
func (p *Program) muted(s *State, point int32) bool {
	return p.disabled(s, point) || p.inTest(s, point)
}

// takeReading keeps what a device says, beside the fact that conditions see, and reports whether
// that fact follows it: what a device says that is muted does not make one.
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
	case term.DeviceSupervisory:
		s.valve[point] = in.on
	default:
		return true
	}
	return !in.on || !p.muted(s, point)
}

// endSignals ends what conditions see of a device's signals, as if they had gone: what the panel
// latches of them stays until reset. Fire is latched always.
func (p *Program) endSignals(s *State, point int32, event uint64) {
	for _, kind := range [...]term.Kind{term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory} {
		fact := term.Fact{Kind: kind, Index: point}
		leaf, _ := p.net.leaf(fact)
		if p.latched(fact) {
			s.gone[leaf] = s.net.value[leaf]
			continue
		}
		p.setFact(s, leaf, false, event)
	}
}

// signalAgain lets conditions see what a device says, once nothing mutes it any more.
func (p *Program) signalAgain(s *State, point int32, event uint64, sink Sink) {
	if p.muted(s, point) {
		return
	}
	if s.reading[point] {
		p.setPoint(s, term.DeviceActive, point, event)
	}
	news := s.lineEarly[point] && p.setPoint(s, term.DevicePrealarm, point, event)
	if s.valve[point] && p.setPoint(s, term.DeviceSupervisory, point, event) || news {
		p.setPanel(s, term.PanelAcknowledged, false, event, sink)
	}
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
		p.signalAgain(s, point, event, sink)
		p.rearm(s, point, event, sink)
	}
}

// setPoint makes a fact of a device so, as its line says it is; it reports whether it was not.
func (p *Program) setPoint(s *State, kind term.Kind, point int32, event uint64) bool {
	leaf, _ := p.net.leaf(term.Fact{Kind: kind, Index: point})
	s.gone[leaf] = false
	return p.setFact(s, leaf, true, event)
}
