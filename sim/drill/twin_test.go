package drill

import (
	"cmp"
	"math"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/loop/line"
)

// twin polls a loop slot by slot: every slot begins, every slot ends, nothing is ever skipped
// or reckoned ahead. It is written from sections B, C and J of the rules of detail in
// DEVELOPERS.md, as plainly as they can be said in Go, and is the judge of the lazy line, which
// must give the same notes at the same instants in the same order.
type twin struct {
	cfg     *line.Config
	devices []twinDevice

	at   time.Duration // the slot in progress ends here; without one, the next begins here
	slot *twinSlot     // in progress: in room
	room twinSlot
	turn int // whose turn is next; the number of devices means the probe

	queue  []twinCommand
	gone   int32 // command slots since the last visit
	learnt int   // device to be visited out of turn, -1 none
	repeat int   // device whose command the visit just ended asks to repeat, -1 none

	visits  uint64 // visits begun, of any sort
	rate    float64
	draws   uint64
	garbled uint64 // number of the visit whose reply is garbled next

	watched    bool
	watchEvent uint64
	stopped    bool
	overload   bool // of the loop

	count twinCount
}

// twinDevice is an address: what stands there, and what the controller knows of it.
type twinDevice struct {
	presence         line.Presence
	active, prealarm bool
	output           line.OutputState
	inputEvent       uint64
	presenceEvent    uint64
	outputEvent      uint64
	circuit          line.Circuit
	circuitEvent     uint64
	circuitRead      line.Circuit

	sampled                             bool // itself, and validly, since active last changed
	reading, preSignal, signalled       bool
	readings, preReadings               int32
	countEvent                          uint64
	bad                                 int32
	missing, wrong, duplicate, outFault bool

	commanded    line.OutputState
	strength     uint8
	order        int32
	commandEvent uint64
	tries        int32
}

// twinSlot is a slot in progress with the sample taken at its beginning.
type twinSlot struct {
	sort     twinSort
	number   uint64 // of the visit
	device   int
	reply    twinReply
	active   bool
	prealarm bool
	output   line.OutputState
	circuit  line.Circuit
	double   bool // two devices of the right kind answered at once
	commands int  // of the queue's head
}

type (
	twinSort  int
	twinReply int
)

const (
	twinTurn twinSort = iota
	twinOutOfTurn
	twinProbe
	twinCommands
)

const (
	twinNone twinReply = iota
	twinValid
	twinWrong
	twinCollision
	twinNoise
)

type twinCommand struct {
	line.Command
	born  time.Duration
	sent  uint64
	hears bool
}

// twinCount counts what happened, so that a test can tell that it happened often enough.
type twinCount struct {
	slots, bursts, outOfTurn, probes, garbled, gone, sharedSlots, repeats int
}

func newTwin(l *line.Line, sink line.Sink) poller {
	t := &twin{cfg: l.Config(), devices: make([]twinDevice, len(l.Config().Devices)), learnt: -1, repeat: -1}
	t.setRate(t.cfg.ErrorRate, sink)
	return t
}

// Stop drops the slot in progress and all commands; Start forgets all that the controller knew.
func (t *twin) Stop(time.Duration) {
	t.stopped, t.slot, t.queue = true, nil, nil
	t.gone, t.learnt, t.repeat = 0, -1, -1
	t.overload, t.watched, t.watchEvent = false, false, 0
}

func (t *twin) Start(now time.Duration, sink line.Sink) {
	t.stopped, t.at, t.turn = false, now, 0
	for i, d := range t.devices {
		t.devices[i] = twinDevice{
			presence: d.presence, active: d.active, prealarm: d.prealarm, output: d.output, circuit: d.circuit,
			inputEvent: d.inputEvent, presenceEvent: d.presenceEvent, outputEvent: d.outputEvent, circuitEvent: d.circuitEvent,
		}
	}
	t.draw(sink)
}

func (t *twin) Presume(i int32, active bool) { t.devices[i].reading = active }

func (t *twin) Next() (time.Duration, line.Moment, bool) {
	if len(t.devices) == 0 || t.stopped {
		return 0, line.End, false
	}
	if t.slot != nil {
		return t.at, line.End, true
	}
	return t.at, line.Begin, true
}

func (t *twin) Advance(now time.Duration, m line.Moment, sink line.Sink) {
	if at, next, _ := t.Next(); at != now || next != m {
		panic("twin: asked for a slot that is not due")
	}
	if m == line.Begin {
		t.begin(sink)
	} else {
		t.end(sink)
	}
}

// begin decides what the slot that begins now is for.
func (t *twin) begin(sink line.Sink) {
	t.count.slots++
	if i := t.repeat; i >= 0 {
		d := &t.devices[i]
		event := sink.Note(line.Change{Kind: line.RepeatQueued, Device: int32(i), State: d.commanded, N: d.tries, Parent: max(d.outputEvent, d.commandEvent)})
		t.enqueue(line.Command{Device: int32(i), State: d.commanded, Strength: d.strength, Order: d.order, Event: event}, t.at)
		t.count.repeats++
	}
	t.repeat = -1
	if len(t.queue) > 0 && t.gone >= t.cfg.CommandsBetweenVisits {
		t.count.bursts++
	}
	switch {
	case len(t.queue) > 0 && t.gone < t.cfg.CommandsBetweenVisits:
		t.beginCommands(sink)
	case t.learnt >= 0:
		t.visit(twinOutOfTurn, t.learnt)
		t.learnt = -1
		t.count.outOfTurn++
	case t.turn == len(t.devices):
		t.visit(twinProbe, -1)
		t.count.probes++
		t.turn = 0
	default:
		t.visit(twinTurn, t.turn)
		t.turn++
		if t.turn == len(t.devices) && !t.probing() {
			t.turn = 0
		}
	}
}

// probing says whether a round ends with a probe of an address that nothing is configured at.
func (t *twin) probing() bool { return t.cfg.ProbeUnused && len(t.devices) < 250 }

// visit begins a visit: the length and the sample are fixed now.
func (t *twin) visit(sort twinSort, i int) {
	sl := &t.room
	*sl = twinSlot{sort: sort, device: i, number: t.visits}
	t.visits++
	t.gone = 0
	if sort != twinProbe {
		sl.reply = answer(t.devices[i].presence)
	}
	if sl.reply == twinNone {
		t.at += t.cfg.NoReplySlot
	} else {
		t.at += t.cfg.PollSlot
	}
	if sl.number == t.garbled && sl.reply != twinNone {
		sl.reply = twinNoise
	}
	if sl.reply == twinValid {
		d := &t.devices[i]
		if itself(d.presence) {
			d.sampled = true
			sl.active, sl.prealarm, sl.output, sl.circuit = d.active, d.prealarm, d.output, d.circuit
			sl.double = d.presence.Duplicate == line.DuplicateSame
		}
	}
	t.slot = sl
}

// itself says whether the configured device is there to answer, of whatever kind it is.
func itself(p line.Presence) bool { return !p.Removed && !p.Muted && !p.Unfed }

// answer is what an undisturbed visit brings.
func answer(p line.Presence) twinReply {
	switch {
	case p.Unfed:
		return twinNone
	case itself(p) && p.Duplicate == line.DuplicateOther:
		return twinCollision
	case itself(p) && p.OtherKind:
		return twinWrong
	case itself(p) || p.Duplicate == line.DuplicateSame:
		return twinValid
	case p.Duplicate == line.DuplicateOther:
		return twinWrong
	}
	return twinNone
}

// hears says whether the module there acts on commands.
func hears(p line.Presence) bool { return itself(p) && !p.OtherKind }

func (t *twin) beginCommands(sink line.Sink) {
	n := 1
	for t.cfg.SharedCommands && n < len(t.queue) {
		a, b := t.queue[n-1], t.queue[n]
		if a.Group == 0 || a.Group != b.Group || a.born != b.born || a.State != b.State {
			break
		}
		n++
	}
	if n > 1 {
		t.count.sharedSlots++
	}
	for k := range n {
		c := &t.queue[k]
		d := &t.devices[c.Device]
		d.tries = min(d.tries+1, 3)
		c.hears = hears(d.presence)
		c.sent = sink.Note(line.Change{Kind: line.CommandSent, Device: c.Device, State: c.State, N: d.tries, Parent: c.Event})
		d.commandEvent = c.sent
	}
	t.gone++
	t.at += t.cfg.CommandSlot
	t.room = twinSlot{sort: twinCommands, commands: n}
	t.slot = &t.room
}

// end is what the controller makes of the slot that ends now.
func (t *twin) end(sink line.Sink) {
	sl := t.slot
	t.slot = nil
	if sl.sort == twinCommands {
		done := slices.Clone(t.queue[:sl.commands])
		t.queue = slices.Clone(t.queue[sl.commands:])
		for _, c := range done {
			on := c.hears && hears(t.devices[c.Device].presence)
			sink.Note(line.Change{Kind: line.CommandDone, Device: c.Device, State: c.State, On: on, Parent: c.sent})
		}
		return
	}
	if sl.sort != twinProbe {
		t.conclude(sl, sink)
	}
	if sl.number == t.garbled {
		t.draw(sink)
	}
	last := sl.sort == twinProbe || sl.sort == twinTurn && sl.device == len(t.devices)-1 && !t.probing()
	if t.watched && last {
		sink.Note(line.Change{Kind: line.RoundEnded, Device: -1, Parent: t.watchEvent})
	}
	if sl.sort != twinOutOfTurn {
		t.learn()
	}
}

// learn finds the lowest address that asks to be visited out of turn.
func (t *twin) learn() {
	t.learnt = -1
	for i := range t.devices {
		d := &t.devices[i]
		if t.cfg.OutOfTurn && d.active && !d.sampled && itself(d.presence) && answer(d.presence) == twinValid {
			t.learnt = i
			return
		}
	}
}

func (t *twin) conclude(sl *twinSlot, sink line.Sink) {
	i := sl.device
	d := &t.devices[i]
	fault := func(is *bool, on bool, kind line.Kind, parent uint64) {
		if *is != on {
			*is = on
			sink.Note(line.Change{Kind: kind, Device: int32(i), On: on, Parent: parent})
		}
	}
	switch sl.reply {
	case twinNoise:
		t.count.garbled++
		sink.Note(line.Change{Kind: line.Garbled, Device: int32(i)})
	case twinNone, twinCollision:
		d.bad = min(d.bad+1, t.cfg.MissedReplies)
		if d.bad == t.cfg.MissedReplies && sl.reply == twinNone {
			fault(&d.missing, true, line.MissingFault, d.presenceEvent)
		}
		if d.bad == t.cfg.MissedReplies && sl.reply == twinCollision {
			fault(&d.duplicate, true, line.DuplicateSeen, d.presenceEvent)
		}
	case twinWrong:
		d.bad = 0
		fault(&d.missing, false, line.MissingFault, d.presenceEvent)
		fault(&d.duplicate, false, line.DuplicateSeen, d.presenceEvent)
		fault(&d.wrong, true, line.WrongType, d.presenceEvent)
	case twinValid:
		d.bad = 0
		if d.missing {
			t.again(i)
		}
		fault(&d.missing, false, line.MissingFault, d.presenceEvent)
		fault(&d.wrong, false, line.WrongType, d.presenceEvent)
		fault(&d.duplicate, sl.double && t.cfg.ReplyCurrentCheck, line.DuplicateSeen, d.presenceEvent)
		if sl.output == 0 && sl.circuit != d.circuitRead {
			wasShort := d.circuitRead == line.Short
			d.circuitRead = sl.circuit
			if wasShort || sl.circuit == line.Normal {
				d.tries = 0
			}
			sink.Note(line.Change{Kind: line.CircuitRead, Device: int32(i), On: sl.circuit != line.Normal, Circuit: sl.circuit, Parent: d.circuitEvent})
		}
		if t.cfg.Devices[i].Output {
			t.judgeOutput(i, sl, fault)
		} else {
			t.judgeInput(i, sl, fault, sink)
		}
	}
}

type twinFault func(is *bool, on bool, kind line.Kind, parent uint64)

// judgeOutput compares the state that the reply carries with the one commanded.
func (t *twin) judgeOutput(i int, sl *twinSlot, fault twinFault) {
	d := &t.devices[i]
	waits := slices.ContainsFunc(t.queue, func(c twinCommand) bool { return int(c.Device) == i })
	switch {
	case waits:
	case sl.output == d.commanded:
		d.tries = 0
		fault(&d.outFault, false, line.OutputFault, max(d.outputEvent, d.commandEvent))
	case d.tries < 3:
		t.repeat = i
	default:
		fault(&d.outFault, true, line.OutputFault, d.commandEvent)
	}
}

// judgeInput counts readings.
func (t *twin) judgeInput(i int, sl *twinSlot, fault twinFault, sink line.Sink) {
	d := &t.devices[i]
	need := t.cfg.Devices[i].Readings
	cause := d.inputEvent
	if sl.active != d.reading {
		d.reading = sl.active
		cause = sink.Note(line.Change{Kind: line.ActiveRead, Device: int32(i), On: sl.active, Parent: cause})
	}
	if !sl.prealarm {
		d.preReadings = 0
		fault(&d.preSignal, false, line.PrealarmRead, d.inputEvent)
	} else if !d.preSignal {
		d.preReadings++
		if d.preReadings == need {
			d.preReadings = 0
			fault(&d.preSignal, true, line.PrealarmRead, d.inputEvent)
		}
	}
	if !t.cfg.Devices[i].Fire || d.signalled {
		return
	}
	if !sl.active {
		d.readings = 0
		return
	}
	if d.readings > 0 {
		cause = d.countEvent
	}
	d.readings++
	d.countEvent = sink.Note(line.Change{Kind: line.Counted, Device: int32(i), N: d.readings, Parent: cause})
	if d.readings >= need {
		d.readings, d.signalled = 0, true
		sink.Note(line.Change{Kind: line.FireSignal, Device: int32(i), On: true, Parent: d.countEvent})
	}
}

// Send takes a command of the program.
func (t *twin) Send(now time.Duration, c line.Command) {
	d := &t.devices[c.Device]
	d.commanded, d.strength, d.order, d.commandEvent, d.tries = c.State, c.Strength, c.Order, c.Event, 0
	if t.repeat == int(c.Device) {
		t.repeat = -1
	}
	t.enqueue(c, now)
}

// enqueue puts a command where its birth, strength and order belong, behind one in progress.
func (t *twin) enqueue(c line.Command, born time.Duration) {
	busy := 0
	if t.slot != nil {
		busy = t.slot.commands
	}
	t.queue = append(t.queue, twinCommand{Command: c, born: born})
	slices.SortStableFunc(t.queue[busy:], func(a, b twinCommand) int {
		return cmp.Or(cmp.Compare(a.born, b.born), cmp.Compare(b.Strength, a.Strength), cmp.Compare(a.Order, b.Order))
	})
}

func (t *twin) SetErrorRate(_ time.Duration, rate float64, sink line.Sink) { t.setRate(rate, sink) }

func (t *twin) setRate(rate float64, sink line.Sink) {
	t.rate = rate
	t.draw(sink)
}

// draw draws the next garbled visit. This one piece of arithmetic is that of package line, on
// purpose: the same products in the same order, so that both garble the same visits. Its
// distribution has a test of its own, in package line.
func (t *twin) draw(sink line.Sink) {
	t.garbled = math.MaxUint64
	if t.rate == 0 {
		return
	}
	u := float64(float64(sink.Uniform(t.draws)>>11) * (1.0 / (1 << 53)))
	t.draws++
	power := [40]float64{1 - t.rate}
	for i := 1; i < 40; i++ {
		power[i] = float64(power[i-1] * power[i-1])
	}
	t.garbled = t.visits
	for i, product := 39, 1.0; i >= 0; i-- {
		if p := float64(product * power[i]); p > u {
			product = p
			t.garbled += 1 << i
		}
	}
}

func (t *twin) Presence(i int32) line.Presence { return t.devices[i].presence }

func (t *twin) OutputFault(i int32) bool {
	return t.devices[i].outFault || t.devices[i].circuitRead != line.Normal
}

func (t *twin) Fault(i int32) bool {
	d := &t.devices[i]
	return d.missing || d.wrong || d.duplicate || d.outFault || d.circuitRead != line.Normal
}

// SampleAfter walks on, turn by turn, from where the loop is.
func (t *twin) SampleAfter(i int32, after time.Duration) time.Duration {
	at, turn := t.at, t.turn
	for {
		if turn == int(i) && at >= after {
			return at
		}
		at += t.length(turn)
		if turn++; turn > len(t.devices) || turn == len(t.devices) && !t.probing() {
			turn = 0
		}
	}
}

func (t *twin) Round() time.Duration {
	var sum time.Duration
	for turn := range t.devices {
		sum += t.length(turn)
	}
	if t.probing() && len(t.devices) > 0 {
		sum += t.cfg.NoReplySlot
	}
	return sum
}

func (t *twin) length(turn int) time.Duration {
	if turn < len(t.devices) && answer(t.devices[turn].presence) != twinNone {
		return t.cfg.PollSlot
	}
	return t.cfg.NoReplySlot
}

func (t *twin) Copy() poller {
	c := &twin{}
	c.CopyFrom(t)
	return c
}

func (t *twin) CopyFrom(p poller) {
	o := p.(*twin)
	*t = *o
	t.devices, t.queue = slices.Clone(o.devices), slices.Clone(o.queue)
	if o.slot != nil {
		t.slot = &t.room
	}
}

// Pending reports how many commands wait or are in progress.
func (t *twin) Pending() int { return len(t.queue) }
