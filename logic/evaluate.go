package logic

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// ChainLimit is the greatest number of evaluations that may follow one another for no other
// reason than that an output's commanded state changed (rule J6): a condition that denies its
// own effect would go on for ever. Reaching it is noted as ChainStopped.
const ChainLimit = 1000

// Evaluate brings the program up to date at the instant now, once for all that was set and
// queued for it: facts, operators, reset, timers, conditions, effects, outputs (rule E9). now is
// never before the last instant, and never after what Next asked for: a timer passed over is a
// broken contract, and it panics.
func (p *Program) Evaluate(s *State, now time.Duration, sink Sink) {
	if next, ok := p.Next(s); ok && next < now {
		panic(fmt.Sprintf("logic: evaluated at %v, after what was due at %v", now, next))
	}
	if now < s.turn.now {
		panic(fmt.Sprintf("logic: evaluated at %v, after %v", now, s.turn.now))
	}
	s.turn = turn{number: s.turn.number + 1, now: now}
	s.net.looked = 0
	s.countChain(now)
	p.takeSchedule(s, sink)
	p.takeCommanded(s)
	p.takeInputs(s, sink)
	p.remind(s)
	p.takeOperations(s, sink)
	p.net.propagate(&s.net)
	p.settleSignals(s, sink)
	p.settleIndication(s, sink)
	p.net.propagate(&s.net)
	p.noteCauses(s, sink)
	if s.turn.reset {
		for i := range s.pair {
			p.resetPair(s, int32(i), sink)
			s.pairDue(int32(i))
		}
		p.resetEffects(s)
	}
	p.hurry(s, sink)
	s.timersDue(0)
	slices.Sort(s.scratch.pairs)
	for _, i := range s.scratch.pairs {
		s.scratch.pairDue[i] = false
		p.step(s, i, sink)
	}
	s.scratch.pairs = s.scratch.pairs[:0]
	p.settleEffects(s, sink)
	p.settleOutputs(s, now, sink)
	s.started = true
}

// countChain counts evaluations that have no other reason than a commanded state.
func (s *State) countChain(now time.Duration) {
	timed := s.timed() <= now
	if len(s.inputs) > 0 || len(s.ops) > 0 || timed || !s.started {
		s.chain = 0
	} else if s.again <= now {
		s.chain++
	}
}

// takeCommanded lets conditions see what the evaluation before demanded.
func (p *Program) takeCommanded(s *State) {
	for _, o := range s.commanded {
		out := &s.output[o]
		for state := range term.Off {
			leaf, _ := p.net.leaf(term.Fact{Kind: term.OutputCommanded, Index: o, Value: int32(state)})
			p.setFact(s, leaf, state == out.demand, out.event)
		}
	}
	s.commanded, s.again = s.commanded[:0], never
}

// takeInputs takes the facts set for this instant, in order.
func (p *Program) takeInputs(s *State, sink Sink) {
	for _, in := range s.inputs {
		leaf, _ := p.net.leaf(in.fact)
		follows := p.takeReading(s, in, sink)
		switch {
		case !follows:
		case in.fact.Kind == term.DeviceFire:
			if in.on && s.detection.Awaits(in.fact.Index) {
				p.takeFire(s, in, sink)
			}
		case p.showsEarly(s, in):
		case !in.on && p.latched(in.fact):
			s.gone[leaf] = s.net.value[leaf]
		default:
			s.gone[leaf] = false
			fresh := p.setFact(s, leaf, in.on, in.event)
			if !fresh && in.on && again(in.fact.Kind) {
				s.shows.Sound(leaf, in.event)
				fresh = true
			}
			if fresh && in.on && isEvent(in.fact.Kind) {
				p.setPanel(s, term.PanelAcknowledged, false, in.event, sink)
			}
		}
	}
	s.inputs = s.inputs[:0]
}

// isEvent reports whether a fact of the kind is news that the operator has not acknowledged yet.
func isEvent(k term.Kind) bool {
	switch k {
	case term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault, term.OutputFault, term.SupplyFault, term.LoopFault:
		return true
	}
	return false
}

// again reports whether a fact of the kind that is so already is news where it is told once more: a further
// fault of the same device, output or loop. Of supplies each reading is told, not each fault.
func again(k term.Kind) bool {
	return k == term.DeviceFault || k == term.OutputFault || k == term.LoopFault
}

// latched reports whether a fact stays until reset after its signal has gone.
func (p *Program) latched(f term.Fact) bool {
	return p.latches[f.Kind] || f.Kind == term.DeviceActive && p.latchesTechnical && p.points[f.Index].technical
}

// disabled reports whether the device or its zone is disabled.
func (p *Program) disabled(s *State, point int32) bool {
	leaf, _ := p.net.leaf(term.Fact{Kind: term.DeviceDisabled, Index: point})
	if s.net.value[leaf] {
		return true
	}
	if zone := p.points[point].zone; zone >= 0 && p.points[point].fire {
		leaf, _ = p.net.leaf(term.Fact{Kind: term.ZoneDisabled, Index: zone})
		return s.net.value[leaf]
	}
	return false
}

// noteCauses notes every cause that changed, in file order, and marks what depends on it.
func (p *Program) noteCauses(s *State, sink Sink) {
	for _, node := range s.net.changed {
		for _, c := range p.users.causes.at(node) {
			if s.cause[c].seen != s.net.value[node] {
				s.scratch.causes = append(s.scratch.causes, c)
			}
		}
		for _, action := range p.users.actions.at(node) {
			for _, i := range p.pairsByAct.at(action) {
				s.pairDue(i)
			}
		}
	}
	s.net.changed = s.net.changed[:0]
	if !s.started {
		s.scratch.causes = s.scratch.causes[:0]
		for c, node := range p.causes {
			if s.net.value[node] {
				s.scratch.causes = append(s.scratch.causes, int32(c))
			}
		}
	}
	slices.Sort(s.scratch.causes)
	for _, c := range s.scratch.causes {
		node := p.causes[c]
		if s.cause[c].seen == s.net.value[node] {
			continue // listed twice
		}
		s.cause[c].seen, s.cause[c].turn = s.net.value[node], s.turn.number
		change := Change{Kind: CauseChanged, Index: c, On: s.cause[c].seen}
		s.scratch.events = p.net.support(&s.net, node, s.scratch.events[:0], 1+alsoLimit)
		if events := s.scratch.events; len(events) > 0 {
			change.Parent, change.Also = events[0], events[1:]
		}
		s.cause[c].event = sink.Note(change)
		for _, i := range p.pairsOf.at(c) {
			s.pairDue(i)
		}
	}
	s.scratch.causes = s.scratch.causes[:0]
}

// timersDue marks the pairs that are due in the part of the heap from a place on. What is due
// stands at the front of the heap, so nothing else is looked at.
func (s *State) timersDue(slot int) {
	if slot >= len(s.timers) || s.pair[s.timers[slot]].earliest() > s.turn.now {
		return
	}
	s.pairDue(s.timers[slot])
	s.timersDue(2*slot + 1)
	s.timersDue(2*slot + 2)
}

// pairDue marks a pair to be looked at in this evaluation.
func (s *State) pairDue(i int32) {
	if !s.scratch.pairDue[i] {
		s.scratch.pairDue[i] = true
		s.scratch.pairs = append(s.scratch.pairs, i)
	}
}

// effectDue marks an effect.
func (s *State) effectDue(e int32) {
	if !s.scratch.effectDue[e] {
		s.scratch.effectDue[e] = true
		s.scratch.effects = append(s.scratch.effects, e)
	}
}

// outputDue marks an output, with the event that made it due.
func (s *State) outputDue(o int32, why uint64) {
	if !s.scratch.outDue[o] {
		s.scratch.outDue[o] = true
		s.scratch.outputs = append(s.scratch.outputs, o)
	}
	s.scratch.why[o] = why
}
