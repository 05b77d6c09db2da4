package drill

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/sim"
)

// runName names a run of a loop's cable by what stands at its end.
func (p *Plan) runName(loop int32, run int64) string {
	n := p.In.Loops[loop].Wire
	if int32(run) == n.Return() {
		return "return"
	}
	return n.Label(int32(run))
}

// cableText is a fault of a loop's cable or isolator.
func (p *Plan) cableText(subject string, e *sim.Event) string {
	if ActKind(e.Value) == ActIsolatorStuck {
		return fmt.Sprintf("%s: isolator at %s is stuck %s", subject, p.runName(e.Subject, e.Extra>>1), choose(e.Extra&1 != 0, "open", "closed"))
	}
	return fmt.Sprintf("%s: %s before %s", subject, faultWords[ActKind(e.Value)], p.runName(e.Subject, e.Extra))
}

// describeWire describes what the wire does and what the controller sees of it.
func (p *Plan) describeWire(subject string, e *sim.Event) (string, bool) {
	on, closed := e.Value != 0, choose(e.Extra != 0, "closes", "opens")
	switch e.Kind {
	case FeedChanged:
		return subject + choose(on, " has voltage and works", " has no voltage"), true
	case ModuleLost:
		return subject + " has been without voltage for longer than it rides through", true
	case IsolatorMoved:
		return fmt.Sprintf("%s: isolator at %s %s", subject, p.runName(e.Subject, e.Value), closed), true
	case TerminalMoved:
		return fmt.Sprintf("%s: the panel's %s terminal %s", subject, choose(e.Value == 0, "first", "far"), closed), true
	case LoopCollapsed:
		return subject + choose(on, ": the line voltage collapses", ": the line voltage is back"), true
	case RingBroken:
		return subject + choose(on, ": the ring is found broken", ": the ring is found whole again"), true
	case LoopOverload:
		return subject + choose(on, ": the loop is overloaded", ": the loop is no longer overloaded"), true
	case EarthSeen:
		return subject + choose(on, ": an earth is found", ": the earth is gone"), true
	}
	return p.describeSupply(subject, e)
}

// describeSupply describes circuits, loads and supplies.
func (p *Plan) describeSupply(subject string, e *sim.Event) (string, bool) {
	on := e.Value != 0
	switch e.Kind {
	case CircuitFault:
		return subject + ": its wiring reads " + [...]string{"normal", "open", "short", "earth"}[e.Value], true
	case LoadChanged:
		return subject + choose(on, " works", " is off"), true
	case FuseChanged:
		return subject + choose(on, ": the fuse is blown", ": the fuse is whole"), true
	case BatteryCarries:
		return subject + choose(on, ": the battery carries the load", ": the battery no longer carries the load"), true
	case BatteryDischarged:
		return subject + choose(on, ": the battery is at its end", ": the battery is connected again"), true
	case BatteryLow:
		return subject + choose(on, ": the battery is low", ": the battery is no longer low"), true
	case SupplyOverload:
		return subject + choose(on, ": the load is above the limit", ": the load is within the limit"), true
	case SupplyLost:
		return subject + choose(on, ": the output is lost", ": the output is there"), true
	case SupplySignal:
		return fmt.Sprintf("%s: signal %s %s", subject, power.SignalNames()[e.Extra], choose(on, "shows", "is gone")), true
	}
	return "", false
}
