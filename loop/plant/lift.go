package plant

import (
	"slices"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// lift is one car. Two parts: the car, along the floors, and its doors, 0 closed to full open.
// The mode is the landing that holds (EN 81-73:2020 5.1.2: the first active input wins, others
// are looked at only when it has gone to rest; ASME A17.1 2.27, from memory: the landing holds
// until reset). Loss of power stops the car at once, wherever it is (NFPA 72 21.4 and the
// discussion of ASME A17.1: not held back until recall is finished), and it goes on when power
// is back.
type lift struct {
	recall, alternate int64 // positions of the landings
	floor             int64 // one floor, in units of the car's track
	inAlternate       int   // -1: no alternate floor, no such input
	inPowerOff        int
}

const liftRecallInput = 0

const (
	car = iota
	doors
)

const (
	noLanding int32 = iota
	recallLanding
	alternateLanding
)

const (
	liftInService int32 = iota
	liftRecalling
	liftAtRecall
	liftRecallingAlternate
	liftAtAlternate
	liftStopped
)

// at-floor: the car stands at the landing that holds, doors open. in-recall: the controller
// obeys a landing. Both need the lift's power.
const (
	liftAtFloor = iota
	liftInRecall
)

func describeLift(m *pb.Lift) description {
	floorTime := max(orDefault(m.GetFloorTime(), "lift.floor_time"), 1)
	doorTime := orDefault(m.GetDoorTime(), "lift.door_time")
	floors := m.GetFloors()
	height := time.Duration(min(max(len(floors)-1, 1), 1000)) * floorTime
	l := lift{floor: int64(floorTime), inAlternate: -1}
	l.recall = l.position(floors, m.GetRecallFloor())
	landings := []int64{l.recall}
	inputs := []input{{name: "recall"}}
	if m.GetAlternateFloor() != "" {
		l.inAlternate = len(inputs)
		l.alternate = l.position(floors, m.GetAlternateFloor())
		landings = append(landings, l.alternate)
		inputs = append(inputs, input{name: "alternate"})
	}
	for i := range inputs {
		inputs[i].takes = worstRecall(landings[i], landings, int64(height), doorTime)
	}
	l.inPowerOff = len(inputs) + 2
	landingInputs, noPower := []int{liftRecallInput}, []int{l.inPowerOff}
	if l.inAlternate >= 0 {
		landingInputs = append(landingInputs, l.inAlternate)
	}
	start := int64(height)
	if m.GetStartFloor() != "" {
		start = l.position(floors, m.GetStartFloor())
	}
	way := newTrack(height, height)
	way.start = min(start, way.full)
	return description{
		inputs: append(inputs, input{name: "hat-steady"}, input{name: "hat-flash"}, input{name: "power-off"}),
		signals: []signal{
			liftAtFloor:  {name: "at-floor", proves: true, level: true, by: landingInputs, unless: noPower},
			liftInRecall: {name: "in-recall", proves: true, level: true, by: landingInputs, unless: noPower},
		},
		words: []string{
			liftInService:          "in-service",
			liftRecalling:          "recalling",
			liftAtRecall:           "at-recall-floor",
			liftRecallingAlternate: "recalling-alternate",
			liftAtAlternate:        "at-alternate-floor",
			liftStopped:            "stopped",
		},
		tracks: []track{car: way, doors: newTrack(doorTime, doorTime)},
		is:     l,
	}
}

// position of a floor by name; 0 for a name that is not there, which Compile reports.
func (l lift) position(floors []string, name string) int64 {
	return int64(min(max(slices.Index(floors, name), 0), 1000)) * l.floor
}

// worstRecall is the longest way to a landing: from either end of the shaft with the doors closed,
// or from the other landing with the doors open, which must close first.
func worstRecall(landing int64, landings []int64, height int64, doorTime time.Duration) time.Duration {
	worst := time.Duration(max(landing, height-landing)) + doorTime
	for _, from := range landings {
		if from != landing {
			worst = max(worst, 2*doorTime+time.Duration(max(landing-from, from-landing)))
		}
	}
	return worst
}

// asks tells whether the input of a landing is operated. The controller's own supply matters
// elsewhere: which input came first does not depend on it.
func (l lift) asks(u unit, landing int32) bool {
	switch landing {
	case recallLanding:
		return u.operated(liftRecallInput)
	case alternateLanding:
		return l.inAlternate >= 0 && u.operated(l.inAlternate)
	}
	return false
}

func (l lift) powered(u unit) bool { return u.powered() && !u.operated(l.inPowerOff) }

func (l lift) follow(u unit) {
	if !l.asks(u, u.mode()) {
		u.setMode(noLanding)
		for _, landing := range []int32{recallLanding, alternateLanding} {
			if l.asks(u, landing) {
				u.setMode(landing)
				break
			}
		}
	}
	if !l.powered(u) || u.stuck() {
		u.haltAll()
		return
	}
	target := l.target(u)
	if !u.stands(car, target) {
		if u.goTo(doors, 0); !u.atZero(doors) {
			return
		}
		if u.goTo(car, target); !u.stands(car, target) {
			return
		}
	}
	if u.mode() == noLanding {
		u.goTo(doors, 0)
	} else {
		u.goTo(doors, u.full(doors))
	}
}

// target is where the car has to go: to its landing, or, released between floors, to the next
// floor on its way.
func (l lift) target(u unit) int64 {
	if u.mode() != noLanding {
		return l.landing(u)
	}
	at := u.pos(car)
	if u.s.motions[u.part(car)].target > at {
		return (at + l.floor - 1) / l.floor * l.floor
	}
	return at / l.floor * l.floor
}

func (l lift) landing(u unit) int64 {
	if u.mode() == alternateLanding {
		return l.alternate
	}
	return l.recall
}

func (l lift) arrived(u unit) bool {
	return l.powered(u) && u.mode() != noLanding && u.stands(car, l.landing(u)) && u.atFull(doors)
}

func (l lift) word(u unit) int32 {
	going, there := liftRecalling, liftAtRecall
	if u.mode() == alternateLanding {
		going, there = liftRecallingAlternate, liftAtAlternate
	}
	switch {
	case !l.powered(u):
		return liftStopped
	case u.mode() == noLanding:
		return liftInService
	case l.arrived(u):
		return there
	case u.moving(car) || u.moving(doors):
		return going
	}
	return liftStopped // stuck
}

func (l lift) signal(u unit, k int) bool {
	if k == liftAtFloor {
		return l.arrived(u)
	}
	return l.powered(u) && u.mode() != noLanding
}

// done: the lamp and the loss of power take no time; the lamp needs the lift's power.
func (l lift) done(u unit, in int) bool {
	switch in {
	case liftRecallInput:
		return u.mode() == recallLanding && l.arrived(u)
	case l.inAlternate:
		return u.mode() == alternateLanding && l.arrived(u)
	case l.inPowerOff:
		return true
	}
	return l.powered(u) && !u.stuck()
}
