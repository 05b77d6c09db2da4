package line

import (
	"math"
	"sort"
	"time"
)

// Next returns when the line next wants to act, and in which part of that instant.
func (l *Line) Next(s *State) (time.Duration, Moment, bool) {
	switch {
	case s.cur.kind != noSlot:
		return s.cur.end, End, true
	case l.turns == 0 || s.stopped:
		return 0, End, false
	case l.eager(s):
		return s.anchor, Begin, true
	}
	start, ok := l.nextMarked(s)
	if at, noisy := l.nextNoise(s); noisy && (!ok || at < start) {
		start, ok = at, true
	}
	if s.watched {
		if last := l.startOf(s, l.turns-1); !ok || last < start {
			start, ok = last, true
		}
	}
	return start, Begin, ok
}

// eager reports whether the slot that begins at the anchor must be executed whatever it visits.
func (l *Line) eager(s *State) bool {
	return len(s.queue) > 0 || s.repeat >= 0 || s.request >= 0 || l.wanted(s) >= 0
}

// startOf is the first start of a turn's visit at or after the anchor.
func (l *Line) startOf(s *State, turn int32) time.Duration {
	start := s.anchor + l.before(s, turn) - l.before(s, s.turn)
	if turn < s.turn {
		start += l.Round(s)
	}
	return start
}

// nextMarked is the start of the first visit with a consequence.
func (l *Line) nextMarked(s *State) (time.Duration, bool) {
	i := int32(-1)
	if s.turn < int32(len(s.devices)) {
		i = s.firstMarked(s.turn)
	}
	if i < 0 {
		i = s.firstMarked(0)
	}
	if i < 0 {
		return 0, false
	}
	return l.startOf(s, i), true
}

// nextNoise is the start of the visit whose reply will be garbled.
func (l *Line) nextNoise(s *State) (time.Duration, bool) {
	if s.nextError == math.MaxUint64 {
		return 0, false
	}
	ahead := s.nextError - s.visits
	rounds := ahead / uint64(l.turns)
	if rounds > uint64(math.MaxInt64/4)/uint64(l.Round(s)) {
		return 0, false
	}
	turn := (s.turn + int32(ahead%uint64(l.turns))) % l.turns
	return l.startOf(s, turn) + time.Duration(rounds)*l.Round(s), true
}

// skipTo moves the anchor to the start of the visit that begins exactly at t, passing over
// visits without consequence. It panics if no visit begins at t.
func (l *Line) skipTo(s *State, t time.Duration) {
	if t == s.anchor {
		return
	}
	rounds, turn, rest := l.locate(s, t)
	if rest != 0 {
		panic("line: no slot begins at the given instant")
	}
	l.pass(s, t, rounds, turn)
}

// locate finds the turn whose visit is in progress or begins at t >= anchor: whole rounds since
// the start of the anchor's round, the turn, and how far into it t lies.
func (l *Line) locate(s *State, t time.Duration) (rounds int64, turn int32, rest time.Duration) {
	offset, round := l.before(s, s.turn)+t-s.anchor, l.Round(s)
	rounds = int64(offset / round)
	offset -= time.Duration(rounds) * round
	turn = int32(sort.Search(int(l.turns), func(i int) bool { return l.before(s, int32(i)+1) > offset }))
	return rounds, turn, offset - l.before(s, turn)
}

// pass moves the anchor to t, where the given turn begins, and counts the visits passed over.
func (l *Line) pass(s *State, t time.Duration, rounds int64, turn int32) {
	passed := rounds*int64(l.turns) + int64(turn) - int64(s.turn)
	if passed > 0 {
		s.burst = 0
	}
	s.visits += uint64(passed)
	s.anchor, s.turn = t, turn
}

// Stage says on which side of the slots that end at an instant a change of that instant falls.
type Stage uint8

// Stimuli, faults and the wire come early; the program, outputs and plant come late.
const (
	Early Stage = iota
	Late
)

// settle prepares for a change at now, which acts before slots that begin at now: the slot in
// progress becomes explicit, so that it keeps its length and its sample, and its end is a place
// from which the future is reckoned afresh. A slot that ends at now is still in progress for an
// early change, and over for a late one.
func (l *Line) settle(s *State, now time.Duration, stage Stage) {
	if s.cur.kind != noSlot || l.turns == 0 || s.stopped || now <= s.anchor {
		return
	}
	rounds, turn, rest := l.locate(s, now)
	if rest == 0 {
		if stage == Late {
			l.pass(s, now, rounds, turn)
			return
		}
		if turn--; turn < 0 {
			turn, rounds = l.turns-1, rounds-1
		}
	}
	start := s.anchor - l.before(s, s.turn) + time.Duration(rounds)*l.Round(s) + l.before(s, turn)
	l.pass(s, start, rounds, turn)
	l.beginVisit(s, start, l.kindOf(turn), turn) // nothing has changed since start: the sample is that of now
}

func (l *Line) kindOf(turn int32) slotKind {
	if turn < int32(len(l.cfg.Devices)) {
		return inTurn
	}
	return probe
}

// open makes sl the slot in progress and moves the anchor to its end.
func (l *Line) open(s *State, sl slot) {
	if sl.kind == inTurn || sl.kind == probe {
		s.turn++
		if s.turn == l.turns {
			s.turn = 0
		}
	}
	if sl.kind != command {
		s.visits++
	}
	s.cur, s.anchor = sl, sl.end
}
