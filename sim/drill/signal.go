package drill

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
)

// heldKinds are the changes between the signal of a detector and its fire; their subject is the point.
var heldKinds = map[logic.ChangeKind]sim.Kind{
	logic.VerificationStarted: VerificationStarted, logic.SignalVerified: SignalVerified, logic.DetectorReady: DetectorReady,
	logic.SignalHeld: SignalHeld, logic.SignalConfirmed: SignalConfirmed, logic.SignalDropped: SignalDropped,
	logic.InvestigationStarted: InvestigationStarted, logic.InvestigationAcknowledged: InvestigationAcknowledged, logic.InvestigationEnded: InvestigationEnded,
}

// heldEvent is the event of such a change.
func heldEvent(e *sim.Event, c *logic.Change) bool {
	kind, ok := heldKinds[c.Kind]
	if !ok {
		return false
	}
	e.Kind, e.Extra = kind, int64(c.Due)
	if c.Kind == logic.SignalConfirmed {
		e.Extra = int64(c.By)
	}
	return true
}

// held carries out what becomes of a signal: a detector that is reset puts its indicator out, unless it is
// in fire, and when it is ready its line decides on it anew, from no readings. Any of these may begin the fire condition.
func (d *Drill) held(now time.Duration, c *logic.Change, event uint64) {
	if _, ok := heldKinds[c.Kind]; !ok {
		return
	}
	d.fireChange = event
	if c.Kind == logic.DetectorReady {
		p := &d.plan.In.Points[c.Index]
		d.lines[p.Loop].Rearm(now, p.Device, true)
		d.schedule(int(p.Loop))
	}
	reset := c.Kind == logic.DetectorReady || c.Kind == logic.VerificationStarted
	if reset && d.points[c.Index].indicator && !d.Fact(term.Fact{Kind: term.DeviceFire, Index: c.Index}) {
		d.points[c.Index].indicator = false
		d.loadLater(c.Index, event)
	}
}

// describeHeld describes what becomes of a signal.
func (p *Plan) describeHeld(subject string, e *sim.Event) (string, bool) {
	by := func(text string) string { return text + " by " + Seconds(time.Duration(e.Extra)) }
	switch e.Kind {
	case VerificationStarted:
		return fmt.Sprintf("%s is reset to verify its signal, and out until %s", subject, Seconds(time.Duration(e.Extra))), true
	case SignalVerified:
		return subject + " signals again: verified", true
	case DetectorReady:
		if e.Extra != 0 {
			return by(subject + " is ready again; it must signal"), true
		}
		return subject + " has been reset and is ready again", true
	case SignalHeld:
		if e.Value != 0 {
			return subject + ": fire; its zone waits for confirmation", true
		}
		return by(subject + ": its signal is held; it must be confirmed"), true
	case SignalConfirmed:
		if other := int32(e.Extra); other != e.Subject {
			return fmt.Sprintf("%s: its signal is confirmed by %s", subject, p.In.Points[other].Label), true
		}
		return subject + ": its signal is confirmed by its own second one", true
	case SignalDropped:
		return subject + ": its signal is dropped", true
	case InvestigationStarted:
		return by(subject + ": its signal is to be investigated; somebody must acknowledge"), true
	case InvestigationAcknowledged:
		return fmt.Sprintf("%s: somebody goes to look; fire at %s unless the panel is reset", subject, Seconds(time.Duration(e.Extra))), true
	case InvestigationEnded:
		return subject + ": its investigation ends: fire", true
	}
	return "", false
}

// Holds reports whether events of a kind are about a signal that is held back, and whether it is so
// after them; one that was dropped has not passed either.
func Holds(k sim.Kind) (held, about bool) {
	switch k {
	case VerificationStarted, SignalHeld, SignalDropped, InvestigationStarted, InvestigationAcknowledged:
		return true, true
	case SignalVerified, SignalConfirmed, InvestigationEnded:
		return false, true
	}
	return false, false
}
