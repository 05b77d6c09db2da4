package plant

import "time"

// StandIn hands a piece of equipment over to somebody outside, or back to its model. From the
// handing over on its parts, its state word and its signals stay as they are, and only Give changes
// a signal; a trip that is handed over cuts what it cuts while its signal `tripped` shows. Given
// back, the model goes on from where its parts stand, with the inputs, power and faults of the day.
// The rule about time is that of Drive.
func (p *Plant) StandIn(s *State, now time.Duration, e int, on bool, cause uint64, sink Sink) {
	s.reach(now)
	u := unit{p: p, s: s, e: e, now: now}
	if u.state().outside == on {
		return
	}
	u.state().outside = on
	if on {
		u.haltAll()
	}
	p.run(s, e, cause, sink)
}

// StoodIn tells whether somebody outside stands in for a piece of equipment.
func (p *Plant) StoodIn(s *State, e int) bool { return s.units[e].outside }

// Give lets a signal show, or no longer, in place of the model. Without a stand-in, and if it says
// nothing new, it changes nothing. The rule about time is that of Drive.
func (p *Plant) Give(s *State, now time.Duration, e, signal int, on bool, cause uint64, sink Sink) {
	s.reach(now)
	shown := &s.signals[p.machines[e].firstSignal+signal]
	if !s.units[e].outside || *shown == on {
		return
	}
	*shown = on
	event := sink.Note(Change{Kind: SignalChanged, Equipment: int32(e), Index: int32(signal), On: on, Parent: cause})
	p.run(s, e, event, sink)
}
