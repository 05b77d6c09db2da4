package logic

import (
	"cmp"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

const offBit = uint8(1) << term.Off

// asked returns the set of states that active pairs demand through the effect.
func (e *effectState) asked() uint8 {
	mask := uint8(0)
	for state := term.On; state <= term.Off; state++ {
		if e.demands[state] > 0 {
			mask |= 1 << state
		}
	}
	return mask
}

// because notes an event as the one that changes what the effect demands. Of several of one instant that
// of the strongest state answers for it, the last of equals.
func (e *effectState) because(state term.State, event, turn uint64) {
	if e.byTurn == turn && state < e.by {
		return
	}
	e.event, e.by, e.byTurn = event, state, turn
}

// resetEffects does what reset does to effects, once actions are reset: `until: reset` ends for
// every state of which no action goes on, one whose `unless` is true among them (rule J5).
func (p *Program) resetEffects(s *State) {
	for e := range s.effect {
		s.effectDue(int32(e))
		if s.effect[e].latched == 0 {
			continue
		}
		kept := uint8(0)
		for _, i := range p.pairsTo.at(int32(e)) {
			if s.pair[i].delay == done && !s.holds(p.guards[p.pairs[i].action].unless) {
				kept |= 1 << p.pairs[i].state
			}
		}
		if ended := s.effect[e].latched &^ kept; ended != 0 {
			s.effect[e].latched &= kept
			s.effect[e].event = s.turn.resetBy
		}
	}
}

// settleEffects brings the effects that are due up to date, in file order.
func (p *Program) settleEffects(s *State, sink Sink) {
	if s.turn.reset {
		p.freeSets(s, sink)
	}
	slices.Sort(s.scratch.effects)
	for _, e := range s.scratch.effects { // without those that takeSet adds
		p.takeSet(s, e, sink)
	}
	slices.Sort(s.scratch.effects) // takeSet may have added the other effects of a set
	for _, e := range s.scratch.effects {
		s.scratch.effectDue[e] = false
		p.settleEffect(s, e, sink)
	}
	s.scratch.effects = s.scratch.effects[:0]
}

// freeSets frees, at reset, every one_of set whose holder demands nothing any more.
func (p *Program) freeSets(s *State, sink Sink) {
	clear(s.scratch.freed)
	for set, holder := range s.holder {
		if holder >= 0 && (s.effect[holder].asked()|s.effect[holder].latched)&^offBit == 0 {
			s.holder[set] = -1
			s.effect[holder].event = sink.Note(Change{Kind: SetFreed, Index: holder, Effect: holder, Parent: s.turn.resetBy})
			s.scratch.freed[set] = s.effect[holder].event
		}
	}
}

// takeSet gives a free one_of set to the effect if it is demanded (rule E7).
func (p *Program) takeSet(s *State, e int32, sink Sink) {
	set := p.effects[e].set
	if set < 0 || s.holder[set] >= 0 || s.effect[e].asked()&^offBit == 0 {
		return
	}
	s.holder[set] = e
	taken := Change{Kind: SetTaken, Index: e, Effect: e, Parent: s.effect[e].event}
	if freed := s.scratch.freed[set]; freed != 0 && s.turn.reset { // it was demanded before, and waited
		s.scratch.events = append(s.scratch.events[:0], taken.Parent)
		taken.Parent, taken.Also = freed, s.scratch.events
	}
	s.effect[e].event = sink.Note(taken)
	for _, member := range p.sets.at(set) {
		s.effectDue(member)
	}
}

// settleEffect brings one effect up to date, and marks its outputs if what it demands changed.
func (p *Program) settleEffect(s *State, e int32, sink Sink) {
	ef, st := &p.effects[e], &s.effect[e]
	mask := st.asked()
	if ef.set >= 0 && s.holder[ef.set] >= 0 && s.holder[ef.set] != e {
		mask = 0
	}
	if ef.untilReset {
		st.latched |= mask
		mask = st.latched
	}
	if leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelEvacuate}); ef.evacuates && s.net.value[leaf] {
		mask |= 1 << term.Evacuate
	}
	if mask == st.mask {
		return
	}
	from, to := strongest(st.mask), strongest(mask)
	st.mask, st.turn = mask, s.turn.number
	if from != to {
		st.event = sink.Note(Change{Kind: EffectChanged, Index: e, Effect: e, From: from, State: to, On: to != term.Rest, Parent: st.event})
	}
	for _, o := range p.outsOf.at(e) {
		s.outputDue(o, st.event)
	}
}

// settleOutputs notes every output whose demand changed, in the order in which commands of one
// instant are sent: by state, the strongest first, then by file order of effects and of outputs
// in them (rule C2). A change of a state that some condition reads asks for another evaluation.
func (p *Program) settleOutputs(s *State, now time.Duration, sink Sink) {
	for _, o := range s.scratch.outputs {
		s.scratch.outDue[o] = false
		r := p.judge(s, o)
		out := &s.output[o]
		out.strength = r.strength()
		if r.state.Physical() != out.demand {
			s.scratch.order = append(s.scratch.order, r)
		}
	}
	s.scratch.outputs = s.scratch.outputs[:0]
	slices.SortFunc(s.scratch.order, func(a, b ranked) int {
		return cmp.Or(cmp.Compare(b.strength(), a.strength()), cmp.Compare(a.effect, b.effect), cmp.Compare(a.place, b.place), cmp.Compare(a.output, b.output))
	})
	for _, r := range s.scratch.order {
		out := &s.output[r.output]
		from := out.demand
		out.demand = r.state.Physical()
		out.event = sink.Note(Change{Kind: OutputDemanded, Index: r.output, Effect: r.effect, Place: r.place, Strength: r.strength(), From: from, State: out.demand, On: out.demand != term.Rest, Parent: r.why})
		if !p.watched[r.output] {
			continue
		}
		s.commanded = append(s.commanded, r.output)
		if s.chain >= p.chainLimit {
			sink.Note(Change{Kind: ChainStopped, Index: r.output, Effect: -1, Parent: out.event})
			continue
		}
		s.again = now + p.switchTime
	}
	s.scratch.order = s.scratch.order[:0]
}

// judge finds the strongest demand on an output after silence, overrides and disablement (rules E6, E8, J4):
// its state, Off for an inhibit, the first effect that demands it, and the event that brought the
// change about.
func (p *Program) judge(s *State, o int32) ranked {
	out, r := &s.output[o], ranked{output: o, effect: -1, why: s.scratch.why[o]}
	effects, places := p.effectsOf.at(o), p.placesOf.at(o)
	off := p.disabledOutput(s, o)
	if lever, position, ok := p.ruling(s, o); ok && !off {
		r.state, r.manual, r.effect, r.place = lever.Demands(position), true, lever.Effect, lever.Place
		return r
	}
	for i, e := range effects {
		mask := s.effect[e].mask
		if p.effects[e].silenceable {
			mask &^= (2<<out.silenced - 1) // states up to the silenced one; Off is above them all
		}
		if state := strongest(mask); state > r.state && !off {
			r.state, r.effect, r.place = state, e, places[i]
			r.why = s.scratch.why[o]
			if s.effect[e].turn == s.turn.number {
				r.why = s.effect[e].event
			}
		}
	}
	if r.effect < 0 && len(effects) > 0 {
		r.effect, r.place = effects[0], places[0]
	}
	if r.state.Physical() < out.demand && r.state != term.Off {
		r.why = s.scratch.why[o] // a weaker demand is left because a stronger one went
	}
	return r
}

// Disabled reports whether an output is at rest whatever demands: it is disabled, or the module it is or
// the equipment it drives.
func (p *Program) Disabled(s *State, output int) bool { return p.disabledOutput(s, int32(output)) }

// disabledOutput reports whether the output, the module it is or the equipment it drives is disabled.
func (p *Program) disabledOutput(s *State, o int32) bool {
	leaf, _ := p.net.leaf(term.Fact{Kind: term.OutputDisabled, Index: o})
	if s.net.value[leaf] {
		return true
	}
	if point := p.outputs[o].point; point >= 0 {
		leaf, _ = p.net.leaf(term.Fact{Kind: term.DeviceDisabled, Index: point})
		if s.net.value[leaf] {
			return true
		}
	}
	if equipment := p.outputs[o].equipment; equipment >= 0 {
		leaf, _ = p.net.leaf(term.Fact{Kind: term.EquipmentDisabled, Index: equipment})
		return s.net.value[leaf]
	}
	return false
}
