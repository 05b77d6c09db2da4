package detection

import "time"

// Kind is what a Change says.
type Kind uint8

// Kinds of changes. Point is the detector that they are about.
const (
	VerificationStarted       Kind = iota + 1 // Due: the detector is reset and out until then
	SignalVerified                            // it signalled again in its window
	DetectorReady                             // it was reset and its line is to decide on it anew, from no readings
	SignalHeld                                // Due: when it is dropped, 0 for never; On: it already shows as fire
	SignalConfirmed                           // By: the device whose signal met the zone's criterion
	SignalDropped                             // nothing came of it
	InvestigationStarted                      // Due: somebody must acknowledge by then
	InvestigationAcknowledged                 // Due: fire unless the panel is reset by then
	InvestigationEnded                        // it becomes fire
)

// Change is one step of one signal.
type Change struct {
	Kind  Kind
	Point int32
	By    int32 // SignalConfirmed
	On    bool  // SignalHeld
	Due   time.Duration
	// Parent is the event of the step before, Also a further one without which this would not be, or 0.
	Parent, Also uint64
}

// Sink takes what comes of signals.
type Sink interface {
	// Note takes a change and gives it an event id that later ones name.
	Note(c Change) uint64
	// Fire: the device is in fire, latched until reset.
	Fire(point int32, event uint64)
	// ShowPrealarm: the device shows as pre-alarm because its signal is held, or no longer does.
	ShowPrealarm(point int32, on bool, event uint64)
	// Confirm: the criterion of the zone is met, or no longer is.
	Confirm(zone int32, on bool, event uint64)
}
