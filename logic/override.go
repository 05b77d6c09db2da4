package logic

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// override is a switch with the positions on, auto and off.
type override struct {
	level   panel.Level
	outputs []int32
}

// readOverrides reads the switches and the outputs in their reach.
func (c *compiler) readOverrides() {
	ids := make([]string, len(c.program.GetEffects()))
	for i, e := range c.program.GetEffects() {
		ids[i] = e.GetEffect()
	}
	c.p.leversOf = make([][]panel.Lever, len(c.world.Outputs))
	for i, o := range c.program.GetOverrides() {
		path := fmt.Sprintf("program.overrides[%d]", i)
		c.p.overrides = append(c.p.overrides, override{level: panel.LevelOf(o.Level != nil, o.GetLevel())})
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
			if n := len(held); n > 0 && held[n-1].Override == override {
				if held[n-1].Opposes != opposes {
					c.add(finding.Refuse("program.override-contradicts", path+".opposes", fmt.Sprintf("override %q both operates and rests %s", c.world.Overrides[override], c.world.Outputs[o].Label),
						"it stands in an effect of `effects` and in one of `opposes`; take it out of one of them"))
				}
				continue
			}
			operated := term.On
			if c.world.Outputs[o].Sounder {
				operated = term.Evacuate
			}
			c.p.leversOf[o] = append(held, panel.Lever{Override: override, Effect: e, Place: int32(place), Opposes: opposes, Operated: operated})
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
	s.moves.Move(op.Index)
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

// ruling returns the lever of the override that rules an output, and its position.
func (p *Program) ruling(s *State, o int32) (ruling panel.Lever, position int32, ok bool) {
	return s.moves.Ruling(p.leversOf[o], func(override int32) int32 { return p.Position(s, int(override)) })
}

// Overridden returns the override that rules an output, and false where none does or the output is
// disabled.
func (p *Program) Overridden(s *State, output int) (int, bool) {
	if p.disabledOutput(s, int32(output)) {
		return 0, false
	}
	l, _, ok := p.ruling(s, int32(output))
	return int(l.Override), ok
}
