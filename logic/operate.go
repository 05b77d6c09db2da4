package logic

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// takeOperations does what operators did in this instant, in order, a reset last.
func (p *Program) takeOperations(s *State, sink Sink) {
	resetBy, reset := uint64(0), false
	for _, op := range s.ops {
		if p.refused(op, sink) {
			continue
		}
		if op.Kind == Reset {
			resetBy, reset = op.event, true
			continue
		}
		p.operate(s, op, sink)
	}
	s.ops = s.ops[:0]
	if reset {
		p.reset(s, resetBy, sink)
	}
}

// operate does one act.
func (p *Program) operate(s *State, op operation, sink Sink) {
	switch op.Kind {
	case Acknowledge:
		p.detection.Acknowledge(&s.detection, s.turn.now, op.event, signalSink{p, s, sink})
		p.acknowledge(s, op.event, sink)
	case Silence:
		p.silence(s, op.event, sink)
	case Resound:
		p.endSilence(s, op.event, sink)
	case Evacuate:
		p.endSilence(s, op.event, sink)
		p.setEvacuate(s, true, op.event, sink)
	case Control:
		p.control(s, op, sink)
	case Mode:
		p.setMode(s, op.Value, op.event, sink)
	case DisableDevice:
		p.disable(s, term.Fact{Kind: term.DeviceDisabled, Index: op.Index}, op, sink)
	case DisableZone:
		p.disable(s, term.Fact{Kind: term.ZoneDisabled, Index: op.Index}, op, sink)
	case DisableOutput:
		p.disable(s, term.Fact{Kind: term.OutputDisabled, Index: op.Index}, op, sink)
	case DisableEquipment:
		p.disable(s, term.Fact{Kind: term.EquipmentDisabled, Index: op.Index}, op, sink)
	case TestZone:
		p.test(s, op, sink)
	case MoveOverride:
		p.moveOverride(s, op, sink)
	default:
		panic(fmt.Sprintf("logic: no operation %d", op.Kind))
	}
}

// control turns one of the panel's extra keys on or off.
func (p *Program) control(s *State, op operation, sink Sink) {
	leaf, _ := p.net.leaf(term.Fact{Kind: term.ControlOn, Index: op.Index})
	if s.net.value[leaf] == op.On {
		return
	}
	event := sink.Note(Change{Kind: ControlChanged, Index: op.Index, On: op.On, Parent: op.event})
	p.setFact(s, leaf, op.On, event)
	for i := range p.phasings {
		if op.On && p.phasings[i].hurry == op.Index {
			s.scratch.hurries = append(s.scratch.hurries, hurried{int32(i), event})
		}
	}
}

// setPanel changes one of the panel's own flags; it returns the event of the change, or the one
// given where nothing changed.
func (p *Program) setPanel(s *State, kind term.Kind, on bool, event uint64, sink Sink) uint64 {
	fact := term.Fact{Kind: kind}
	leaf, _ := p.net.leaf(fact)
	if s.net.value[leaf] == on {
		return event
	}
	event = sink.Note(Change{Kind: PanelChanged, Index: int32(kind), Fact: fact, On: on, Parent: event})
	p.setFact(s, leaf, on, event)
	return event
}

// setMode begins a mode.
func (p *Program) setMode(s *State, mode int32, event uint64, sink Sink) {
	fact := term.Fact{Kind: term.PanelMode, Value: mode}
	begins, ok := p.net.leaf(fact)
	if !ok {
		panic(fmt.Sprintf("logic: no mode %d", mode))
	}
	if s.net.value[begins] {
		return
	}
	event = sink.Note(Change{Kind: PanelChanged, Index: int32(term.PanelMode), Fact: fact, On: true, Parent: event})
	ends, _ := p.net.leaf(term.Fact{Kind: term.PanelMode, Value: term.Day + term.Night - mode})
	p.setFact(s, begins, true, event)
	p.setFact(s, ends, false, event)
}

// silence removes, at every output, what is demanded through silenceable effects, up to the
// strongest state now so demanded (rules E8, J4).
func (p *Program) silence(s *State, event uint64, sink Sink) {
	event = p.setPanel(s, term.PanelSilenced, true, event, sink)
	for o := range s.output {
		for _, e := range p.effectsOf.at(int32(o)) {
			if !p.effects[e].silenceable {
				continue
			}
			if demanded := strongest(s.effect[e].mask &^ (1 << term.Off)); demanded > s.output[o].silenced {
				s.output[o].silenced = demanded
				s.outputDue(int32(o), event)
			}
		}
	}
}

// endSilence lets all that was silenced sound again.
func (p *Program) endSilence(s *State, event uint64, sink Sink) {
	event = p.setPanel(s, term.PanelSilenced, false, event, sink)
	for o := range s.output {
		if s.output[o].silenced != term.Rest {
			s.output[o].silenced = term.Rest
			s.outputDue(int32(o), event)
		}
	}
}

// setEvacuate turns the evacuate control on or off.
func (p *Program) setEvacuate(s *State, on bool, event uint64, sink Sink) {
	if leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelEvacuate}); s.net.value[leaf] == on {
		return
	}
	event = p.setPanel(s, term.PanelEvacuate, on, event, sink)
	for e := range p.effects {
		if p.effects[e].evacuates {
			s.effect[e].event = event
			s.effectDue(int32(e))
		}
	}
}

// disable disables or enables a device, a zone, an output or an equipment.
func (p *Program) disable(s *State, fact term.Fact, op operation, sink Sink) {
	leaf, ok := p.net.leaf(fact)
	if !ok {
		panic("logic: nothing to disable: " + fact.String())
	}
	if s.net.value[leaf] == op.On {
		return
	}
	event := sink.Note(Change{Kind: DisabledChanged, Index: fact.Index, Fact: fact, On: op.On, Parent: op.event})
	p.setFact(s, leaf, op.On, event)
	switch fact.Kind {
	case term.OutputDisabled:
		s.outputDue(fact.Index, event)
	case term.EquipmentDisabled:
		for _, drives := range p.driving {
			if drives[0] == fact.Index {
				s.outputDue(drives[1], event)
			}
		}
	case term.DeviceDisabled:
		if output := p.points[fact.Index].output; output >= 0 {
			s.outputDue(output, event)
		}
		p.able(s, fact.Index, event, sink)
	case term.ZoneDisabled:
		for i := range p.points {
			if p.points[i].zone == fact.Index {
				p.able(s, int32(i), event, sink)
			}
		}
	}
}

// able does what follows at a device once it, or its zone, is disabled or enabled: the signals of one
// that is disabled are gone for conditions, and what is held of them is dropped; one that is enabled
// signals what it still has to say.
func (p *Program) able(s *State, point int32, event uint64, sink Sink) {
	if p.disabled(s, point) {
		p.dropSignal(s, point, event, sink)
		p.endSignals(s, point, event)
	}
	p.signalAgain(s, point, event, sink)
	p.rearm(s, point, event, sink)
}

// rearm lets the line decide anew on a device whose decision was withheld, once it is enabled.
func (p *Program) rearm(s *State, point int32, event uint64, sink Sink) {
	if s.withheld[point] && !p.disabled(s, point) {
		s.withheld[point] = false
		sink.Note(Change{Kind: Unlatched, Index: point, Parent: event})
	}
}

// reset does the first part of a reset: what is latched is judged by its last reading. What
// becomes of actions and effects follows when the conditions are known.
func (p *Program) reset(s *State, event uint64, sink Sink) {
	event = sink.Note(Change{Kind: PanelReset, Parent: event})
	s.turn.reset, s.turn.resetBy = true, event
	clear(s.zoneFire)
	for i := range p.points {
		fire, _ := p.net.leaf(term.Fact{Kind: term.DeviceFire, Index: int32(i)})
		if !s.net.value[fire] {
			continue
		}
		if s.reading[i] && !p.dropAll && !p.muted(s, int32(i)) {
			if zone := p.points[i].zone; zone >= 0 {
				s.zoneFire[zone] = true
			}
			continue
		}
		p.setFact(s, fire, false, sink.Note(Change{Kind: Unlatched, Index: int32(i), On: true, Parent: event}))
	}
	p.detection.Reset(&s.detection, event, func(point int32) bool { return p.fires(s, point) }, signalSink{p, s, sink})
	p.clearGone(s, event, sink)
	p.newsAgain(s, event, panel.Condition.News)
	s.shows.Forget()
	p.endSilence(s, event, sink)
	p.setPanel(s, term.PanelAcknowledged, false, event, sink)
	p.setEvacuate(s, false, event, sink)
}

// clearGone clears latched signals beside fire that are there no more.
func (p *Program) clearGone(s *State, event uint64, sink Sink) {
	for kind := range term.OutputState {
		if !p.latches[kind] && (kind != term.DeviceActive || !p.latchesTechnical) {
			continue
		}
		for i := range p.net.size[kind] {
			fact := term.Fact{Kind: kind, Index: i}
			leaf, _ := p.net.leaf(fact)
			if s.gone[leaf] {
				s.gone[leaf] = false
				p.setFact(s, leaf, false, sink.Note(Change{Kind: SignalUnlatched, Index: i, Fact: fact, Parent: event}))
			}
		}
	}
}
