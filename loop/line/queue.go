package line

import (
	"slices"
	"time"
)

// Command asks one output of the loop to take a state.
type Command struct {
	Device   int32         // index into Config.Devices; an output
	State    OutputState   // the state demanded
	Strength uint8         // of commands born at one instant the stronger goes first
	Order    int32         // then the lower order: file order of effects and their outputs
	Group    int32         // with SharedCommands, neighbours of one group > 0 share a slot
	Event    uint64        // the demand that the command carries out; once its slot began, CommandSent
	born     time.Duration // instant of its birth
	hearing  bool          // the module was there at the start of its slot
}

// Send queues a command of the program, born now.
func (l *Line) Send(s *State, now time.Duration, c Command) {
	l.settle(s, now, Late)
	d := &s.devices[c.Device]
	d.commanded, d.strength, d.order, d.command, d.tries = c.State, c.Strength, c.Order, c.Event, 0
	if s.repeat == c.Device {
		s.repeat = -1 // the program has sent something new at this instant
	}
	l.enqueue(s, now, c)
}

// enqueue puts c behind everything of an earlier instant and behind what goes before it in its
// own instant. Nothing is merged or dropped.
func (l *Line) enqueue(s *State, now time.Duration, c Command) {
	c.born = now
	at := len(s.queue)
	for at > s.inProgress() && c.before(s.queue[at-1]) {
		at--
	}
	s.queue = slices.Insert(s.queue, at, c)
	s.devices[c.Device].waiting++
	l.refresh(s, c.Device)
}

// inProgress is how many commands at the head of the queue have their slot already.
func (s *State) inProgress() int {
	if s.cur.kind != command {
		return 0
	}
	return int(s.cur.group)
}

// before reports whether c goes before an already queued o.
func (c Command) before(o Command) bool {
	if c.born != o.born || c.Strength != o.Strength {
		return c.born == o.born && c.Strength > o.Strength
	}
	return c.Order < o.Order
}

// queueRepeat queues the command that the last reply showed to be needed again, after the later of
// the command and the change that made them differ, unless the
// program has sent something new meanwhile.
func (l *Line) queueRepeat(s *State, now time.Duration, sink Sink) {
	if s.repeat < 0 {
		return
	}
	i := s.repeat
	s.repeat = -1
	d := &s.devices[i]
	event := sink.Note(Change{Kind: RepeatQueued, Device: i, State: d.commanded, N: int32(d.tries), Parent: max(d.outputEvent, d.command)})
	l.enqueue(s, now, Command{Device: i, State: d.commanded, Strength: d.strength, Order: d.order, Event: event})
}

// beginCommand takes the first command, and those that share its slot.
func (l *Line) beginCommand(s *State, now time.Duration, sink Sink) {
	first := s.queue[0]
	n := int32(1)
	if l.cfg.SharedCommands && first.Group > 0 {
		for int(n) < len(s.queue) && s.queue[n].shares(first) {
			n++
		}
	}
	for k := range s.queue[:n] {
		c := &s.queue[k]
		d := &s.devices[c.Device]
		d.tries = min(d.tries+1, tries)
		c.hearing = d.hears()
		c.Event = sink.Note(Change{Kind: CommandSent, Device: c.Device, State: c.State, N: int32(d.tries), Parent: c.Event})
		d.command = c.Event
	}
	s.burst++
	l.open(s, slot{kind: command, group: n, end: now + l.cfg.CommandSlot})
}

// shares reports whether c goes in one slot with first.
func (c Command) shares(first Command) bool {
	return c.Group == first.Group && c.born == first.born && c.State == first.State
}

// endCommand lets the outputs operate: the caller hears of each and moves it.
func (l *Line) endCommand(s *State, sl slot, sink Sink) {
	for _, c := range s.queue[:sl.group] {
		d := &s.devices[c.Device]
		d.waiting--
		heard := c.hearing && d.hears()
		sink.Note(Change{Kind: CommandDone, Device: c.Device, State: c.State, On: heard, Parent: c.Event})
		l.refresh(s, c.Device)
	}
	s.queue = append(s.queue[:0], s.queue[sl.group:]...)
}

// compare judges the output state in a reply against the last command.
func (l *Line) compare(s *State, i int32, shown OutputState, sink Sink) {
	d := &s.devices[i]
	switch {
	case d.waiting > 0:
	case shown == d.commanded:
		d.tries = 0
		l.raise(&d.fault, false, OutputFault, i, max(d.outputEvent, d.command), sink) // the later made them agree
	case d.tries < tries:
		s.repeat = i
	default:
		l.raise(&d.fault, true, OutputFault, i, d.command, sink)
	}
}

// hears reports whether the module takes commands.
func (d *device) hears() bool {
	p := d.presence
	return !p.Unfed && !p.Removed && !p.Muted && !p.OtherKind
}
