package detection

import (
	"slices"
	"time"
)

// Settle ends an instant: what is to be investigated begins to be, and what was waited for long
// enough comes. given tells whether signals of a zone are to be investigated now, and the event that
// made it so. now is never after what Next asked for.
func (r *Rules) Settle(s *State, now time.Duration, given func(zone int32) (bool, uint64), sink Sink) {
	if len(s.active) == 0 {
		return
	}
	if p, ok := s.investigated(); ok {
		r.settleInvestigation(s, now, p, given, sink)
	}
	for _, p := range slices.Clone(s.active) {
		sig := &s.signals[p]
		if sig.ready <= now {
			sig.ready = never
			sig.event = sink.Note(Change{Kind: DetectorReady, Point: p, Parent: sig.event})
		}
		if sig.due > now {
			continue
		}
		switch sig.phase {
		case restarting:
			s.enter(p, watching, now+r.zones[r.points[p].Zone].Window)
			sig.event = sink.Note(Change{Kind: DetectorReady, Point: p, Due: sig.due, Parent: sig.event})
		case watching:
			s.drop(p, source{p, sig.event}, false, sink)
		case held: // one that could have confirmed itself is ready as it is
			s.drop(p, source{p, sig.event}, r.zones[r.points[p].Zone].Confirm != SameOrOther, sink)
		}
	}
}

// settleInvestigation begins an investigation, or ends one that is over.
func (r *Rules) settleInvestigation(s *State, now time.Duration, p int32, given func(zone int32) (bool, uint64), sink Sink) {
	sig, zone := &s.signals[p], r.points[p].Zone
	wanted, event := given(zone)
	switch {
	case !wanted:
		r.endInvestigation(s, p, event, sink)
	case sig.phase == entering:
		due := now + r.zones[zone].AcknowledgeWithin
		s.enter(p, investigating, due)
		sig.event = sink.Note(Change{Kind: InvestigationStarted, Point: p, Due: due, Parent: sig.event})
		s.show(p, true, sig.event, sink)
	case sig.due <= now:
		r.endInvestigation(s, p, 0, sink)
	}
}

// Acknowledge says that somebody has acknowledged, and so goes to look. Of a signal of this very
// instant nobody can have known.
func (r *Rules) Acknowledge(s *State, now time.Duration, event uint64, sink Sink) {
	p, ok := s.investigated()
	if !ok || s.acknowledged || s.signals[p].phase == entering {
		return
	}
	sig := &s.signals[p]
	s.acknowledged = true
	sig.due = now + r.zones[r.points[p].Zone].Extra
	sig.event = sink.Note(Change{Kind: InvestigationAcknowledged, Point: p, Due: sig.due, Parent: sig.event, Also: event})
}

// Reset ends everything that is held: each detector is reset, and signals anew if its cause is still
// there. latched tells which devices stay in fire over the reset. A zone stays confirmed as long as
// any of its devices does; one whose first signal is fire already (type C) only if those that stay
// would confirm it again, so that one detector that still smokes does not let the gas go once more.
func (r *Rules) Reset(s *State, event uint64, latched func(point int32) bool, sink Sink) {
	for p := range s.signals {
		sig := &s.signals[p]
		switch {
		case !sig.fire:
			r.Drop(s, int32(p), event, sink)
		case !latched(int32(p)):
			sig.fire = false
			s.enter(int32(p), idle, never)
			if zone := r.points[p].Zone; zone >= 0 {
				s.fires[zone]--
			}
			s.total--
		}
	}
	for zone := range s.confirmed {
		switch {
		case s.fires[zone] == 0:
			s.confirm(int32(zone), false, event, sink)
		case s.confirmed[zone] && !r.confirmedAgain(s, int32(zone)):
			s.confirm(int32(zone), false, event, sink)
			for _, p := range r.detectors[zone] {
				if s.signals[p].fire {
					s.enter(p, held, never)
				}
			}
		}
	}
}

// confirmedAgain reports whether the fires that outlast a reset meet the criterion of their zone.
func (r *Rules) confirmedAgain(s *State, zone int32) bool {
	z := &r.zones[zone]
	if z.First != Fire {
		return true // there was no fire before the criterion was met
	}
	detectors := 0
	for p := range s.signals {
		if sig := &s.signals[p]; sig.fire && r.points[p].Zone == zone {
			if r.points[p].Sense == Direct {
				return true
			}
			detectors++
		}
	}
	switch z.Confirm {
	case Other:
		return detectors >= z.Detectors
	case OtherZone:
		_, ok := r.support(s, zone)
		return ok
	}
	return true
}

// Drop ends what is held of a device's signal, because the device is disabled or in test from now
// on; one that shows as fire already stays.
func (r *Rules) Drop(s *State, point int32, event uint64, sink Sink) {
	if sig := &s.signals[point]; sig.phase != idle && !sig.fire {
		s.drop(point, source{point, event}, true, sink)
	}
}

// drop ends what is held of a device's signal; with reset the detector is reset besides.
func (s *State) drop(p int32, why source, reset bool, sink Sink) {
	s.enter(p, idle, never)
	event := sink.Note(Change{Kind: SignalDropped, Point: p, Parent: why.event})
	s.show(p, false, event, sink)
	if reset {
		sink.Note(Change{Kind: DetectorReady, Point: p, Parent: event})
	}
}
