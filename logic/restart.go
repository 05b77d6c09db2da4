package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// lasting are the kinds of facts that a panel keeps when it stops: what operators have disabled and
// put into test, where switches stand, and the mode (common practice).
var lasting = [...]term.Kind{
	term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled, term.ZoneTest, term.ControlOn, term.OverrideAt, term.PanelMode,
}

// Halt makes the program that of a panel that has stopped: latches, timers, silence and all that it
// knew of the installation are gone, without a note, and nothing is demanded. What is lasting stays.
// It must not be evaluated before Restart.
func (p *Program) Halt(s *State, now time.Duration) {
	fresh := p.NewState()
	p.net.settle(&fresh.net, p.kept(s))
	fresh.turn = turn{number: s.turn.number, now: now}
	fresh.moves.CopyFrom(&s.moves)
	fresh.schedule = s.schedule
	for leaf := range p.net.leaves {
		if !fresh.net.value[leaf] || s.net.event[leaf] == 0 {
			continue
		}
		fresh.net.event[leaf] = s.net.event[leaf]
		if c := p.net.condition[leaf]; c != panel.Quiescent {
			fresh.shows.Keep(c, s.net.event[leaf])
		}
	}
	s.CopyFrom(fresh)
}

// kept lists the facts that hold on a panel that knows nothing but what is lasting.
func (p *Program) kept(s *State) []int32 {
	var facts []int32
	for o := range p.outputs {
		leaf, _ := p.net.leaf(term.Fact{Kind: term.OutputCommanded, Index: int32(o)})
		facts = append(facts, leaf)
	}
	for _, kind := range lasting {
		for leaf := p.net.base[kind]; leaf < p.net.base[kind]+p.net.size[kind]; leaf++ {
			if s.net.value[leaf] {
				facts = append(facts, leaf)
			}
		}
	}
	return facts
}

// Restart makes the program that of a panel that starts at the instant now, and must be evaluated
// then: as Halt does, and switches that are away from auto act at once.
func (p *Program) Restart(s *State, now time.Duration) {
	p.Halt(s, now)
	for i := range p.overrides {
		at := p.Position(s, i)
		if at == term.Auto {
			continue
		}
		leaf, _ := p.net.leaf(term.Fact{Kind: term.OverrideAt, Index: int32(i), Value: at})
		for _, o := range p.overrides[i].outputs {
			s.outputDue(o, s.net.event[leaf])
		}
	}
}
