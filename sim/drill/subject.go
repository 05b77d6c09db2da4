package drill

import (
	"strconv"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
)

// space is the index space of an event's subject.
type space uint8

const (
	ofNothing space = iota
	ofPoint
	ofOutput
	ofCause
	ofPair
	ofEffect
	ofEquipment
	ofLoop
	ofZone
	ofControl
	ofSupply
	ofLoad
	ofOverride
	ofPanel // the panel as a whole; the index is the kind of the fact
)

// kindSpaces says what the subject of each kind of event is, where the kind alone says it.
var kindSpaces = map[sim.Kind]space{
	InputChanged: ofPoint, ReadingCounted: ofPoint, FireSignalled: ofPoint, ActiveRead: ofPoint,
	PrealarmRead: ofPoint, MissingFault: ofPoint, WrongTypeFault: ofPoint, DuplicateFault: ofPoint, ReplyGarbled: ofPoint,
	FeedChanged: ofPoint, ModuleLost: ofPoint, IsolatorMoved: ofLoop, TerminalMoved: ofLoop, LoopCollapsed: ofLoop, RingBroken: ofLoop, EarthSeen: ofLoop, LoopOverload: ofLoop,
	LoadChanged: ofLoad, FuseChanged: ofSupply, BatteryCarries: ofSupply, BatteryDischarged: ofSupply, BatteryLow: ofSupply, SupplyOverload: ofSupply, SupplyLost: ofSupply, SupplySignal: ofSupply,
	FireDecided: ofPoint, PrealarmDecided: ofPoint, SupervisoryDecided: ofPoint, ModuleRestarted: ofPoint,
	OutputFault: ofOutput, CommandSent: ofOutput, CommandHeard: ofOutput, CommandRepeated: ofOutput, OutputDemanded: ofOutput, OutputOperated: ofOutput,
	CauseChanged: ofCause, EffectChanged: ofEffect, LoopFault: ofLoop,
	ActionChanged: ofPair, DelayStarted: ofPair, DelayEnded: ofPair, DelayCancelled: ofPair, DelayPaused: ofPair, DelayRestarted: ofPair, DelayResumed: ofPair,
	TestChanged: ofZone, FireTested: ofPoint, OverrideMoved: ofOverride, DelayHurried: ofPair,
	EquipmentChanged: ofEquipment, SignalChanged: ofEquipment, EquipmentDone: ofEquipment, EquipmentInput: ofEquipment,
	ProofMissed: ofPoint, VerificationStarted: ofPoint, SignalVerified: ofPoint, DetectorReady: ofPoint, SignalHeld: ofPoint, SignalConfirmed: ofPoint, SignalDropped: ofPoint,
	InvestigationStarted: ofPoint, InvestigationAcknowledged: ofPoint, InvestigationEnded: ofPoint,
}

// SubjectOf names what an event happened to: a label, an id, or a number; empty for the run or
// the panel as a whole. Two events with the same name of the same kind are about the same thing.
func (p *Plan) SubjectOf(e *sim.Event) string {
	i := int(e.Subject)
	switch spaceOf(e) {
	case ofPoint:
		return p.In.Points[i].Label
	case ofOutput:
		return p.In.Outputs[i].Label
	case ofCause:
		return p.World.Causes[i]
	case ofPair:
		pair := p.Program.Pair(i)
		return p.World.Causes[pair.Cause] + " -> " + p.Effects[pair.Effect]
	case ofEffect:
		return p.Effects[i]
	case ofEquipment:
		return p.In.Plant.ID(i)
	case ofLoop:
		return "loop " + p.loopName(e.Subject)
	case ofZone:
		return "zone " + p.World.Zones[i]
	case ofControl:
		return "control " + p.World.Controls[i]
	case ofOverride:
		return "override " + p.World.Overrides[i]
	case ofSupply:
		if i < 0 {
			return "all supplies"
		}
		return "supply " + p.In.Power.ID(i)
	case ofLoad:
		return p.In.Loads[i].Label
	case ofPanel:
		return "the panel"
	}
	return ""
}

func spaceOf(e *sim.Event) space {
	switch e.Kind {
	case StimulusApplied, FaultInjected, FaultRepaired, Operated, OperationUnheeded:
		return actSpace(ActKind(e.Value))
	case LatchCleared: // Extra: the fact's kind; a cleared fire has none
		return factSpace(term.Kind(e.Extra))
	case CircuitFault:
		if e.Extra == 1 {
			return ofPoint
		}
		return ofOutput
	case DisablementSet:
		return factSpace(term.Kind(e.Extra))
	case ProgramChanged:
		switch logic.ChangeKind(e.Extra) {
		case logic.SetTaken, logic.SetFreed:
			return ofEffect
		case logic.FireWithheld:
			return ofPoint
		case logic.ControlChanged:
			return ofControl
		case logic.ChainStopped:
			return ofOutput
		}
		return ofNothing
	}
	return kindSpaces[e.Kind]
}

// actSpace is the space of an act's index.
func actSpace(k ActKind) space {
	switch k {
	case ActLineErrors, ActBreak, ActShort, ActJoint, ActEarth, ActIsolatorStuck:
		return ofLoop
	case ActRelayStuck, ActDisableOutput, ActCircuitOpen, ActCircuitShort, ActCircuitEarth, ActResistor, ActReversed, ActRelayWireOpen, ActRelayWireShort:
		return ofOutput
	case ActPlantFault, ActStandIn, ActSignal, ActDisableEquipment:
		return ofEquipment
	case ActPanelStop:
		return ofPanel
	case ActOverride:
		return ofOverride
	case ActSupply:
		return ofSupply
	case ActDisableZone, ActTest:
		return ofZone
	case ActControl:
		return ofControl
	case ActDisableDevice:
		return ofPoint
	}
	if k.operator() {
		return ofNothing
	}
	return ofPoint
}

// factSpace is the space of a fact's index, for the facts that latch or are set by hand.
func factSpace(k term.Kind) space {
	switch k {
	case term.OutputFault, term.OutputDisabled:
		return ofOutput
	case term.ZoneDisabled, term.ZoneTest:
		return ofZone
	case term.EquipmentDisabled:
		return ofEquipment
	case term.LoopFault:
		return ofLoop
	case term.SupplyFault:
		return ofSupply
	}
	return ofPoint
}

// Seconds writes a virtual time for people, exactly: whole nanoseconds in seconds, with as many
// digits as it needs.
func Seconds(d time.Duration) string {
	whole, rest := d/time.Second, d%time.Second
	text := strconv.FormatInt(int64(whole), 10)
	if rest != 0 {
		digits := strconv.FormatInt(int64(time.Second+rest), 10)[1:]
		text += "." + strings.TrimRight(digits, "0")
	}
	return text + " s"
}
