package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// HasCalendar reports whether the mode changes by a calendar where a beginning is given.
func (p *Program) HasCalendar() bool { return len(p.calendar) > 0 }

// NewStateAt is NewState for a drill that begins at a moment of the week (panel.Week is the
// modulus): the mode is the calendar's, and moves with it. Without a calendar it is NewState.
func (p *Program) NewStateAt(begin time.Duration) *State {
	s := p.NewState()
	if !p.HasCalendar() {
		return s
	}
	mode, schedule := p.calendar.Begin(begin)
	s.net = wires{}
	p.settleAtRest(s, mode)
	s.schedule = schedule
	return s
}

// takeSchedule begins the mode that the calendar says, before all else of the instant: an operator
// of the same instant has the last word. A move that changes nothing is not noted, nor is one that came
// and went while the panel was stopped.
func (p *Program) takeSchedule(s *State, sink Sink) {
	mode, came := s.schedule.Pass(p.calendar, s.turn.now)
	if !came {
		return
	}
	if leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelMode, Value: mode}); !s.net.value[leaf] {
		p.setMode(s, mode, sink.Note(Change{Kind: ModeScheduled, Index: mode, On: true}), sink)
	}
}
