package line

import (
	"math"
	"time"
)

// Advance executes the line's event at now. The caller has it from Next.
func (l *Line) Advance(s *State, now time.Duration, m Moment, sink Sink) {
	if m == End {
		l.end(s, sink)
		return
	}
	l.begin(s, now, sink)
}

// begin chooses what the slot that begins at now is: a command, an out-of-turn visit, or the
// visit whose turn it is.
func (l *Line) begin(s *State, now time.Duration, sink Sink) {
	l.skipTo(s, now)
	l.queueRepeat(s, now, sink)
	switch {
	case len(s.queue) > 0 && s.burst < l.cfg.CommandsBetweenVisits:
		l.beginCommand(s, now, sink)
	case s.request >= 0:
		l.beginVisit(s, now, outOfTurn, s.request)
		s.request = -1
	default:
		l.beginVisit(s, now, l.kindOf(s.turn), s.turn)
	}
}

// beginVisit samples the device: what it would say now is what the controller acts on at the
// end of the slot.
func (l *Line) beginVisit(s *State, now time.Duration, kind slotKind, turn int32) {
	if kind == probe {
		l.open(s, slot{kind: probe, device: turn, reply: none, end: now + l.cfg.NoReplySlot})
		return
	}
	d := &s.devices[turn]
	sl := slot{kind: kind, device: turn, reply: l.answers(d), end: now + l.cfg.PollSlot}
	if sl.reply == none {
		sl.end = now + l.cfg.NoReplySlot
	} else if s.visits == s.nextError {
		sl.reply = noise
	}
	if sl.reply == valid {
		sl.active, sl.pre = d.sampled()
		sl.output, sl.circuit = d.shown(), d.circuitShown()
		sl.double = d.presence.Duplicate == DuplicateSame && !d.alone()
		d.read = d.read || !d.alone()
	}
	l.open(s, sl)
}

// end acts on the slot that ends now.
func (l *Line) end(s *State, sink Sink) {
	sl := s.cur
	s.cur = slot{}
	if s.visits > s.nextError {
		l.drawError(s, sink)
	}
	if sl.kind == command {
		l.endCommand(s, sl, sink)
		return
	}
	s.burst = 0
	if sl.kind != probe {
		l.endVisit(s, sl, sink)
		l.refresh(s, sl.device)
	}
	if s.watched && sl.kind != outOfTurn && sl.device == l.turns-1 {
		sink.Note(Change{Kind: RoundEnded, Device: -1, Parent: s.watchEvent})
	}
	if sl.kind != outOfTurn {
		s.request = l.wanted(s)
	}
}

// endVisit is what the controller concludes from one visit.
func (l *Line) endVisit(s *State, sl slot, sink Sink) {
	i := sl.device
	d := &s.devices[i]
	switch sl.reply {
	case none, collision:
		l.badVisit(d, i, sl.reply, sink)
	case wrong:
		d.bad = 0
		l.raise(&d.missing, false, MissingFault, i, d.presenceEvent, sink)
		l.raise(&d.duplicate, false, DuplicateSeen, i, d.presenceEvent, sink)
		l.raise(&d.wrongType, true, WrongType, i, d.presenceEvent, sink)
	case noise:
		sink.Note(Change{Kind: Garbled, Device: i})
	case valid:
		d.bad = 0
		if d.missing { // back, it may have forgotten what it was told: it is told as often as need be
			d.tries = l.fresh(s, i)
		}
		l.raise(&d.missing, false, MissingFault, i, d.presenceEvent, sink)
		l.raise(&d.wrongType, false, WrongType, i, d.presenceEvent, sink)
		l.raise(&d.duplicate, sl.double && l.cfg.ReplyCurrentCheck, DuplicateSeen, i, d.presenceEvent, sink)
		l.readCircuit(d, i, sl, sink)
		if l.cfg.Devices[i].Output {
			l.compare(s, i, sl.output, sink)
		} else {
			l.readInput(d, i, sl, sink)
		}
	}
}

// badVisit counts visits in a row that brought no good reply.
func (l *Line) badVisit(d *device, i int32, r reply, sink Sink) {
	d.bad = min(d.bad+1, uint8(l.cfg.MissedReplies))
	if int32(d.bad) < l.cfg.MissedReplies {
		return
	}
	if r == none {
		l.raise(&d.missing, true, MissingFault, i, d.presenceEvent, sink)
	} else {
		l.raise(&d.duplicate, true, DuplicateSeen, i, d.presenceEvent, sink)
	}
}

// raise sets or clears a fault, and notes it if that changes anything.
func (l *Line) raise(fault *bool, on bool, kind Kind, i int32, parent uint64, sink Sink) {
	if *fault == on {
		return
	}
	*fault = on
	sink.Note(Change{Kind: kind, Device: i, On: on, Parent: parent})
}

// readCircuit takes the reading of a circuit at rest; while the output is operated the last one
// stands.
func (l *Line) readCircuit(d *device, i int32, sl slot, sink Sink) {
	if sl.output != 0 || d.circuitRead == sl.circuit {
		return
	}
	if d.circuitRead == Short || sl.circuit == Normal {
		d.tries = 0 // a circuit that was held off may be energised now
	}
	d.circuitRead = sl.circuit
	sink.Note(Change{Kind: CircuitRead, Device: i, On: sl.circuit != Normal, Circuit: sl.circuit, Parent: d.circuitEvent})
}

// readInput takes one valid reading of an input.
func (l *Line) readInput(d *device, i int32, sl slot, sink Sink) {
	cause := d.inputEvent
	if d.reading != sl.active {
		d.reading = sl.active
		cause = sink.Note(Change{Kind: ActiveRead, Device: i, On: sl.active, Parent: cause})
	}
	l.readPrealarm(d, i, sl.pre, sink)
	if !l.cfg.Devices[i].Fire || d.signalled {
		return
	}
	if !sl.active {
		d.count = 0
		return
	}
	if d.count > 0 {
		cause = d.lastCount
	}
	d.count++
	d.lastCount = sink.Note(Change{Kind: Counted, Device: i, N: int32(d.count), Parent: cause})
	if int32(d.count) >= l.cfg.Devices[i].Readings {
		d.signalled, d.count = true, 0
		sink.Note(Change{Kind: FireSignal, Device: i, On: true, Parent: d.lastCount})
	}
}

// readPrealarm takes the pre-alarm part of a reading: as many readings as an alarm needs raise
// it, one below takes it away.
func (l *Line) readPrealarm(d *device, i int32, pre bool, sink Sink) {
	if !pre {
		d.preCount = 0
		l.raise(&d.preRead, false, PrealarmRead, i, d.inputEvent, sink)
		return
	}
	if d.preRead {
		return
	}
	if d.preCount++; int32(d.preCount) >= l.cfg.Devices[i].Readings {
		d.preCount = 0
		l.raise(&d.preRead, true, PrealarmRead, i, d.inputEvent, sink)
	}
}

// drawError draws how many visits go by before the next garbled one: geometric with the rate
// as the chance of each, by inversion. q^k is compared with a uniform number by repeated
// squaring, so that only products are needed and every machine draws the same.
func (l *Line) drawError(s *State, sink Sink) {
	s.nextError = math.MaxUint64
	if s.rate <= 0 {
		return
	}
	const scale = 1.0 / (1 << 53)
	u := float64(float64(sink.Uniform(s.errorNo)>>11) * scale)
	s.errorNo++
	var powers [40]float64 // q^(2^i)
	powers[0] = 1 - s.rate
	for i := 1; i < len(powers); i++ {
		powers[i] = float64(powers[i-1] * powers[i-1])
	}
	gap, reached := uint64(0), 1.0 // the greatest gap with q^gap > u
	for i := len(powers) - 1; i >= 0; i-- {
		if p := float64(reached * powers[i]); p > u {
			reached, gap = p, gap+1<<i
		}
	}
	s.nextError = s.visits + gap
}
