package logic

import (
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// setFact changes a fact, by event; it reports whether it was otherwise. All that the panel
// indicates is counted here.
func (p *Program) setFact(s *State, leaf int32, on bool, event uint64) bool {
	if !p.net.set(&s.net, leaf, on, event) {
		return false
	}
	if c := p.net.condition[leaf]; on {
		s.shows.Begins(leaf, c, event)
	} else {
		s.shows.Ends(leaf, c, event)
	}
	return true
}

// newsAgain makes the buzzer sound for every fact that still makes one of the conditions.
func (p *Program) newsAgain(s *State, event uint64, wanted func(panel.Condition) bool) {
	for leaf, c := range p.net.condition {
		if c != panel.Quiescent && wanted(c) && s.net.value[leaf] {
			s.shows.Sound(int32(leaf), event)
		}
	}
}

// acknowledge marks all that is indicated as heard. Faults that stand sound again after a time.
func (p *Program) acknowledge(s *State, event uint64, sink Sink) {
	event = p.setPanel(s, term.PanelAcknowledged, true, event, sink)
	s.shows.Acknowledge(s.turn.now+p.soundsAgain, event)
}

// remind sounds again for the faults that were acknowledged and still stand.
func (p *Program) remind(s *State) {
	if since, due := s.shows.Reminds(s.turn.now); due {
		p.newsAgain(s, since, func(c panel.Condition) bool { return c == panel.Fault })
	}
}

// settleIndication notes which conditions began or ended, the one indicated first at the head,
// and whether the buzzer sounds.
func (p *Program) settleIndication(s *State, sink Sink) {
	s.shows.Settle(func(c panel.Condition, stands bool, by uint64) {
		sink.Note(Change{Kind: ConditionChanged, Index: int32(c), On: stands, Parent: by})
	})
	leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelBuzzer})
	if sounds, by := s.shows.Buzzer(); sounds != s.net.value[leaf] {
		p.setFact(s, leaf, sounds, sink.Note(Change{Kind: BuzzerChanged, On: sounds, Parent: by}))
	}
}

// Stands reports whether a condition stands: any may beside any other, Quiescent alone.
func (p *Program) Stands(s *State, c panel.Condition) bool { return s.shows.Stands(c) }

// Indicated returns the condition that is indicated first.
func (p *Program) Indicated(s *State) panel.Condition { return s.shows.First() }

// Conditions lists the conditions that stand, the one indicated first at the head; none when the
// panel is quiescent.
func (p *Program) Conditions(s *State) []panel.Condition { return s.shows.All() }
