package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// delay is where an on-delay stands.
type delay uint8

const (
	idle      delay = iota // its cause is false
	running                // until pairState.due
	paused                 // remaining is left
	restarted              // stands at the whole
	cancelled              // ended without effect until its cause rises again
	done                   // ran out
)

// pairState is the state of one pair: cause -> on-delay (TON) -> pulse (TP) -> off-delay (TOF)
// -> not `unless` -> active, as in IEC 61131-3 (from memory). Times are absolute; `never` is not due.
type pairState struct {
	delay     delay
	delayed   bool // what the on-delay says
	pulsing   bool
	pulsed    bool // what the pulse says
	holding   bool
	held      bool // what the off-delay says
	active    bool
	slot      int32         // place in the heap of timers, -1 for none
	due       time.Duration // end of the on-delay
	remaining time.Duration // of a paused on-delay
	pulseDue  time.Duration
	holdDue   time.Duration
	event     uint64 // of the last change
}

// earliest returns when the pair has something due.
func (st *pairState) earliest() time.Duration { return min(st.due, st.pulseDue, st.holdDue) }

// step brings pair i up to date at the turn's instant. It does nothing where nothing changed.
func (p *Program) step(s *State, i int32, sink Sink) {
	pr, st := &p.pairs[i], &s.pair[i]
	s.net.looked++
	p.stepDelay(s, i, sink)
	delayed := st.delay == done

	pulsed := delayed
	if pr.pulse > 0 {
		if st.pulsing && st.pulseDue <= s.turn.now {
			st.pulsing, st.pulseDue = false, never
		}
		if delayed && !st.delayed && !st.pulsing {
			st.pulsing, st.pulseDue = true, s.turn.now+pr.pulse
		}
		pulsed = st.pulsing
	}
	st.delayed = delayed

	held := pulsed
	if pr.hold > 0 {
		switch {
		case pulsed:
			st.holding, st.holdDue = false, never
		case st.pulsed:
			st.holding, st.holdDue = true, s.turn.now+pr.hold
			if c := &s.cause[pr.cause]; !c.seen {
				st.event = c.event
			}
		case st.holding && st.holdDue <= s.turn.now:
			st.holding, st.holdDue = false, never
		}
		held = pulsed || st.holding
	}
	st.pulsed = pulsed

	if active := held && !s.holds(p.guards[pr.action].unless); active != st.active {
		p.noteActive(s, i, active, held, sink)
	}
	st.held = held
	s.reschedule(i)
}

// stepDelay runs the on-delay of pair i. At one instant a cause that is false goes first, then
// cancel_when, hurry_when, restart_while, pause_while, and the expiry last.
func (p *Program) stepDelay(s *State, i int32, sink Sink) {
	pr, st, g := &p.pairs[i], &s.pair[i], &p.guards[p.pairs[i].action]
	c := &s.cause[pr.cause]
	if !c.seen {
		if st.delay == running || st.delay == paused || st.delay == restarted {
			p.noteDelay(s, i, DelayCancelled, c.event, sink)
		}
		st.delay, st.due = idle, never
		return
	}
	if st.delay == idle {
		if pr.after == 0 {
			st.delay, st.event = done, c.event
			return
		}
		st.delay, st.due = running, s.turn.now+pr.after
		parent := c.event
		if s.turn.reset && c.turn != s.turn.number {
			parent = s.turn.resetBy
		}
		p.noteDelay(s, i, DelayStarted, parent, sink)
	}
	if st.delay == cancelled || st.delay == done {
		return
	}
	switch {
	case s.holds(g.cancel):
		st.delay, st.due = cancelled, never
		p.noteDelay(s, i, DelayCancelled, p.because(s, g.cancel), sink)
	case s.holds(g.hurry):
		st.delay, st.due = done, never
		p.noteDelay(s, i, DelayEnded, p.because(s, g.hurry), sink)
	case s.holds(g.restart):
		if st.delay != restarted {
			st.delay, st.remaining, st.due = restarted, pr.after, never
			p.noteDelay(s, i, DelayRestarted, p.because(s, g.restart), sink)
		}
	case s.holds(g.pause):
		if st.delay == running {
			st.delay, st.remaining, st.due = paused, st.due-s.turn.now, never
			p.noteDelay(s, i, DelayPaused, p.because(s, g.pause), sink)
		}
	default:
		if st.delay != running {
			was := g.pause
			if st.delay == restarted {
				was = g.restart
			}
			st.delay, st.due = running, s.turn.now+st.remaining
			p.noteDelay(s, i, DelayResumed, p.because(s, was), sink)
		}
		if st.due <= s.turn.now {
			st.delay, st.due = done, never
			p.noteDelay(s, i, DelayEnded, st.event, sink)
		}
	}
}

// holds reports whether the condition of a guard is true; an absent guard never is.
func (s *State) holds(node int32) bool { return node >= 0 && s.net.value[node] }

// because returns the event that made the node say what it says.
func (p *Program) because(s *State, node int32) uint64 {
	s.scratch.events = p.net.support(&s.net, node, s.scratch.events[:0], 1)
	if len(s.scratch.events) == 0 {
		return 0
	}
	return s.scratch.events[0]
}

// noteDelay notes a change of the on-delay of pair i.
func (p *Program) noteDelay(s *State, i int32, kind ChangeKind, parent uint64, sink Sink) {
	c := Change{Kind: kind, Index: i, Effect: p.pairs[i].effect, State: p.pairs[i].state, Parent: parent}
	if kind == DelayStarted || kind == DelayResumed || kind == DelayHurried && s.pair[i].due != never {
		c.Due = s.pair[i].due
	}
	s.pair[i].event = sink.Note(c)
}

// noteActive notes that pair i begins or ceases to demand its state, and counts it at its effect.
func (p *Program) noteActive(s *State, i int32, active, held bool, sink Sink) {
	pr, st := &p.pairs[i], &s.pair[i]
	st.active = active
	c, parent := &s.cause[pr.cause], st.event
	switch {
	case held && st.held: // only `unless` changed
		parent = p.because(s, p.guards[pr.action].unless)
	case active: // the delay ran out, or there was none
	case c.turn == s.turn.number:
		parent = c.event
	case s.turn.reset:
		parent = s.turn.resetBy
	}
	st.event = sink.Note(Change{Kind: ActionChanged, Index: i, Effect: pr.effect, On: active, State: pr.state, Parent: parent})
	if active {
		s.effect[pr.effect].demands[pr.state]++
	} else {
		s.effect[pr.effect].demands[pr.state]--
	}
	s.effect[pr.effect].because(pr.state, st.event, s.turn.number)
	s.effectDue(pr.effect)
}

// resetPair does what reset does to pair i once the conditions are known (rule J5): with its
// cause true an action goes on and a delay that has not run out starts again; else all ends.
func (p *Program) resetPair(s *State, i int32, sink Sink) {
	st := &s.pair[i]
	defer s.reschedule(i) // at once: the heap bears one pair out of its place
	pending := st.delay == running || st.delay == paused || st.delay == restarted
	if s.net.value[p.causes[p.pairs[i].cause]] {
		if pending || st.delay == cancelled {
			if pending {
				p.noteDelay(s, i, DelayCancelled, s.turn.resetBy, sink)
			}
			st.delay, st.due = idle, never
		}
		return
	}
	if pending {
		p.noteDelay(s, i, DelayCancelled, s.turn.resetBy, sink)
	}
	*st = pairState{active: st.active, held: st.held, slot: st.slot, event: st.event, due: never, pulseDue: never, holdDue: never}
}

// strongest returns the strongest state of a set, Rest for the empty one.
func strongest(mask uint8) term.State {
	for state := term.Off; state > term.Rest; state-- {
		if mask&(1<<state) != 0 {
			return state
		}
	}
	return term.Rest
}
