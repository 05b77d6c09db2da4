package line

import "time"

// SetInput says what input i would report from now on. Changes of an instant come before the
// slots that begin at it. event is the number of the event that changed it.
func (l *Line) SetInput(s *State, now time.Duration, i int32, active, prealarm bool, event uint64) {
	d := &s.devices[i]
	if d.active == active && d.prealarm == prealarm {
		return
	}
	l.settle(s, now, Early)
	if d.active != active {
		d.read = false
	}
	d.active, d.prealarm, d.inputEvent = active, prealarm, event
	l.refresh(s, i)
}

// Preset says that input i is active at the start and has been read so already: t = 0 is a
// settled panel. Only before the first slot.
func (l *Line) Preset(s *State, i int32, active bool, event uint64) {
	d := &s.devices[i]
	d.active, d.reading, d.read, d.inputEvent = active, active, true, event
	l.refresh(s, i)
}

// SetPresence says what stands at address i from now on. A module that has its voltage again says in
// its next reply that it has restarted (common practice), and is told as often as need be what it may
// have forgotten, even where it was away for less than makes it missing. While the loop is overloaded one that
// is a load of the loop is not told again: it would bring the loop down as before.
func (l *Line) SetPresence(s *State, now time.Duration, i int32, p Presence, event uint64) {
	d := &s.devices[i]
	if d.presence == p {
		return
	}
	l.settle(s, now, Early)
	if (d.presence.Unfed || d.presence.Removed) && !p.Unfed && !p.Removed {
		d.tries = l.fresh(s, i)
	}
	d.presence, d.presenceEvent = p, event
	l.measure(s)
	l.refresh(s, i)
}

// SetOverload says whether an overload of the loop stands. When it ends the loads that differ from
// what they were told are told anew.
func (l *Line) SetOverload(s *State, now time.Duration, on bool) {
	if s.overload == on {
		return
	}
	l.settle(s, now, Early)
	s.overload = on
	for i := range s.devices {
		if !on && l.cfg.Devices[i].Load {
			s.devices[i].tries = 0
			l.refresh(s, int32(i))
		}
	}
}

// fresh is how many tries count as made of an output whose module has come back.
func (l *Line) fresh(s *State, i int32) uint8 {
	if s.overload && l.cfg.Devices[i].Load {
		return tries
	}
	return 0
}

// SetOutput says in which state output i is from now on; stage is that of the change.
func (l *Line) SetOutput(s *State, now time.Duration, stage Stage, i int32, o OutputState, event uint64) {
	d := &s.devices[i]
	if d.output == o {
		return
	}
	l.settle(s, now, stage)
	d.output, d.outputEvent = o, event
	l.refresh(s, i)
}

// SetCircuit says what output i's module reads of its circuit, at rest, from now on.
func (l *Line) SetCircuit(s *State, now time.Duration, stage Stage, i int32, c Circuit, event uint64) {
	d := &s.devices[i]
	if d.circuit == c {
		return
	}
	l.settle(s, now, stage)
	d.circuit, d.circuitEvent = c, event
	l.refresh(s, i)
}

// Watch asks, or no longer asks, for the ends of rounds to be noted: the controller looks at the
// continuity of the loop there. event is what gave the reason.
func (l *Line) Watch(s *State, now time.Duration, on bool, event uint64) {
	l.settle(s, now, Early)
	s.watched, s.watchEvent = on, event
}

// SetErrorRate changes the chance that a reply is garbled; visits already begun keep theirs.
func (l *Line) SetErrorRate(s *State, now time.Duration, rate float64, sink Sink) {
	l.settle(s, now, Early)
	s.rate = rate
	l.drawError(s, sink)
}

// Rearm lets input i make a fire signal again: its latch was cleared. With forget, readings
// counted so far are forgotten too.
func (l *Line) Rearm(s *State, now time.Duration, i int32, forget bool) {
	l.settle(s, now, Late)
	d := &s.devices[i]
	d.signalled = false
	if forget {
		d.count = 0
	}
	l.refresh(s, i)
}

// Presence returns what stands at address i.
func (s *State) Presence(i int32) Presence { return s.devices[i].presence }

// Pending reports how many commands wait or are in progress.
func (s *State) Pending() int { return len(s.queue) }

// Fault reports whether any fault of device i is raised.
func (s *State) Fault(i int32) bool {
	d := &s.devices[i]
	return d.missing || d.wrongType || d.duplicate || d.fault || d.circuitRead != Normal
}

// OutputFault reports whether output i does not do as commanded, or its circuit does not read normal.
func (s *State) OutputFault(i int32) bool {
	return s.devices[i].fault || s.devices[i].circuitRead != Normal
}

// SampleAfter returns the start of the first in-turn visit to device i that begins at or after
// t, as things stand and if nothing interferes: where the worst moment for a stimulus lies.
func (l *Line) SampleAfter(s *State, i int32, t time.Duration) time.Duration {
	start, round := l.startOf(s, i), l.Round(s)
	if start >= t {
		return start
	}
	rounds := int64((t - start + round - 1) / round)
	return start + time.Duration(rounds)*round
}

// Round is the length of one round as things stand: the sum of its visits.
func (l *Line) Round(s *State) time.Duration { return l.before(s, l.turns) }
