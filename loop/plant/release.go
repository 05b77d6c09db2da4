package plant

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// release discharges an extinguishing agent after a countdown, once and for good. One part, the
// countdown: 0 not begun to full run out. If the release input goes to rest before the discharge
// the countdown is given up. Hold-off pauses it (a government guide specification for carbon dioxide: it resumes), or
// sets it back to the whole, or cancels it until the release input has been at rest. Without
// power the countdown is lost and begins anew when power is back; a cancellation is not lost.
// Stuck: the countdown runs out, and the agent does not come until the fault is put right.
type release struct {
	holdOff string // pauses | restarts | cancels
}

const (
	releaseInput = iota
	holdOffInput
)

// Modes.
const (
	releaseIdle int32 = iota
	releaseCancelledMode
	releaseDischargedMode
)

const (
	releaseReady int32 = iota
	releaseCounting
	releaseHeld
	releaseCancelled
	releaseOverdue
	releaseReleased
	releaseNoPower
)

func describeRelease(m *pb.Release) description {
	countdown := orDefault(m.GetCountdown(), "release.countdown")
	holdOff := m.GetHoldOff()
	if holdOff == "" {
		holdOff = "pauses"
	}
	return description{
		inputs:  []input{releaseInput: {"release", countdown}, holdOffInput: {"hold-off", 0}},
		signals: []signal{{name: "released", proves: true, level: true, by: []int{releaseInput}, unless: []int{holdOffInput}}, {name: "low-pressure"}},
		words: []string{
			releaseReady:     "ready",
			releaseCounting:  "counting-down",
			releaseHeld:      "held",
			releaseCancelled: "cancelled",
			releaseOverdue:   "overdue",
			releaseReleased:  "released",
			releaseNoPower:   "no-power",
		},
		tracks: []track{newTrack(countdown, 0)},
		is:     release{holdOff: holdOff},
	}
}

func (r release) follow(u unit) {
	switch {
	case u.mode() == releaseDischargedMode:
		return
	case !u.operated(releaseInput):
		u.put(0, 0)
		u.setMode(releaseIdle)
		return
	case !u.powered():
		u.put(0, 0)
		return
	case u.mode() == releaseCancelledMode:
		return
	case u.operated(holdOffInput):
		r.hold(u)
		return
	}
	u.goTo(0, u.full(0))
	if u.atFull(0) && !u.stuck() {
		u.setMode(releaseDischargedMode)
	}
}

func (r release) hold(u unit) {
	switch r.holdOff {
	case "restarts":
		u.put(0, 0)
	case "cancels":
		u.put(0, 0)
		u.setMode(releaseCancelledMode)
	default:
		u.halt(0)
	}
}

func (release) word(u unit) int32 {
	switch {
	case u.mode() == releaseDischargedMode:
		return releaseReleased
	case !u.powered():
		return releaseNoPower
	case u.mode() == releaseCancelledMode:
		return releaseCancelled
	case !u.operated(releaseInput):
		return releaseReady
	case u.operated(holdOffInput):
		return releaseHeld
	case u.moving(0):
		return releaseCounting
	}
	return releaseOverdue
}

// Both signals come with the discharge: the time that the agent takes to leave is not modelled.
func (release) signal(u unit, _ int) bool { return u.mode() == releaseDischargedMode }

func (release) done(u unit, in int) bool {
	if in == holdOffInput { // nothing holds what has been discharged
		return u.powered() && !u.moving(0) && u.mode() != releaseDischargedMode
	}
	return u.mode() == releaseDischargedMode
}
