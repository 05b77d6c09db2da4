package drill

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/sim"
)

// Describe says in one line for people what an event of this site is. The wording may change;
// the event's own numbers are what a program reads.
func (p *Plan) Describe(e *sim.Event) string {
	subject := p.SubjectOf(e)
	on := e.Value != 0
	switch e.Kind {
	case Start:
		return "the run begins"
	case StimulusApplied:
		return p.stimulusText(subject, e)
	case FaultInjected:
		return "fault: " + p.faultText(subject, e)
	case FaultRepaired:
		return "put right: " + p.faultText(subject, e)
	case Operated:
		return operatedText(subject, e)
	case InputChanged:
		return inputText(subject, on, e.Extra != 0)
	case ActiveRead:
		return subject + choose(on, " is read active", " is read at rest")
	case ReadingCounted:
		return fmt.Sprintf("%s: reading %d in alarm", subject, e.Value)
	case FireSignalled:
		return subject + ": the readings for a fire are complete"
	case PrealarmRead:
		return subject + choose(on, " is read above the pre-alarm level", " is read below the pre-alarm level")
	case FireDecided:
		if p.Program.MayHold(int(e.Subject)) {
			return subject + ": its signal is decided"
		}
		return subject + ": fire decided"
	case PrealarmDecided:
		return subject + choose(on, ": pre-alarm decided", ": pre-alarm over")
	case SupervisoryDecided:
		return subject + choose(on, ": supervisory signal decided", ": supervisory signal over")
	case ReplyGarbled:
		return subject + ": the reply is garbled"
	case ModuleRestarted:
		return subject + " restarts"
	}
	if word, ok := raisedWords[e.Kind]; ok {
		return subject + ": " + word + choose(on, "", " is over")
	}
	return p.describeProgram(subject, e)
}

// raisedWords are the faults that are raised and cleared.
var raisedWords = map[sim.Kind]string{
	MissingFault: "missing fault", WrongTypeFault: "fault, a device of another type answers", DuplicateFault: "fault, two devices answer",
	OutputFault: "output fault, it is not as commanded", LoopFault: "loop fault",
}

// describeProgram describes what the program does and what comes of it.
func (p *Plan) describeProgram(subject string, e *sim.Event) string {
	on := e.Value != 0
	switch e.Kind {
	case CauseChanged:
		return "cause " + subject + choose(on, " becomes true", " becomes false")
	case ActionChanged:
		pair := p.Program.Pair(int(e.Subject))
		return fmt.Sprintf("action %s %s %s", subject, choose(on, "demands", "no longer demands"), demandText(pair.State))
	case DelayStarted:
		return fmt.Sprintf("action %s waits %s", subject, Seconds(p.Program.Pair(int(e.Subject)).After))
	case EffectChanged:
		return fmt.Sprintf("effect %s demands %s", subject, demandText(term.State(e.Value)))
	case OutputDemanded:
		return fmt.Sprintf("%s: %s is demanded", subject, stateText(e.Value))
	case CommandSent:
		return fmt.Sprintf("%s: command %s begins%s", subject, stateText(e.Value), tryText(e.Extra))
	case CommandHeard:
		return fmt.Sprintf("%s: command %s %s", subject, stateText(e.Value), choose(e.Extra != 0, "is heard", "is not heard"))
	case CommandRepeated:
		return fmt.Sprintf("%s: command %s is queued again", subject, stateText(e.Value))
	case OutputOperated:
		return fmt.Sprintf("%s goes %s -> %s", subject, stateText(e.Extra), stateText(e.Value))
	case EquipmentChanged:
		return fmt.Sprintf("%s is now %s", subject, p.In.Plant.States(int(e.Subject))[e.Value])
	case SignalChanged:
		return fmt.Sprintf("%s: signal %s is %s", subject, p.In.Plant.SignalName(int(e.Subject), int(e.Value)), choose(e.Extra != 0, "given", "gone"))
	case EquipmentInput:
		return fmt.Sprintf("%s: its input %s %s", subject, p.In.Plant.InputName(int(e.Subject), int(e.Value)), choose(e.Extra != 0, "is operated", "goes to rest"))
	case ProofMissed:
		return subject + choose(on, ": the proof has not come in time", ": the missed proof is over")
	case PanelStopped:
		return choose(on, "the panel stops", "the panel starts")
	case EquipmentDone:
		return fmt.Sprintf("%s: %s is done", subject, p.In.Plant.InputName(int(e.Subject), int(e.Value)))
	case LatchCleared:
		return subject + ": the latch is cleared"
	case PanelChanged:
		return panelText(e)
	case DisablementSet:
		return subject + choose(on, " is disabled", " is enabled")
	case ProgramChanged:
		return programText(subject, e)
	}
	if text, ok := p.describePanel(subject, e); ok {
		return text
	}
	if text, ok := p.describeHeld(subject, e); ok {
		return text
	}
	if text, ok := p.describeWire(subject, e); ok {
		return text
	}
	return subject + ": " + strings.ReplaceAll(KindName(e.Kind), "-", " ")
}

func choose(condition bool, yes, no string) string {
	if condition {
		return yes
	}
	return no
}

// stateText is the state that an output is in or is commanded to.
func stateText(value int64) string { return term.State(value).String() }

// demandText is a demand: rest means that there is none.
func demandText(s term.State) string {
	if s == term.Rest {
		return "nothing"
	}
	return s.String()
}

func tryText(try int64) string {
	if try <= 1 {
		return ""
	}
	return fmt.Sprintf(" (try %d)", try)
}

// micro is a figure in millionths.
func micro(x float64) int64 { return int64(math.Round(x * 1e6)) }

// quantity writes a figure in millionths with as many digits as it needs.
func quantity(micro int64) string { return strconv.FormatFloat(float64(micro)/1e6, 'f', -1, 64) }

func (p *Plan) stimulusText(subject string, e *sim.Event) string {
	level := e.Extra
	switch ActKind(e.Value) {
	case ActStandIn:
		return choose(level != 0, "somebody outside stands in for "+subject, subject+" is its own again")
	case ActSignal:
		return fmt.Sprintf("%s: from outside, %s is %s", subject, p.In.Plant.SignalName(int(e.Subject), int(level>>1)), choose(level&1 != 0, "given", "taken away"))
	case ActSmoke:
		return fmt.Sprintf("smoke of %s %%/m at %s", quantity(level), subject)
	case ActHeat:
		return fmt.Sprintf("%s C at %s", quantity(level), subject)
	case ActFlame:
		return "flame before " + subject
	case ActPress:
		return subject + " is pressed"
	case ActClear:
		return subject + " is cleared"
	}
	return subject + " is made active"
}

// supplyWords say what has happened to a supply.
var supplyWords = map[power.Condition]string{power.MainsFailed: "mains lost", power.SupplyFailed: "gives nothing", power.FuseOpen: "fuse open",
	power.BatteryOut: "battery disconnected", power.ChargerFailed: "battery no longer charged"}

// faultWords name the faults.
var faultWords = map[ActKind]string{
	ActRemove: "taken out", ActMute: "mute", ActDuplicate: "second device at the address", ActWrongType: "device of another type",
	ActRelayStuck: "stuck relay",
	ActBreak:      "broken cable", ActShort: "shorted cable", ActJoint: "bad joint", ActEarth: "core to earth", ActIsolatorStuck: "stuck isolator",
	ActCircuitOpen: "broken circuit", ActCircuitShort: "shorted circuit", ActReversed: "appliance the wrong way round", ActDeviceReversed: "wrong polarity on the loop",
	ActCircuitEarth:  "core of the circuit to earth",
	ActFieldWireOpen: "broken field wiring", ActFieldWireShort: "shorted field wiring", ActRelayWireOpen: "broken field wiring", ActRelayWireShort: "shorted field wiring",
	ActPanelStop: "stopped processor",
}

// resistorMissing is what a fault's event says of an end-of-line resistor that is not there; 1 is a
// second one, 0 one of another value.
const resistorMissing = 2

// plantFaultBits are those of what a fault's event says of equipment that hold the kind of fault; above
// them stands how much slower it is, in millionths.
const plantFaultBits = 8

func plantFaultText(extra int64) string {
	switch plant.Fault(extra & (1<<plantFaultBits - 1)) {
	case plant.Stuck:
		return "stuck"
	case plant.Slow:
		return "slow, takes " + quantity(extra>>plantFaultBits) + " times as long"
	}
	return "works, and its signals do not show it"
}

// faultText is a fault that begins or is put right.
func (p *Plan) faultText(subject string, e *sim.Event) string {
	kind, extra := ActKind(e.Value), e.Extra
	if kind.cable() {
		return p.cableText(subject, e)
	}
	switch kind {
	case ActSupply:
		return subject + ": " + supplyWords[power.Condition(extra)]
	case ActPlantFault:
		return subject + ": " + plantFaultText(extra)
	case ActLineErrors:
		return fmt.Sprintf("%s: %s %% of the replies garbled", subject, quantity(100*extra))
	case ActStuck:
		return subject + choose(extra != 0, " is stuck active", " is stuck at rest")
	case ActResistor:
		return subject + ": " + [...]string{"end-of-line resistor of another value", "second end-of-line resistor", "end-of-line resistor missing"}[extra]
	}
	return subject + ": " + faultWords[kind]
}

func inputText(subject string, active, prealarm bool) string {
	switch {
	case active:
		return subject + ": its own output is active (t0)"
	case prealarm:
		return subject + " is above its pre-alarm level"
	}
	return subject + ": its own output is at rest"
}

// operatedText is what somebody does at the panel.
func operatedText(subject string, e *sim.Event) string {
	switch kind := ActKind(e.Value); kind {
	case ActAcknowledge:
		return "operator: acknowledge"
	case ActSilence:
		return "operator: silence"
	case ActResound:
		return "operator: resound"
	case ActReset:
		return "operator: reset"
	case ActEvacuate:
		return "operator: evacuate"
	case ActMode:
		return "operator: mode " + modeWord(e.Extra)
	case ActControl:
		return "operator: " + subject + choose(e.Extra != 0, " on", " off")
	case ActTest:
		return "operator: " + subject + choose(e.Extra != 0, " into test", " out of test")
	case ActOverride:
		return "operator: " + subject + " to " + term.PositionWord(int32(e.Extra))
	}
	return "operator: " + choose(e.Extra != 0, "disable ", "enable ") + subject
}

func modeWord(value int64) string { return choose(int32(value) == term.Night, "night", "day") }

func panelText(e *sim.Event) string {
	on := e.Value != 0
	switch term.Kind(e.Subject) {
	case term.PanelMode:
		return "the panel's mode is " + modeWord(e.Extra)
	case term.PanelAcknowledged:
		return choose(on, "the panel is acknowledged", "the panel is no longer acknowledged")
	case term.PanelSilenced:
		return choose(on, "the panel is silenced", "silence ends")
	}
	return choose(on, "evacuation by hand begins", "evacuation by hand ends")
}

func programText(subject string, e *sim.Event) string {
	switch logic.ChangeKind(e.Extra) {
	case logic.SetTaken:
		return subject + " takes its one_of set"
	case logic.SetFreed:
		return subject + " frees its one_of set"
	case logic.FireWithheld:
		return subject + ": fire not taken, it or its zone is disabled"
	case logic.PanelReset:
		return "the panel is reset"
	case logic.ControlChanged:
		return subject + choose(e.Value != 0, " is on", " is off")
	case logic.ChainStopped:
		return subject + ": conditions on its own commanded state chase each other; stopped"
	}
	return subject + ": " + logic.ChangeKind(e.Extra).String()
}
