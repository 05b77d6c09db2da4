package power

import "time"

// ChangeKind says what a Change is about.
type ChangeKind uint8

// Kinds of change, in the order in which those of one instant come.
const (
	FuseBlown      ChangeKind = iota // On: blown by its load; off: replaced
	BatteryCarries                   // On: the battery carries the load
	Discharged                       // On: the battery is at its end and disconnected
	LowBattery                       // On: at or below the low-battery share
	Overload                         // On: the load is above the current limit
	OutputLost                       // On: nothing comes from the output
	SignalChanged                    // On: the signal shows
)

// Change is one consequence.
type Change struct {
	Kind   ChangeKind
	Supply int32
	Signal Signal // of SignalChanged
	On     bool
	Parent uint64 // event that it follows from
}

// Sink takes changes and answers with the event that each became.
type Sink interface {
	Note(c Change) (event uint64)
}

// Set brings a condition about, or ends it. A fuse that is replaced under the load that blew the
// last one blows again.
func (p *Power) Set(s *State, now time.Duration, i int, c Condition, on bool, event uint64, sink Sink) {
	u := &s.units[i]
	p.accrue(u, i, now)
	if u.conditions[c] != on {
		u.conditions[c] = on
		p.follow(s, i, now, event, sink)
	}
}

// SetLoad says what the supply is asked for beside its standby current, microamperes, not negative:
// what is switched on, whether or not it gets it.
func (p *Power) SetLoad(s *State, now time.Duration, i int, microA int64, event uint64, sink Sink) {
	u := &s.units[i]
	p.accrue(u, i, now)
	if microA = max(microA, 0); u.load != microA {
		u.load = microA
		p.follow(s, i, now, event, sink)
	}
}

// Next is when something next happens by itself.
func (p *Power) Next(s *State) (time.Duration, bool) { return s.next, s.next != never }

// Advance takes what is due at now, which must not be later than Next.
func (p *Power) Advance(s *State, now time.Duration, sink Sink) {
	if s.next > now {
		return
	}
	for i := range s.units {
		u := &s.units[i]
		if u.due > now {
			continue
		}
		p.accrue(u, i, now)
		if u.fuseAt <= now {
			u.conditions[FuseOpen], u.fuseAt = true, never
			event := sink.Note(Change{Kind: FuseBlown, Supply: int32(i), On: true, Parent: u.drained})
			p.follow(s, i, now, event, sink)
			continue
		}
		p.follow(s, i, now, u.drained, sink)
	}
}

// accrue brings the battery's charge up to a time.
func (p *Power) accrue(u *unit, i int, now time.Duration) {
	d := now - u.since
	u.since = now
	if d <= 0 {
		return
	}
	if rate := p.drainOf(u, i); rate > 0 {
		u.left = u.left.minus(flow(rate, d))
		return
	}
	f := &p.supplies[i]
	for d > 0 {
		rate, goal := p.chargeOf(u, i)
		if rate == 0 {
			return
		}
		step := min(goal.minus(u.left).takes(rate), d)
		u.left = u.left.plus(flow(rate, step))
		d -= step
	}
	if f.full.less(u.left) {
		u.left = f.full
	}
}

// drainOf is the current that the battery gives.
func (p *Power) drainOf(u *unit, i int) int64 {
	if !u.onBattery || u.off {
		return 0
	}
	f := &p.supplies[i]
	return f.drain(f.standby + u.load)
}

// chargeOf is the current that the battery takes, and the charge up to which it takes it.
func (p *Power) chargeOf(u *unit, i int) (microA int64, goal charge) {
	f := &p.supplies[i]
	switch {
	case u.conditions[MainsFailed] || u.conditions[SupplyFailed] || u.conditions[ChargerFailed] || u.conditions[BatteryOut]:
		return 0, charge{}
	case u.left.less(f.first):
		return max(f.microAh*firstPercent/100/firstHours, 1), f.first
	case u.left.less(f.full):
		return max(f.microAh*(100-firstPercent)/100/restHours, 1), f.full
	}
	return 0, charge{}
}

// follow brings everything in line with conditions, load and charge as they are now.
func (p *Power) follow(s *State, i int, now time.Duration, event uint64, sink Sink) {
	u, f := &s.units[i], &p.supplies[i]
	turn := func(state *bool, to bool, kind ChangeKind, parent uint64) uint64 {
		if *state == to {
			return parent
		}
		*state = to
		return sink.Note(Change{Kind: kind, Supply: int32(i), On: to, Parent: parent})
	}
	has := f.microAh > 0 && !u.conditions[BatteryOut]
	without := u.conditions[MainsFailed] && !u.conditions[SupplyFailed]
	empty := without && has && (u.discharged || u.left.zero())
	total := f.standby + u.load

	parent := turn(&u.discharged, empty, Discharged, event)
	parent = turn(&u.onBattery, without && has && !empty, BatteryCarries, parent)
	low := turn(&u.low, f.microAh > 0 && !f.low.less(u.left), LowBattery, event)
	source := !u.conditions[SupplyFailed] && (!u.conditions[MainsFailed] || u.onBattery)
	parent = turn(&u.overload, source && !u.conditions[FuseOpen] && f.limit > 0 && total > f.limit, Overload, parent)
	parent = turn(&u.off, !source || u.conditions[FuseOpen] || u.overload, OutputLost, parent)
	u.drained = parent

	p.arm(u, f, now, source)
	p.indicate(s, i, now, event, [causes]uint64{event, event, event, low, parent}, sink)
	p.plan(s, i, now)
}

// arm starts or stops the time to the fuse's blowing. A current limit protects the fuse behind it.
func (p *Power) arm(u *unit, f *supply, now time.Duration, source bool) {
	through := f.standby + u.load
	if f.limit > 0 {
		through = min(through, f.limit)
	}
	switch {
	case f.fuse == 0 || !source || u.conditions[FuseOpen] || through <= f.fuse:
		u.fuseAt = never
	case u.fuseAt == never:
		u.fuseAt = after(now, fuseTime)
	}
}

// indicate starts the timers of faults that begin, ends those of faults that are over, and shows
// what has run out. began holds, for a fault that begins now, the event that it follows from.
func (p *Power) indicate(s *State, i int, now time.Duration, event uint64, began [causes]uint64, sink Sink) {
	u := &s.units[i]
	present := [causes]bool{u.conditions[MainsFailed], u.conditions[ChargerFailed], u.conditions[BatteryOut], u.low, u.off}
	var shows [signals]bool
	var parents [signals]uint64
	of := [causes]Signal{MainsFault, BatteryFault, BatteryFault, BatteryFault, OutputFault}
	for k := range u.timers {
		t := &u.timers[k]
		switch {
		case !present[k]:
			*t = timer{at: never}
			continue
		case !t.indicated && t.at == never:
			*t = timer{at: after(now, p.delays[k]), parent: began[k]}
		}
		if t.at <= now {
			t.at, t.indicated = never, true
		}
		if signal := of[k]; t.indicated && !shows[signal] {
			shows[signal], parents[signal] = true, t.parent
		}
	}
	for k := MainsFault; k < signals; k++ {
		if shows[k] && !shows[Fault] {
			shows[Fault], parents[Fault] = true, parents[k]
		}
	}
	for k := range u.shown {
		if u.shown[k] == shows[k] {
			continue
		}
		u.shown[k] = shows[k]
		parent := parents[k]
		if !shows[k] {
			parent = event
		}
		sink.Note(Change{Kind: SignalChanged, Supply: int32(i), Signal: Signal(k), On: shows[k], Parent: parent})
	}
}

// plan finds when the supply next changes by itself.
func (p *Power) plan(s *State, i int, now time.Duration) {
	u, f := &s.units[i], &p.supplies[i]
	u.due = u.fuseAt
	for k := range u.timers {
		u.due = min(u.due, u.timers[k].at)
	}
	if rate := p.drainOf(u, i); rate > 0 {
		to := charge{}
		if !u.low {
			to = f.low
		}
		u.due = min(u.due, after(now, u.left.minus(to).takes(rate)))
	} else if rate, _ := p.chargeOf(u, i); rate > 0 && u.low {
		u.due = min(u.due, after(now, f.low.plus(charge{lo: 1}).minus(u.left).takes(rate)))
	}
	s.next = never
	for k := range s.units {
		s.next = min(s.next, s.units[k].due)
	}
}
