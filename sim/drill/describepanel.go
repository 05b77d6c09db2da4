package drill

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
)

// refusable are the words of what an operator may be refused.
var refusable = map[logic.OpKind]string{
	logic.Acknowledge: "acknowledge", logic.Silence: "silence", logic.Resound: "resound", logic.Reset: "reset", logic.Evacuate: "evacuate",
	logic.Control: "this key", logic.Mode: "the mode", logic.DisableDevice: "disablement", logic.DisableZone: "disablement",
	logic.DisableOutput: "disablement", logic.DisableEquipment: "disablement", logic.TestZone: "the test", logic.MoveOverride: "this switch",
}

// describePanel describes what the panel indicates, and what it is set to.
func (p *Plan) describePanel(subject string, e *sim.Event) (string, bool) {
	on := e.Value != 0
	switch e.Kind {
	case OperationRefused:
		return fmt.Sprintf("refused: %s needs access level %d", refusable[logic.OpKind(e.Value)], e.Extra), true
	case OperationUnheeded:
		return "nobody heeds it: the panel has stopped", true
	case ModeScheduled:
		return "the calendar begins the mode " + modeWord(e.Value), true
	case TestChanged:
		return subject + choose(on, " is put into test", " is taken out of test"), true
	case FireTested:
		return subject + ": fire in test, nothing follows", true
	case ConditionChanged:
		return "the panel's condition " + panel.Condition(e.Extra).String() + choose(on, " begins", " ends"), true
	case BuzzerChanged:
		return choose(on, "the buzzer sounds", "the buzzer is silent"), true
	case OverrideMoved:
		return subject + " is put to " + term.PositionWord(int32(e.Value)), true
	case DelayHurried:
		return fmt.Sprintf("action %s comes nearer", subject), true
	}
	return "", false
}
