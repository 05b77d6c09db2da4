package plant

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// fan has one part, its speed: 0 standstill to full. Stop wins when both inputs are operated.
// Without power it runs down and reports `tripped` until power is back; then it runs up again by
// itself if it is to run (a restart by hand is not modelled). `running` is full speed only.
type fan struct {
	atRest int64 // speed with no input operated: 0 or full
}

const (
	fanStart = iota
	fanStop
)

const (
	fanStopped int32 = iota
	fanRunningUp
	fanRunning
	fanRunningDown
	fanPartSpeed // stuck on the way
	fanTripped
)

func describeFan(m *pb.Fan) description {
	up, down := orDefault(m.GetRunUp(), "fan.run_up"), orDefault(m.GetRunDown(), "fan.run_down")
	speed := newTrack(up, down)
	f := fan{}
	if m.GetRunsAtRest() {
		f.atRest = speed.full
	}
	speed.start = f.atRest
	running := signal{name: "running", proves: true, level: true, by: []int{fanStart}, unless: []int{fanStop}}
	if m.GetRunsAtRest() {
		running = signal{name: "running", proves: true, level: false, by: []int{fanStop}}
	}
	return description{
		inputs: []input{fanStart: {"start", up}, fanStop: {"stop", down}},
		signals: []signal{
			running,
			{name: "tripped"},
		},
		words: []string{
			fanStopped:     "stopped",
			fanRunningUp:   "running-up",
			fanRunning:     "running",
			fanRunningDown: "running-down",
			fanPartSpeed:   "part-speed",
			fanTripped:     "tripped",
		},
		tracks: []track{speed},
		is:     f,
	}
}

func (f fan) follow(u unit) {
	switch {
	case !u.powered():
		u.goTo(0, 0)
	case u.stuck():
		u.haltAll()
	case u.operated(fanStop):
		u.goTo(0, 0)
	case u.operated(fanStart):
		u.goTo(0, u.full(0))
	default:
		u.goTo(0, f.atRest)
	}
}

func (fan) word(u unit) int32 {
	if !u.powered() {
		return fanTripped
	}
	return travelWord(u, [5]int32{fanStopped, fanRunningUp, fanRunning, fanRunningDown, fanPartSpeed})
}

func (fan) signal(u unit, k int) bool {
	if k == 0 {
		return u.atFull(0)
	}
	return !u.powered()
}

func (fan) done(u unit, in int) bool {
	if in == fanStop {
		return u.atZero(0)
	}
	return u.atFull(0) && !u.operated(fanStop)
}

// travelWord picks the word of a part by its movement: at 0, going up, at full, going down,
// halted between.
func travelWord(u unit, words [5]int32) int32 {
	m := &u.s.motions[u.part(0)]
	switch {
	case u.moving(0) && m.target > m.pos:
		return words[1]
	case u.moving(0):
		return words[3]
	case u.atZero(0):
		return words[0]
	case u.atFull(0):
		return words[2]
	}
	return words[4]
}

// damper has one part, its blade: 0 closed to full open. Close wins when both inputs are operated;
// with neither it goes to its position at rest. Without power it stays where it is, unless an
// input is de-energise-to-operate: then its spring acts as that input does.
type damper struct {
	atRest int64
}

const (
	damperOpen = iota
	damperClose
)

const (
	damperIsClosed int32 = iota
	damperOpening
	damperIsOpen
	damperClosing
	damperPartOpen // halted on the way: stuck, or without power
)

func describeDamper(m *pb.Damper) description {
	travel := orDefault(m.GetTravel(), "damper.travel")
	blade := newTrack(travel, travel)
	d := damper{}
	if m.GetAtRest() != "closed" {
		d.atRest = blade.full
	}
	blade.start = d.atRest
	return description{
		inputs: []input{damperOpen: {"open", travel}, damperClose: {"close", travel}},
		signals: []signal{
			{name: "opened", proves: true, level: true, by: []int{damperOpen}, unless: []int{damperClose}},
			{name: "closed", proves: true, level: true, by: []int{damperClose}},
		},
		words: []string{
			damperIsClosed: "closed",
			damperOpening:  "opening",
			damperIsOpen:   "open",
			damperClosing:  "closing",
			damperPartOpen: "part-open",
		},
		tracks: []track{blade},
		is:     d,
	}
}

func (d damper) follow(u unit) {
	switch {
	case u.dead() || u.stuck():
		u.haltAll()
	case u.on(damperClose):
		u.goTo(0, 0)
	case u.on(damperOpen):
		u.goTo(0, u.full(0))
	default:
		u.goTo(0, d.atRest)
	}
}

func (damper) word(u unit) int32 {
	return travelWord(u, [5]int32{damperIsClosed, damperOpening, damperIsOpen, damperClosing, damperPartOpen})
}

func (damper) signal(u unit, k int) bool {
	if k == 0 {
		return u.atFull(0)
	}
	return u.atZero(0)
}

func (damper) done(u unit, in int) bool {
	if in == damperClose {
		return u.atZero(0)
	}
	return u.atFull(0) && !u.on(damperClose)
}
