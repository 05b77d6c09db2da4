package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/detection"
	"loopdrill.dev/loopdrill/logic/term"
)

// signalSink takes what package detection makes of signals into the program.
type signalSink struct {
	p    *Program
	s    *State
	sink Sink
}

// signalKinds are the kinds of changes of package detection.
var signalKinds = [...]ChangeKind{
	detection.VerificationStarted: VerificationStarted, detection.SignalVerified: SignalVerified, detection.DetectorReady: DetectorReady,
	detection.SignalHeld: SignalHeld, detection.SignalConfirmed: SignalConfirmed, detection.SignalDropped: SignalDropped,
	detection.InvestigationStarted: InvestigationStarted, detection.InvestigationAcknowledged: InvestigationAcknowledged, detection.InvestigationEnded: InvestigationEnded,
}

// Note passes a change on. That somebody must go and look is news, though the device may have shown as
// pre-alarm before, and been acknowledged.
func (k signalSink) Note(c detection.Change) uint64 {
	change := Change{Kind: signalKinds[c.Kind], Index: c.Point, By: c.By, On: c.On, Due: c.Due, Parent: c.Parent}
	if c.Also != 0 && c.Also != c.Parent {
		change.Also = []uint64{c.Also}
	}
	event := k.sink.Note(change)
	if c.Kind == detection.InvestigationStarted {
		k.callFor(c.Point, event)
	}
	return event
}

// callFor calls the operator because of a device that shows as pre-alarm.
func (k signalSink) callFor(point int32, event uint64) {
	leaf, _ := k.p.net.leaf(term.Fact{Kind: term.DevicePrealarm, Index: point})
	k.s.shows.Sound(leaf, event)
	k.p.setPanel(k.s, term.PanelAcknowledged, false, event, k.sink)
}

// Fire latches the fire of a device; a new alarm ends silence as `resound` says (rules E8, J3).
func (k signalSink) Fire(point int32, event uint64) {
	p, s := k.p, k.s
	leaf, _ := p.net.leaf(term.Fact{Kind: term.DeviceFire, Index: point})
	p.setFact(s, leaf, true, event)
	p.setPanel(s, term.PanelAcknowledged, false, event, k.sink)
	k.soundAgain(point, event)
	if zone := p.points[point].zone; zone >= 0 {
		s.zoneFire[zone] = true
	}
}

// soundAgain ends silence for a new alarm, as `resound` says.
func (k signalSink) soundAgain(point int32, event uint64) {
	if zone := k.p.points[point].zone; zone < 0 || !k.s.zoneFire[zone] || k.p.resoundByDevice {
		k.p.endSilence(k.s, event, k.sink)
	}
}

// ShowPrealarm shows a device as pre-alarm because its signal is held, or no longer: then it is as
// its line says, and as the panel latches it. A held signal is more than the level that may have shown
// before it, so it calls the operator anew, and sounds anew what an earlier one was silenced for.
func (k signalSink) ShowPrealarm(point int32, on bool, event uint64) {
	p, s := k.p, k.s
	leaf, _ := p.net.leaf(term.Fact{Kind: term.DevicePrealarm, Index: point})
	switch {
	case on:
		s.gone[leaf] = false
		p.setFact(s, leaf, true, event)
		k.callFor(point, event)
		k.soundAgain(point, event)
	case s.lineEarly[point]:
	case p.latches[term.DevicePrealarm]:
		s.gone[leaf] = true
	default:
		p.setFact(s, leaf, false, event)
	}
	s.shown[point] = on
}

// Confirm says whether the criterion of a zone is met.
func (k signalSink) Confirm(zone int32, on bool, event uint64) {
	leaf, _ := k.p.net.leaf(term.Fact{Kind: term.ZoneConfirmed, Index: zone})
	k.p.setFact(k.s, leaf, on, event)
}

// takeFire takes a decision on fire, unless the device is disabled or in test. Whether it is fire already is for
// its zone's detection to say.
func (p *Program) takeFire(s *State, in input, sink Sink) {
	point := in.fact.Index
	if p.disabled(s, point) {
		s.withheld[point] = true
		sink.Note(Change{Kind: FireWithheld, Index: point, Parent: in.event})
		return
	}
	if p.inTest(s, point) {
		p.noteTested(s, point, in.event, sink)
		return
	}
	p.detection.Signal(&s.detection, s.turn.now, point, in.event, signalSink{p, s, sink})
}

// showsEarly notes what the line says of a device's pre-alarm, and reports whether the device goes on
// to show it because its signal is held.
func (p *Program) showsEarly(s *State, in input) bool {
	if in.fact.Kind != term.DevicePrealarm {
		return false
	}
	s.lineEarly[in.fact.Index] = in.on
	return !in.on && s.shown[in.fact.Index]
}

// settleSignals ends the instant for the signals that are held; what comes of that may itself change
// whether somebody is to go and look.
func (p *Program) settleSignals(s *State, sink Sink) {
	for more := s.detection.Pending(); more; {
		before := len(s.net.changed)
		p.detection.Settle(&s.detection, s.turn.now, func(zone int32) (bool, uint64) { return p.investigates(s, zone) }, signalSink{p, s, sink})
		p.net.propagate(&s.net)
		more = len(s.net.changed) > before
	}
}

// investigates reports whether somebody is to go and look at signals of a zone now, and the event that
// made it so.
func (p *Program) investigates(s *State, zone int32) (bool, uint64) {
	node := p.given[zone]
	if node < 0 {
		return true, 0
	}
	if events := p.net.support(&s.net, node, nil, 1); len(events) > 0 {
		return s.net.value[node], events[0]
	}
	return s.net.value[node], 0
}

// dropSignal ends what is held of a device's signal, because it is disabled or in test from now on.
func (p *Program) dropSignal(s *State, point int32, event uint64, sink Sink) {
	p.detection.Drop(&s.detection, point, event, signalSink{p, s, sink})
}

// LongestHeld returns the longest time for which the signal of one device that stands can be held
// before it is fire; what its new readings take is not in it.
func (p *Program) LongestHeld() time.Duration { return p.detection.Longest() }

// fires reports whether the device is in latched fire.
func (p *Program) fires(s *State, point int32) bool {
	leaf, _ := p.net.leaf(term.Fact{Kind: term.DeviceFire, Index: point})
	return s.net.value[leaf]
}

// MayHold reports whether the signal of the device may be held back by the detection of its zone.
func (p *Program) MayHold(point int) bool { return p.detection.MayHold(int32(point)) }
