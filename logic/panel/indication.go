package panel

import "time"

// Indication is what the panel shows and sounds: it counts the facts that make each condition, and
// those that nobody has acknowledged. Facts are numbers of the caller's, each of which makes one condition.
type Indication struct {
	standing [kinds]int32  // facts that make each condition
	by       [kinds]uint64 // event of the last change of one of them
	shown    [kinds]bool   // as last settled
	// unheard says of each fact that the buzzer sounds for it; waiting counts them.
	unheard         []bool
	waiting         int32
	newsBy, quietBy uint64 // events that made the buzzer sound, and fall silent
	// remindAt is when faults that stand sound again, or never; since is the acknowledgement it
	// counts from.
	remindAt time.Duration
	since    uint64
}

// NewIndication returns the indication of a quiescent panel that knows so many facts.
func NewIndication(facts int) Indication {
	return Indication{unheard: make([]bool, facts), remindAt: never}
}

// CopyFrom makes x equal to o, in the room that it has.
func (x *Indication) CopyFrom(o *Indication) {
	room := x.unheard
	*x = *o
	x.unheard = append(room[:0], o.unheard...)
}

// Begins counts a fact that has become true, by event, and makes the buzzer sound where its
// condition is news.
func (x *Indication) Begins(fact int32, c Condition, event uint64) {
	if c == Quiescent {
		return
	}
	x.Keep(c, event)
	if c.News() {
		x.Sound(fact, event)
	}
}

// Keep counts a fact that is true, by event, in silence.
func (x *Indication) Keep(c Condition, event uint64) {
	x.standing[c]++
	x.by[c] = event
}

// Ends counts a fact that is true no more, by event.
func (x *Indication) Ends(fact int32, c Condition, event uint64) {
	if c == Quiescent {
		return
	}
	x.standing[c]--
	x.by[c] = event
	if x.unheard[fact] {
		x.unheard[fact] = false
		x.waiting--
		x.quietBy = event
	}
}

// Sound makes the buzzer sound for a fact, by event.
func (x *Indication) Sound(fact int32, event uint64) {
	if !x.unheard[fact] {
		x.unheard[fact] = true
		x.waiting++
	}
	x.newsBy = event
}

// Acknowledge marks all that is indicated as heard, by event. Faults that stand then are due to
// sound again at `again`.
func (x *Indication) Acknowledge(again time.Duration, event uint64) {
	if x.waiting > 0 {
		clear(x.unheard)
		x.waiting, x.quietBy = 0, event
	}
	x.Forget()
	if x.standing[Fault] > 0 {
		x.remindAt, x.since = again, event
	}
}

// Forget ends the wait for faults to sound again.
func (x *Indication) Forget() { x.remindAt = never }

// Next returns when faults that stand are due to sound again, the greatest time for never.
func (x *Indication) Next() time.Duration { return x.remindAt }

// Reminds reports whether faults are due to sound again, once, and the event of the acknowledgement
// since which they stand. The caller then calls Sound for each of them.
func (x *Indication) Reminds(now time.Duration) (since uint64, due bool) {
	if x.remindAt > now {
		return 0, false
	}
	x.Forget()
	return x.since, true
}

// Settle tells which conditions began or ended since it was last called, the one indicated first at
// the head, each with the event that made it so.
func (x *Indication) Settle(changed func(c Condition, stands bool, by uint64)) {
	for c := Fire; c < kinds; c++ {
		if stands := x.standing[c] > 0; stands != x.shown[c] {
			x.shown[c] = stands
			changed(c, stands, x.by[c])
		}
	}
	if x.standing[Fault] == 0 {
		x.Forget()
	}
}

// Buzzer reports whether the buzzer sounds, and the event that made it so.
func (x *Indication) Buzzer() (sounds bool, by uint64) {
	if x.waiting > 0 {
		return true, x.newsBy
	}
	return false, x.quietBy
}

// Stands reports whether a condition stands: any may beside any other, Quiescent alone.
func (x *Indication) Stands(c Condition) bool {
	if c == Quiescent {
		return x.First() == Quiescent
	}
	return x.standing[c] > 0
}

// First returns the condition that is indicated first.
func (x *Indication) First() Condition {
	for c := Fire; c < kinds; c++ {
		if x.standing[c] > 0 {
			return c
		}
	}
	return Quiescent
}

// All lists the conditions that stand, the one indicated first at the head; none when the panel is
// quiescent.
func (x *Indication) All() []Condition {
	var standing []Condition
	for c := Fire; c < kinds; c++ {
		if x.standing[c] > 0 {
			standing = append(standing, c)
		}
	}
	return standing
}
