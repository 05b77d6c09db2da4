// Package sim is the event kernel: virtual time, the order of events, random streams, the log
// and its digest. It knows nothing of fire alarms; package drill composes the models over it.
//
// Virtual time is a time.Duration since the start, in whole nanoseconds; it never meets the
// wall clock. Inside an instant events are ordered by (phase, source, the source's own order).
// A source is a stable number, so the order does not depend on who scheduled first. An event
// may schedule into its own or a later phase of its instant, or into a later instant.
//
// Left out: real-time pacing and concurrency, which belong to the service.
package sim

import "fmt"

// Phase is a part of an instant.
type Phase uint8

// The phases of an instant, in their order. A slot that begins samples what all other phases
// of the instant have settled, so it comes after the plant.
const (
	Stimulus Phase = iota // fire, operator's hands on devices, faults, repairs
	Wire                  // who is fed
	Line                  // slots that end: what the controller learns
	Logic                 // inputs, operator, reset, timers, one evaluation
	Output                // contacts and circuits
	Plant                 // equipment
	Slot                  // slots that begin: what is sampled, which command goes
	Check                 // expectations and observers
	phases
)

var phaseNames = [phases]string{"stimulus", "wire", "line", "logic", "output", "plant", "slot", "check"}

// String returns the phase's name.
func (p Phase) String() string {
	if p >= phases {
		return fmt.Sprintf("phase %d", uint8(p))
	}
	return phaseNames[p]
}
