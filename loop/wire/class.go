package wire

import "time"

// Survey places faults in a healthy loop and says who is lost once everything has settled. The
// rule: every isolator that borders a shorted section is open, the panel's terminals among them, and
// all others are closed; both ends of a ring are driven; lost is who then reaches no driven
// terminal with both cores.
type Survey struct {
	n *Network
	s *State
}

// Survey returns a survey of the loop.
func (n *Network) Survey() *Survey {
	s := &State{next: never, iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries)), far: n.ring}
	return &Survey{n, s}
}

// Lost appends to lost the devices (entries, in file order) that a break of both cores or a dead short in
// the middle of a run takes away for as long as it lasts.
func (v *Survey) Lost(kind FaultKind, r int32, lost []int32) []int32 {
	n, s := v.n, v.s
	s.faults = append(s.faults[:0], placed{1, Fault{Kind: kind, Run: r, At: 0.5}})
	for i := range s.iso {
		s.iso[i].open = i == farEnd && !n.ring
	}
	n.assemble(s)
	w := &s.work
	for i := range w.pieces {
		w.pieces[i] = noVoltage
	}
	for k := range w.nodes {
		if w.nodes[k].short > 0 {
			w.pieces[w.nodes[k].piece] = 0
		}
	}
	for i := range s.iso {
		near, far := n.borders(w, int32(i))
		if near == 0 || far == 0 {
			s.iso[i].open = true
		}
	}
	n.assemble(s)
	for e := range n.entries {
		if n.entries[e].device && !w.nodes[w.at[e]].joined() {
			lost = append(lost, int32(e))
		}
	}
	return lost
}

// borders are the marks of the pieces on both sides of an isolator.
func (n *Network) borders(w *work, i int32) (near, far int64) {
	switch {
	case i == terminalA:
		return noVoltage, w.pieces[w.nodes[0].piece]
	case i == farEnd && w.end < 0:
		return noVoltage, noVoltage
	case i == farEnd:
		return noVoltage, w.pieces[w.nodes[w.end].piece]
	}
	e := n.iso[i].entry
	return w.pieces[w.nodes[w.near[e]].piece], w.pieces[w.nodes[w.beyond[e]].piece]
}

// Class is the pathway class that the wiring achieves: "a" where no single break of a run
// loses a device, "x" where besides no single short loses more than the section between the two
// isolators that bracket it, some device being kept whatever the run, else "b" (NFPA 72 chapter 12
// for the meanings). Run is one whose fault keeps the wiring from the next better class, or -1.
func (n *Network) Class() (class string, run int32) {
	v, devices := n.Survey(), 0
	for e := range n.entries {
		if n.entries[e].device {
			devices++
		}
	}
	var lost []int32
	for r := range n.runs {
		if lost = v.Lost(Break, int32(r), lost[:0]); len(lost) > 0 {
			return "b", int32(r)
		}
	}
	for r := range n.runs {
		if lost = v.Lost(Short, int32(r), lost[:0]); len(lost) > 0 && len(lost) == devices {
			return "a", int32(r)
		}
	}
	if !n.ring {
		return "b", -1 // without a device there is nothing that a break could lose
	}
	return "x", -1
}

// Visits is how a controller goes round a loop: what it needs to know of polling to say when it next
// looks at the wiring.
type Visits struct {
	Entries        []int32       // devices in the order in which they are visited
	Reply, NoReply time.Duration // length of a visit
	Probe          bool          // besides, each round, an address that nobody has
	Switch         time.Duration // from a look to the far end being driven
}

// round goes round the devices once from a time on, and returns when the look at its end is. Who has
// no voltage when the visit begins does not answer.
func (n *Network) round(s *State, from time.Duration, v Visits, sink Sink) time.Duration {
	at := from
	for _, e := range v.Entries {
		n.Advance(s, at, sink)
		if n.Fed(s, e) {
			at += v.Reply
		} else {
			at += v.NoReply
		}
	}
	if v.Probe {
		at += v.NoReply
	}
	return max(at, from+time.Millisecond) // a loop without devices
}

// Blind is how long after a dead short in the middle of a run the last device that is not lost for
// good works again, on a loop whose panel looks at continuity every round: at worst the short comes
// just before a look, so that its isolators open just after, and the panel goes round once more before
// it finds the ring broken. Zero where no device stops.
func (n *Network) Blind(r int32, v Visits) time.Duration {
	const start = time.Second
	s := n.NewState()
	blind := &lastFed{s: s}
	n.Advance(s, start, blind)
	n.Place(s, start, Fault{Kind: Short, Run: r, At: 0.5}, 0, blind)
	for look := start + OpenTime; n.ring && !s.far; {
		look = n.round(s, look, v, blind)
		n.Advance(s, look, blind)
		if !n.Continuity(s) {
			n.Advance(s, look+v.Switch, blind)
			n.DriveFarEnd(s, look+v.Switch, true, 0, blind)
		} else if _, due := n.Next(s); !due {
			break
		}
	}
	for next, due := n.Next(s); due; next, due = n.Next(s) {
		n.Advance(s, next, blind)
	}
	return max(blind.last-start, 0)
}

// lastFed remembers when a device last came back.
type lastFed struct {
	s    *State
	last time.Duration
}

// Note remembers the instant.
func (l *lastFed) Note(c Change) uint64 {
	if c.Kind == FedChanged && c.On {
		l.last = l.s.now
	}
	return 0
}
