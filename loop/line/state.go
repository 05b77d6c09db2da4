package line

import (
	"math/bits"
	"slices"
	"time"
)

// Presence is what stands at an address.
type Presence struct {
	Unfed     bool // no line voltage, or cut off from every driven end
	Removed   bool // taken out of its base
	Muted     bool // neither answers nor acts on commands
	OtherKind bool // a device of another kind in its place
	Duplicate Duplicate
}

// Duplicate says what second device shares the address.
type Duplicate uint8

// A second device of another kind never lets a good reply through; one of the same kind shows
// only in the current of the reply.
const (
	NoDuplicate Duplicate = iota
	DuplicateOther
	DuplicateSame
)

// reply is what comes back from a visit.
type reply uint8

const (
	none      reply = iota // nothing answers
	valid                  // a good reply
	wrong                  // a good reply of another kind of device
	collision              // two devices of different kinds at once
	noise                  // a reply garbled on the line
)

// device is the changing part of a Device. There are many: wide fields stand before narrow ones.
type device struct {
	// events that made what follows what it is
	inputEvent    uint64 // active or prealarm
	outputEvent   uint64
	circuitEvent  uint64
	presenceEvent uint64
	lastCount     uint64 // the last counted reading
	command       uint64 // the last command

	order   int32 // file order of the last command
	waiting int32 // commands of this output in the queue or in progress

	// what the controller counts
	count    uint8
	preCount uint8
	bad      uint8 // visits in a row without a good reply, at most MissedReplies
	tries    uint8 // commands sent for the present change
	strength uint8 // of the last command

	// what the device would report
	presence         Presence
	active, prealarm bool
	output           OutputState
	circuit          Circuit // as the module would read its circuit, or its field wiring, at rest

	// what the controller knows
	read        bool // itself sampled since active last changed
	reading     bool // last valid reading
	preRead     bool // pre-alarm signalled
	signalled   bool // fire signal made and not yet re-armed
	missing     bool
	wrongType   bool
	duplicate   bool
	fault       bool    // output fault
	circuitRead Circuit // last reading of the circuit at rest
	commanded   OutputState
}

// slot is the slot in progress, once it has a consequence or something happened during it.
type slot struct {
	kind    slotKind
	device  int32
	reply   reply
	end     time.Duration
	group   int32 // commands that share the slot
	active  bool  // sample of an input
	pre     bool
	output  OutputState
	circuit Circuit
	double  bool // the reply's current was that of two devices
}

type slotKind uint8

const (
	noSlot slotKind = iota
	inTurn
	outOfTurn
	probe
	command
)

// State is everything about a line that changes.
type State struct {
	anchor     time.Duration // a slot begins here, of the turn `turn` unless something else goes first
	turn       int32
	cur        slot
	burst      int32 // commands since the last visit
	request    int32 // device to be visited out of turn, or -1
	repeat     int32 // device whose command is to be repeated at this boundary, or -1
	visits     uint64
	stopped    bool // nothing is polled
	overload   bool // loads that come back are not told again
	watched    bool // the ends of rounds are noted
	watchEvent uint64

	rate      float64
	errorNo   uint64 // draws so far
	nextError uint64 // number of the visit whose reply is garbled; never if rate is 0

	devices []device
	replies []uint8  // by turn: how many of those before it anything answers
	marked  []uint64 // bit set: the next visit to this device has a consequence
	queue   []Command
}

// NewState returns the state at t = 0: every device healthy and at rest, the first slot about
// to begin.
func (l *Line) NewState(sink Sink) *State {
	s := &State{
		request: -1, repeat: -1, rate: l.cfg.ErrorRate,
		devices: make([]device, len(l.cfg.Devices)),
		replies: make([]uint8, l.turns+1),
		marked:  make([]uint64, (len(l.cfg.Devices)+63)/64),
	}
	l.measure(s)
	l.drawError(s, sink)
	return s
}

// CopyFrom makes s equal to o, and independent of it.
func (s *State) CopyFrom(o *State) {
	devices, replies, marked, queue := s.devices, s.replies, s.marked, s.queue
	*s = *o
	s.devices = append(devices[:0], o.devices...)
	s.replies = append(replies[:0], o.replies...)
	s.marked = append(marked[:0], o.marked...)
	s.queue = append(queue[:0], o.queue...)
}

// measure counts anew what the lengths of turns follow from; O(devices).
func (l *Line) measure(s *State) {
	var sum uint8
	for i := range s.replies {
		s.replies[i] = sum
		if i < len(s.devices) && l.answers(&s.devices[i]) != none {
			sum++
		}
	}
}

// before is how long the turns before one take, as things stand.
func (l *Line) before(s *State, turn int32) time.Duration {
	replies := int32(s.replies[turn])
	return time.Duration(replies)*l.cfg.PollSlot + time.Duration(turn-replies)*l.cfg.NoReplySlot
}

// answers is what a visit to d would bring if the line were free of noise.
func (l *Line) answers(d *device) reply {
	if d.presence.Unfed {
		return none
	}
	present := !d.presence.Removed && !d.presence.Muted
	switch {
	case present && d.presence.Duplicate == DuplicateOther:
		return collision
	case present && d.presence.OtherKind:
		return wrong
	case present || d.presence.Duplicate == DuplicateSame:
		return valid
	case d.presence.Duplicate == DuplicateOther:
		return wrong
	}
	return none
}

// alone reports whether only a duplicate of the same kind answers: it is at rest.
func (d *device) alone() bool {
	return d.presence.Removed || d.presence.Muted
}

// refresh recomputes whether the next visit to device i has a consequence.
func (l *Line) refresh(s *State, i int32) {
	bit := uint64(1) << (uint(i) % 64)
	if l.matters(&s.devices[i], &l.cfg.Devices[i]) {
		s.marked[i/64] |= bit
	} else {
		s.marked[i/64] &^= bit
	}
}

// matters reports whether a visit to d, free of noise, would change anything.
func (l *Line) matters(d *device, c *Device) bool {
	switch l.answers(d) {
	case none:
		return !d.missing
	case collision: // a duplicate seen in the reply's current is a fault before any row of bad visits
		return !d.duplicate || int32(d.bad) < l.cfg.MissedReplies
	case wrong:
		return d.bad > 0 || d.missing || d.duplicate || !d.wrongType
	}
	twin := d.presence.Duplicate == DuplicateSame && !d.alone() && l.cfg.ReplyCurrentCheck
	if d.bad > 0 || d.missing || d.wrongType || d.duplicate != twin {
		return true
	}
	if d.shown() == 0 && d.circuitShown() != d.circuitRead {
		return true
	}
	if c.Output {
		agrees := d.shown() == d.commanded
		switch {
		case d.waiting > 0:
			return false
		case agrees:
			return d.fault || d.tries > 0
		default:
			return d.tries < tries || !d.fault
		}
	}
	active, pre := d.sampled()
	return d.reading != active ||
		c.Fire && active && !d.signalled || !active && d.count > 0 ||
		pre != d.preRead || !pre && d.preCount > 0
}

// sampled is what an input would report now.
func (d *device) sampled() (active, prealarm bool) {
	if d.alone() {
		return false, false
	}
	return d.active, d.prealarm
}

// shown is the output state that a module would report now.
func (d *device) shown() OutputState {
	if d.alone() {
		return 0
	}
	return d.output
}

// circuitShown is what a module would report of its circuit now, were it at rest.
func (d *device) circuitShown() Circuit {
	if d.alone() {
		return Normal
	}
	return d.circuit
}

// firstMarked returns the first marked device at or after from, or -1.
func (s *State) firstMarked(from int32) int32 {
	for word := int(from) / 64; word < len(s.marked); word++ {
		w := s.marked[word]
		if word == int(from)/64 {
			w &= ^uint64(0) << (uint(from) % 64)
		}
		if w != 0 {
			return int32(word*64 + bits.TrailingZeros64(w))
		}
	}
	return -1
}

// wanted returns the lowest device that asks to be visited out of turn, or -1: one that is
// active, would answer well and has not been read in its present state.
func (l *Line) wanted(s *State) int32 {
	if !l.cfg.OutOfTurn {
		return -1
	}
	return int32(slices.IndexFunc(s.devices, func(d device) bool {
		return d.active && !d.read && !d.alone() && l.answers(&d) == valid
	}))
}
