package plant

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// trip has one part, its switch: 0 closed (the power of others is on) to full open. While it is
// open, everything it cuts is without power. It closes again at once when its input goes to
// rest, as a contactor does. Without its own power it stays as it is, unless its input is
// de-energise-to-operate (an undervoltage trip): then it opens.
type trip struct{}

const (
	tripClosed int32 = iota
	tripOpening
	tripTripped
)

const (
	tripTrippedSignal = iota
	tripVoltageSignal
)

func describeTrip(m *pb.Trip) description {
	takes := orDefault(m.GetTripTime(), "trip.trip_time")
	return description{
		inputs: []input{{"trip", takes}},
		signals: []signal{
			tripTrippedSignal: {name: "tripped", proves: true, level: true},
			tripVoltageSignal: {name: "control-voltage"},
		},
		words:  []string{tripClosed: "closed", tripOpening: "opening", tripTripped: "tripped"},
		tracks: []track{newTrack(takes, 0)},
		is:     trip{},
	}
}

func (trip) follow(u unit) { u.goOrRest() }

func (trip) word(u unit) int32 {
	return travelWord(u, [5]int32{tripClosed, tripOpening, tripTripped, tripClosed, tripClosed})
}

// control-voltage shows while healthy, and goes when another trip cuts this one.
func (trip) signal(u unit, k int) bool {
	if k == tripTrippedSignal {
		return u.atFull(0)
	}
	return u.powered()
}

func (trip) done(u unit, _ int) bool { return u.atFull(0) }

// valve has one part: 0 open to full closed. Once asked to close it closes all the way and stays
// closed until it is opened by hand (common practice for gas), which is not modelled; with
// `reopens` it follows its input both ways, in the same time. The mode is 1 from the moment it
// was asked.
type valve struct {
	reopens bool
}

const (
	valveOpen int32 = iota
	valveClosing
	valveClosed
	valveOpening
	valvePartOpen // halted on the way: stuck, or without power
)

func describeValve(m *pb.Valve) description {
	closing := orDefault(m.GetClosing(), "valve.closing")
	return description{
		inputs:  []input{{"close", closing}},
		signals: []signal{{name: "closed", proves: true, level: true}},
		words: []string{
			valveOpen:     "open",
			valveClosing:  "closing",
			valveClosed:   "closed",
			valveOpening:  "opening",
			valvePartOpen: "part-open",
		},
		tracks: []track{newTrack(closing, closing)},
		is:     valve{reopens: m.GetReopens()},
	}
}

func (v valve) follow(u unit) {
	if u.dead() || u.stuck() {
		u.haltAll()
		return
	}
	switch {
	case u.on(0):
		u.setMode(1)
	case v.reopens:
		u.setMode(0)
	}
	if u.mode() == 1 {
		u.goTo(0, u.full(0))
	} else {
		u.goTo(0, 0)
	}
}

func (valve) word(u unit) int32 {
	return travelWord(u, [5]int32{valveOpen, valveClosing, valveClosed, valveOpening, valvePartOpen})
}

func (valve) signal(u unit, _ int) bool { return u.atFull(0) }
func (valve) done(u unit, _ int) bool   { return u.atFull(0) }
