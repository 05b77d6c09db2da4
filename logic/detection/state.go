package detection

import (
	"slices"
	"time"
)

// never is the time of what is not due.
const never = time.Duration(1<<63 - 1)

// phase is where the signal of a device stands.
type phase uint8

const (
	idle          phase = iota // no signal, or one that is fire
	restarting                 // verified: the detector is out
	watching                   // verified: it may signal again
	held                       // waits for confirmation; with First Fire it is fire already
	entering                   // about to be investigated: Settle asks whether that is wanted now
	investigating              // waits for a person
)

// signal is the signal of one device.
type signal struct {
	phase phase
	fire  bool // latched
	early bool // shown as pre-alarm
	due   time.Duration
	ready time.Duration // held: when the detector can signal again, never if it can already or never will
	event uint64        // of its latest step
}

// State is everything that changes. Take one from NewState.
type State struct {
	signals   []signal
	confirmed []bool  // by zone
	fires     []int32 // by zone: devices in fire
	total     int32   // devices in fire
	active    []int32 // devices whose phase is not idle, ascending
	// acknowledged says of the one investigation, if there is one, that somebody goes to look.
	acknowledged bool
}

// NewState returns the state of a panel at rest.
func (r *Rules) NewState() *State {
	return &State{active: []int32{}, signals: make([]signal, len(r.points)), confirmed: make([]bool, len(r.zones)), fires: make([]int32, len(r.zones))}
}

// CopyFrom makes s equal to o, a State of the same Rules.
func (s *State) CopyFrom(o *State) {
	old := *s
	*s = *o
	s.signals = append(old.signals[:0], o.signals...)
	s.confirmed = append(old.confirmed[:0], o.confirmed...)
	s.fires = append(old.fires[:0], o.fires...)
	s.active = append(old.active[:0], o.active...)
}

// Next returns when Settle is wanted by itself, and false for never.
func (s *State) Next() (time.Duration, bool) {
	next := never
	for _, p := range s.active {
		if sig := &s.signals[p]; sig.phase != entering {
			next = min(next, sig.due, sig.ready)
		}
	}
	return next, next != never
}

// Pending reports whether any signal is held, for whatever reason.
func (s *State) Pending() bool { return len(s.active) > 0 }

// Awaits reports whether a signal of the device still says something new: its fire is not latched,
// or may yet be confirmed by itself.
func (s *State) Awaits(point int32) bool {
	return !s.signals[point].fire || s.signals[point].phase == held
}

// enter puts a device's signal into a phase, due at an instant or never.
func (s *State) enter(p int32, to phase, due time.Duration) {
	sig := &s.signals[p]
	at, listed := slices.BinarySearch(s.active, p)
	switch {
	case to == idle && listed:
		s.active = slices.Delete(s.active, at, at+1)
	case to != idle && !listed:
		s.active = slices.Insert(s.active, at, p)
	}
	sig.phase, sig.due, sig.ready = to, due, never
}

// heldOf lists the devices of a zone whose signals are held.
func (r *Rules) heldOf(s *State, zone int32) []int32 {
	var list []int32
	for _, p := range s.active {
		if s.signals[p].phase == held && r.points[p].Zone == zone {
			list = append(list, p)
		}
	}
	return list
}

// investigated returns the device whose signal is investigated or about to be.
func (s *State) investigated() (point int32, ok bool) {
	for _, p := range s.active {
		if at := s.signals[p].phase; at == entering || at == investigating {
			return p, true
		}
	}
	return 0, false
}
