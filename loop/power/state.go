package power

import "time"

// Condition is what the outside does to a supply.
type Condition uint8

// Conditions. Each is off on a healthy supply.
const (
	MainsFailed   Condition = iota
	SupplyFailed            // the supply as a whole gives nothing
	FuseOpen                // taken out, or blown by overload; off puts a new one in
	ChargerFailed           // the battery is no longer charged
	BatteryOut              // the battery is disconnected
	conditions
)

// Signal is what a supply says about itself.
type Signal uint8

// Signals, in the order of SignalNames.
const (
	Fault Signal = iota // any of the others
	MainsFault
	BatteryFault // charger failed, battery disconnected, or low
	OutputFault
	signals
)

// SignalNames are the words of the signals, as a watching input names them.
func SignalNames() []string { return []string{"fault", "mains-fault", "battery-fault", "output-fault"} }

// SignalIndex finds a signal by its word.
func SignalIndex(name string) (Signal, bool) {
	for i, known := range SignalNames() {
		if known == name {
			return Signal(i), true
		}
	}
	return 0, false
}

// cause is one reason for an indication, each with its own delay.
type cause uint8

const (
	causeMains cause = iota
	causeCharger
	causeBattery
	causeLow
	causeOutput
	causes
)

// State is everything of the supplies that changes during a drill. It is plain data: only CopyFrom
// and the methods of the Power that made it may touch it.
type State struct {
	units []unit
	next  time.Duration // earliest of the units' due
}

// unit is one supply.
type unit struct {
	load  int64 // microamperes beside standby
	left  charge
	since time.Duration // left is as of this time
	due   time.Duration // when it next changes by itself

	conditions [conditions]bool
	onBattery  bool
	low        bool
	discharged bool
	overload   bool
	off        bool // the output is lost
	shown      [signals]bool

	fuseAt  time.Duration // when the fuse blows; never
	drained uint64        // the event that the present drain follows from
	timers  [causes]timer
}

// timer is one indication.
type timer struct {
	at        time.Duration // when it is indicated; never
	parent    uint64        // event that it follows from
	indicated bool
}

// NewState returns supplies on mains with full batteries.
func (p *Power) NewState() *State {
	s := &State{units: make([]unit, len(p.supplies)), next: never}
	for i := range s.units {
		u := &s.units[i]
		*u = unit{left: p.supplies[i].full, due: never, fuseAt: never}
		for k := range u.timers {
			u.timers[k].at = never
		}
	}
	return s
}

// CopyFrom makes s equal to o and independent of it. Both are of the same Power; s may be the zero
// State.
func (s *State) CopyFrom(o *State) {
	s.units = append(s.units[:0], o.units...)
	s.next = o.next
}

// Is reports whether a condition is on: set, or for FuseOpen also blown.
func (p *Power) Is(s *State, i int, c Condition) bool { return s.units[i].conditions[c] }

// Signal reports whether a signal shows.
func (p *Power) Signal(s *State, i int, signal Signal) bool { return s.units[i].shown[signal] }

// OnBattery reports whether the battery carries the load.
func (p *Power) OnBattery(s *State, i int) bool { return s.units[i].onBattery }

// Low reports whether the battery's charge is at or below the low-battery share.
func (p *Power) Low(s *State, i int) bool { return s.units[i].low }

// On reports whether the output is there.
func (p *Power) On(s *State, i int) bool { return !s.units[i].off }

// MicroV is the voltage at the output: 0 where it is lost, and on battery the lowest that it will
// be before low battery, or before the end of discharge.
func (p *Power) MicroV(s *State, i int) int64 {
	u, figures := &s.units[i], &p.supplies[i]
	switch {
	case u.off:
		return 0
	case !u.onBattery:
		return figures.mainsMicroV
	case u.low:
		return figures.endMicro
	}
	return figures.lowMicroV
}

// MicroA is the current that the output is asked for.
func (p *Power) MicroA(s *State, i int) int64 { return p.supplies[i].standby + s.units[i].load }

// LeftMicroAh is the battery's charge at a time not before the latest change, rounded down.
func (p *Power) LeftMicroAh(s *State, i int, now time.Duration) int64 {
	u := s.units[i] // a copy: to look changes nothing
	p.accrue(&u, i, now)
	return u.left.microAh()
}
