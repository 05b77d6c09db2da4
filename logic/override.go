package logic

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// OverrideStrength is the strength of what a switch demands: above every state, release and the
// inhibit included. Only a disabled output does not follow it.
const OverrideStrength = term.Off + 1

// override is a switch with the positions on, auto and off.
type override struct {
	level   uint8
	outputs []int32
}

// lever is one output in the reach of one override.
type lever struct {
	override      int32
	effect, place int32
	opposes       bool       // `on` rests it
	operated      term.State // the state that it operates in
}

// readOverrides reads the switches and the outputs in their reach.
func (c *compiler) readOverrides() {
	ids := make([]string, len(c.program.GetEffects()))
	for i, e := range c.program.GetEffects() {
		ids[i] = e.GetEffect()
	}
	c.p.leversOf = make([][]lever, len(c.world.Outputs))
	for i, o := range c.program.GetOverrides() {
		path := fmt.Sprintf("program.overrides[%d]", i)
		c.p.overrides = append(c.p.overrides, override{level: levelOf(o.Level != nil, o.GetLevel())})
		c.reach(int32(i), c.resolve(path+".effects", "effect", o.GetEffects(), ids), false, path)
		c.reach(int32(i), c.resolve(path+".opposes", "effect", o.GetOpposes(), ids), true, path)
	}
}

// reach adds the outputs of effects to the reach of an override.
func (c *compiler) reach(override int32, effects []int32, opposes bool, path string) {
	for _, e := range effects {
		c.p.overridden[e] = true
		for place, o := range c.p.outsOf.at(e) {
			held := c.p.leversOf[o]
			if n := len(held); n > 0 && held[n-1].override == override {
				if held[n-1].opposes != opposes {
					c.add(finding.Refuse("program.override-contradicts", path+".opposes", fmt.Sprintf("override %q both operates and rests %s", c.world.Overrides[override], c.world.Outputs[o].Label),
						"it stands in an effect of `effects` and in one of `opposes`; take it out of one of them"))
				}
				continue
			}
			operated := term.On
			if c.world.Outputs[o].Sounder {
				operated = term.Evacuate
			}
			c.p.leversOf[o] = append(held, lever{override: override, effect: e, place: int32(place), opposes: opposes, operated: operated})
			c.p.overrides[override].outputs = append(c.p.overrides[override].outputs, o)
		}
	}
}

// moveOverride puts a switch into a position. The last one moved counts at an output that several
// reach, as long as it is away from auto.
func (p *Program) moveOverride(s *State, op operation, sink Sink) {
	fact := term.Fact{Kind: term.OverrideAt, Index: op.Index, Value: op.Value}
	begins, ok := p.net.leaf(fact)
	if !ok {
		panic("logic: no such position: " + fact.String())
	}
	if s.net.value[begins] {
		return
	}
	ends, _ := p.net.leaf(term.Fact{Kind: term.OverrideAt, Index: op.Index, Value: p.Position(s, int(op.Index))})
	event := sink.Note(Change{Kind: OverrideMoved, Index: op.Index, Fact: fact, On: op.Value != term.Auto, Parent: op.event})
	p.setFact(s, ends, false, event)
	p.setFact(s, begins, true, event)
	s.moves++
	s.moved[op.Index] = s.moves
	for _, o := range p.overrides[op.Index].outputs {
		s.outputDue(o, event)
	}
}

// Position returns the position of an override.
func (p *Program) Position(s *State, override int) int32 {
	for at := range positions {
		if leaf, _ := p.net.leaf(term.Fact{Kind: term.OverrideAt, Index: int32(override), Value: at}); s.net.value[leaf] {
			return at
		}
	}
	panic(fmt.Sprintf("logic: override %d is in no position", override))
}

// ruling returns the lever of the override that rules an output: of those away from auto the one
// moved last.
func (p *Program) ruling(s *State, o int32) (ruling lever, position int32, ok bool) {
	last := uint64(0)
	for _, l := range p.leversOf[o] {
		if s.moved[l.override] <= last {
			continue
		}
		if at := p.Position(s, int(l.override)); at != term.Auto {
			ruling, position, ok, last = l, at, true, s.moved[l.override]
		}
	}
	return ruling, position, ok
}

// state is what a lever demands in a position away from auto.
func (l lever) state(position int32) term.State {
	if (position == term.SwitchedOn) == l.opposes {
		return term.Rest
	}
	return l.operated
}

// Overridden returns the override that rules an output, and false where none does or the output is
// disabled.
func (p *Program) Overridden(s *State, output int) (int, bool) {
	if p.disabledOutput(s, int32(output)) {
		return 0, false
	}
	l, _, ok := p.ruling(s, int32(output))
	return int(l.override), ok
}
