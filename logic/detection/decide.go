package detection

import "time"

// source is a device with the event that makes it count.
type source struct {
	point int32
	event uint64
}

// Signal takes the signal of a fire input, as its line decided it; event is the one that says so.
// One of a device that is in fire already, or that is out for its restart, says nothing.
func (r *Rules) Signal(s *State, now time.Duration, point int32, event uint64, sink Sink) {
	sig, zone := &s.signals[point], r.points[point].Zone
	from := source{point, event}
	switch {
	case !s.Awaits(point) || sig.phase == restarting || sig.phase == entering || sig.phase == investigating:
		return
	case zone < 0:
		r.fire(s, from, sink)
	case r.points[point].Sense == Direct:
		r.fire(s, from, sink)
		r.release(s, zone, from, sink)
	case s.confirmed[zone]:
		r.become(s, from, sink)
	case sig.phase == watching:
		sig.event = sink.Note(Change{Kind: SignalVerified, Point: point, Parent: sig.event, Also: event})
		s.enter(point, idle, never)
		r.judge(s, now, source{point, sig.event}, sink)
	case sig.phase == idle && r.points[point].Sense == Smoke && r.zones[zone].Restart > 0:
		due := now + r.zones[zone].Restart
		s.enter(point, restarting, due)
		sig.event = sink.Note(Change{Kind: VerificationStarted, Point: point, Due: due, Parent: event})
	default:
		r.judge(s, now, from, sink)
	}
	r.cross(s, sink)
}

// judge decides on a detector's signal by the criterion of its zone, which is not met yet.
func (r *Rules) judge(s *State, now time.Duration, from source, sink Sink) {
	zone, sig := r.points[from.point].Zone, &s.signals[from.point]
	z, waiting := &r.zones[zone], r.heldOf(s, zone)
	if sig.phase == held {
		// Only a detector that was reset since can confirm its own signal.
		if z.Confirm == SameOrOther && sig.ready == never {
			r.confirmHeld(s, zone, from, sink)
			r.pass(s, zone, from.point, sink)
		}
		return
	}
	with, met := source{}, true
	switch z.Confirm {
	case SameOrOther:
		met = len(waiting) > 0
	case Other:
		met = len(waiting)+1 >= z.Detectors
	case OtherZone:
		with, met = r.support(s, zone)
	}
	if len(waiting) > 0 && z.Confirm != OtherZone {
		with = source{waiting[0], s.signals[waiting[0]].event}
	}
	if p, ok := s.investigated(); ok && r.points[p].Zone == zone {
		with, met = source{p, s.signals[p].event}, true // the criterion was met before
	}
	if !met {
		r.hold(s, now, from, sink)
		return
	}
	r.confirmHeld(s, zone, from, sink)
	s.enter(from.point, held, never)
	sig.event = from.event
	if z.Confirm != Nothing {
		sig.event = sink.Note(Change{Kind: SignalConfirmed, Point: from.point, By: with.point, Parent: from.event, Also: with.event})
	}
	r.pass(s, zone, from.point, sink)
}

// hold keeps a first signal until it is confirmed.
func (r *Rules) hold(s *State, now time.Duration, from source, sink Sink) {
	z, sig := &r.zones[r.points[from.point].Zone], &s.signals[from.point]
	c := Change{Kind: SignalHeld, Point: from.point, On: z.First == Fire, Parent: from.event}
	due := never
	if z.First != Fire {
		due = now + z.Within
		c.Due = due
	}
	s.enter(from.point, held, due)
	if z.Confirm == SameOrOther {
		sig.ready = now + z.ReadyAfter
	}
	sig.event = sink.Note(c)
	switch z.First {
	case Prealarm:
		s.show(from.point, true, sig.event, sink)
	case Fire:
		r.fire(s, source{from.point, sig.event}, sink)
	}
}

// confirmHeld notes of every signal held in a zone what confirms it.
func (r *Rules) confirmHeld(s *State, zone int32, by source, sink Sink) {
	for _, p := range r.heldOf(s, zone) {
		s.signals[p].event = sink.Note(Change{Kind: SignalConfirmed, Point: p, By: by.point, Parent: s.signals[p].event, Also: by.event})
	}
}

// pass lets everything held in a zone become fire, its criterion being met by the signal of a device.
// A lone signal is investigated first, if that is so in the zone.
func (r *Rules) pass(s *State, zone, by int32, sink Sink) {
	group := r.heldOf(s, zone)
	if _, running := s.investigated(); len(group) == 1 && r.zones[zone].Investigate && !running && s.total == 0 {
		s.enter(group[0], entering, never)
		s.acknowledged = false
		return
	}
	for _, p := range group {
		r.become(s, source{p, s.signals[p].event}, sink)
	}
	if r.points[by].Zone != zone {
		by = group[0]
	}
	s.confirm(zone, true, s.signals[by].event, sink)
}

// release lets everything that is held in a zone, for whatever reason, become fire at once, because
// a device fired that is never held.
func (r *Rules) release(s *State, zone int32, by source, sink Sink) {
	s.confirm(zone, true, by.event, sink)
	for _, p := range r.detectors[zone] {
		if sig := &s.signals[p]; sig.phase != idle {
			sig.event = sink.Note(Change{Kind: SignalConfirmed, Point: p, By: by.point, Parent: sig.event, Also: by.event})
			r.become(s, source{p, sig.event}, sink)
		}
	}
}

// cross confirms what is held in zones for the sake of another zone, until nothing more follows: a
// zone that is confirmed may be what a third one waits for.
func (r *Rules) cross(s *State, sink Sink) {
	for again := len(s.active) > 0; again; {
		again = false
		for _, zone := range r.crossed {
			if s.confirmed[zone] || len(r.heldOf(s, zone)) == 0 {
				continue
			}
			if with, ok := r.support(s, zone); ok {
				r.confirmHeld(s, zone, with, sink)
				r.pass(s, zone, with.point, sink)
				again = true
			}
		}
	}
}

// support finds a detector of another zone that confirms signals of this one: its own signal is
// held, or it is in fire.
func (r *Rules) support(s *State, zone int32) (source, bool) {
	for _, other := range r.zones[zone].Others {
		for _, p := range r.detectors[other] {
			if sig := &s.signals[p]; sig.fire || sig.phase == held || sig.phase == entering || sig.phase == investigating {
				return source{p, sig.event}, true
			}
		}
	}
	return source{}, false
}

// become lets a device's signal be fire, unless it is already; nothing of it is held any more.
func (r *Rules) become(s *State, from source, sink Sink) {
	s.enter(from.point, idle, never)
	if !s.signals[from.point].fire {
		r.fire(s, from, sink)
	}
}

// fire latches a device's fire. A fire anywhere ends the time for somebody to go and look.
func (r *Rules) fire(s *State, from source, sink Sink) {
	sig := &s.signals[from.point]
	sig.fire, sig.event = true, from.event
	if zone := r.points[from.point].Zone; zone >= 0 {
		s.fires[zone]++
	}
	s.total++
	sink.Fire(from.point, from.event)
	s.show(from.point, false, from.event, sink)
	if p, ok := s.investigated(); ok && p != from.point {
		r.endInvestigation(s, p, from.event, sink)
	}
}

// endInvestigation lets what is investigated be fire; also is what ended it before its time, or 0.
func (r *Rules) endInvestigation(s *State, p int32, also uint64, sink Sink) {
	sig := &s.signals[p]
	if sig.phase == investigating {
		sig.event = sink.Note(Change{Kind: InvestigationEnded, Point: p, Parent: sig.event, Also: also})
	}
	r.become(s, source{p, sig.event}, sink)
	s.confirm(r.points[p].Zone, true, sig.event, sink)
}

// show lets a device show as pre-alarm because its signal is held, or no longer do so.
func (s *State) show(p int32, on bool, event uint64, sink Sink) {
	if s.signals[p].early != on {
		s.signals[p].early = on
		sink.ShowPrealarm(p, on, event)
	}
}

// confirm notes whether the criterion of a zone is met.
func (s *State) confirm(zone int32, on bool, event uint64, sink Sink) {
	if s.confirmed[zone] != on {
		s.confirmed[zone] = on
		sink.Confirm(zone, on, event)
	}
}
