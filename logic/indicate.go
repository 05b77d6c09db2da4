package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// Condition is what the panel indicates. Several may stand at once; a smaller one is indicated
// before a greater one, the fire alarm condition first (EN 54-2 and ISO 7240-2; the order of the
// others is common practice).
type Condition uint8

// Conditions. Quiescent is that none of the others stands.
const (
	Quiescent Condition = iota
	FireCondition
	PrealarmCondition
	SupervisoryCondition
	FaultCondition
	DisablementCondition
	TestCondition
	conditionKinds
)

// String returns the word that panel.indicated is compared with.
func (c Condition) String() string {
	return [...]string{"quiescent", "fire", "prealarm", "supervisory", "fault", "disablement", "test"}[c]
}

// news reports whether the buzzer sounds when the condition, or one more reason for it, arises.
func (c Condition) news() bool { return c >= FireCondition && c <= FaultCondition }

// conditionOf says which condition a fact of the kind makes.
func conditionOf(k term.Kind) Condition {
	switch k {
	case term.DeviceFire:
		return FireCondition
	case term.DevicePrealarm:
		return PrealarmCondition
	case term.DeviceSupervisory:
		return SupervisoryCondition
	case term.DeviceFault, term.OutputFault, term.LoopFault, term.SupplyFault:
		return FaultCondition
	case term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled:
		return DisablementCondition
	case term.ZoneTest:
		return TestCondition
	}
	return Quiescent
}

// indication is what the panel shows and sounds.
type indication struct {
	standing [conditionKinds]int32  // facts that make each condition
	by       [conditionKinds]uint64 // event of the last change of one of them
	shown    [conditionKinds]bool   // as last noted
	// unheard counts the facts that the buzzer sounds for.
	unheard         int32
	newsBy, quietBy uint64 // events that made the buzzer sound, and fall silent
	// remindAt is when faults that stand sound again, or never; since is the acknowledgement it
	// counts from.
	remindAt time.Duration
	since    uint64
}

// setFact changes a fact, by event; it reports whether it was otherwise. All that the panel
// indicates is counted here.
func (p *Program) setFact(s *State, leaf int32, on bool, event uint64) bool {
	if !p.net.set(&s.net, leaf, on, event) {
		return false
	}
	c := p.net.condition[leaf]
	if c == Quiescent {
		return true
	}
	s.shows.by[c] = event
	if on {
		s.shows.standing[c]++
		if c.news() {
			p.news(s, leaf, event)
		}
		return true
	}
	s.shows.standing[c]--
	if s.unheard[leaf] {
		s.unheard[leaf] = false
		s.shows.unheard--
		s.shows.quietBy = event
	}
	return true
}

// news makes a fact one that the buzzer sounds for.
func (p *Program) news(s *State, leaf int32, event uint64) {
	if !s.unheard[leaf] {
		s.unheard[leaf] = true
		s.shows.unheard++
	}
	s.shows.newsBy = event
}

// newsAgain makes the buzzer sound for every fact that still makes one of the conditions.
func (p *Program) newsAgain(s *State, event uint64, wanted func(Condition) bool) {
	for leaf, c := range p.net.condition {
		if c != Quiescent && wanted(c) && s.net.value[leaf] {
			p.news(s, int32(leaf), event)
		}
	}
}

// acknowledge marks all that is indicated as heard. Faults that stand sound again after a time.
func (p *Program) acknowledge(s *State, event uint64, sink Sink) {
	event = p.setPanel(s, term.PanelAcknowledged, true, event, sink)
	if s.shows.unheard > 0 {
		clear(s.unheard)
		s.shows.unheard, s.shows.quietBy = 0, event
	}
	s.shows.remindAt = never
	if s.shows.standing[FaultCondition] > 0 {
		s.shows.remindAt, s.shows.since = s.turn.now+p.soundsAgain, event
	}
}

// remind sounds again for the faults that were acknowledged and still stand.
func (p *Program) remind(s *State) {
	if s.shows.remindAt <= s.turn.now {
		s.shows.remindAt = never
		p.newsAgain(s, s.shows.since, func(c Condition) bool { return c == FaultCondition })
	}
}

// settleIndication notes which conditions began or ended, the one indicated first at the head,
// and whether the buzzer sounds.
func (p *Program) settleIndication(s *State, sink Sink) {
	shows := &s.shows
	for c := FireCondition; c < conditionKinds; c++ {
		if stands := shows.standing[c] > 0; stands != shows.shown[c] {
			shows.shown[c] = stands
			sink.Note(Change{Kind: ConditionChanged, Index: int32(c), On: stands, Parent: shows.by[c]})
		}
	}
	if shows.standing[FaultCondition] == 0 {
		shows.remindAt = never
	}
	leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelBuzzer})
	if sounds := shows.unheard > 0; sounds != s.net.value[leaf] {
		parent := shows.quietBy
		if sounds {
			parent = shows.newsBy
		}
		p.setFact(s, leaf, sounds, sink.Note(Change{Kind: BuzzerChanged, On: sounds, Parent: parent}))
	}
}

// Stands reports whether a condition stands: any may beside any other, Quiescent alone.
func (p *Program) Stands(s *State, c Condition) bool {
	if c == Quiescent {
		return p.Indicated(s) == Quiescent
	}
	return s.shows.standing[c] > 0
}

// Indicated returns the condition that is indicated first.
func (p *Program) Indicated(s *State) Condition {
	for c := FireCondition; c < conditionKinds; c++ {
		if s.shows.standing[c] > 0 {
			return c
		}
	}
	return Quiescent
}

// Conditions lists the conditions that stand, the one indicated first at the head; none when the
// panel is quiescent.
func (p *Program) Conditions(s *State) []Condition {
	var standing []Condition
	for c := FireCondition; c < conditionKinds; c++ {
		if s.shows.standing[c] > 0 {
			standing = append(standing, c)
		}
	}
	return standing
}
