package drill

import "loopdrill.dev/loopdrill/sim"

// Visibility says who can see an event.
type Visibility uint8

// What the panel shows; what somebody standing at the plant sees; what only the bench knows.
const (
	OnPanel Visibility = iota + 1
	AtPlant
	Hidden
)

// String returns the class's word.
func (v Visibility) String() string {
	return [...]string{"", "panel", "plant", "hidden"}[v]
}

// Kinds of events. The comment says what Subject, Value and Extra hold. New kinds go to the
// end: the numbers are part of every digest.
const (
	Start                     sim.Kind = iota + 1 // the run begins
	StimulusApplied                               // Subject point or equipment, Value act kind, Extra level in millionths; of a signal 2 x its number + on
	FaultInjected                                 // Subject depends on Value, Value act kind
	FaultRepaired                                 // likewise
	Operated                                      // an operator's act: Value act kind, Subject its index
	InputChanged                                  // t0: Subject point, Value 1 active or 0, Extra 1 pre-alarm
	ReadingCounted                                // Subject point, Value count
	FireSignalled                                 // Subject point
	ActiveRead                                    // Subject point, Value on
	PrealarmRead                                  // Subject point, Value on
	MissingFault                                  // Subject point, Value on
	WrongTypeFault                                // Subject point, Value on
	DuplicateFault                                // Subject point, Value on
	ReplyGarbled                                  // Subject point
	OutputFault                                   // Subject output, Value on
	CommandSent                                   // t3 begins: Subject output, Value state, Extra try
	CommandHeard                                  // t3: Subject output, Value state, Extra 1 heard or 0
	CommandRepeated                               // Subject output, Value state, Extra tries so far
	FireDecided                                   // t1: Subject point
	PrealarmDecided                               // Subject point, Value on
	SupervisoryDecided                            // Subject point, Value on
	CauseChanged                                  // Subject cause, Value on
	ActionChanged                                 // Subject action pair, Value on
	DelayStarted                                  // Subject action pair
	DelayEnded                                    // Subject action pair
	DelayCancelled                                // Subject action pair
	EffectChanged                                 // Subject effect, Value state
	OutputDemanded                                // t2: Subject output, Value state, Extra state before
	LatchCleared                                  // Subject point
	PanelChanged                                  // Subject which, Value on
	DisablementSet                                // Subject index, Value on, Extra what
	ProgramChanged                                // other change of the program: Subject, Value, Extra as it gives them
	OutputOperated                                // t4: Subject output, Value state, Extra state before
	EquipmentChanged                              // Subject equipment, Value state index
	SignalChanged                                 // Subject equipment, Value signal, Extra on
	EquipmentDone                                 // t5: Subject equipment, Value input
	ModuleRestarted                               // Subject point
	LoopFault                                     // Subject loop, Value on
	DelayPaused                                   // Subject action pair
	DelayRestarted                                // Subject action pair
	DelayResumed                                  // Subject action pair
	FeedChanged                                   // Subject point, Value on: it has voltage and works
	ModuleLost                                    // Subject point: without voltage for longer than it rides through
	IsolatorMoved                                 // Subject loop, Value entry, Extra 1 closed
	TerminalMoved                                 // Subject loop, Value 0 first or 1 far terminal, Extra 1 closed
	LoopCollapsed                                 // Subject loop, Value on
	RingBroken                                    // Subject loop, Value on: the far end does not come back
	EarthSeen                                     // Subject loop, Value on
	CircuitFault                                  // Subject output or, with Extra 1, point; Value reading: 0 normal, 1 open, 2 short, 3 earth
	LoadChanged                                   // Subject load, Value on
	FuseChanged                                   // Subject supply, Value on: blown
	BatteryCarries                                // Subject supply, Value on
	BatteryDischarged                             // Subject supply, Value on
	BatteryLow                                    // Subject supply, Value on
	SupplyOverload                                // Subject supply, Value on
	SupplyLost                                    // Subject supply, Value on
	SupplySignal                                  // Subject supply, Value on, Extra signal
	EquipmentInput                                // Subject equipment that somebody stands in for, Value input, Extra on
	ProofMissed                                   // Subject point, Value on: what it is to prove has not come in time
	PanelStopped                                  // Value on; what is on the panel itself and on its loops follows from it
	OperationRefused                              // Subject what it would have acted on, Value logic's kind of operation, Extra the access level it needs
	ModeScheduled                                 // Value mode: by the calendar
	TestChanged                                   // Subject zone, Value on
	FireTested                                    // Subject point: a decision of a zone in test
	ConditionChanged                              // Value on, Extra condition
	BuzzerChanged                                 // Value on
	OverrideMoved                                 // Subject override, Value position
	DelayHurried                                  // Subject action pair
	VerificationStarted                           // Subject point, Extra until when it is out
	SignalVerified                                // Subject point
	DetectorReady                                 // Subject point, Extra by when it must signal to be verified, or 0
	SignalHeld                                    // Subject point, Value 1 if it shows as fire, Extra when it is dropped, or 0
	SignalConfirmed                               // Subject point, Extra the point whose signal confirmed it
	SignalDropped                                 // Subject point
	InvestigationStarted                          // Subject point, Extra by when somebody must acknowledge
	InvestigationAcknowledged                     // Subject point, Extra when it becomes fire
	InvestigationEnded                            // Subject point
	LoopOverload                                  // Subject loop, Value on: the driver has stood in its current limit for some time
	OperationUnheeded                             // Subject and Value as of the operator's act: the panel has stopped
	kinds
)

// kindInfo is what is known of every event of a kind.
type kindInfo struct {
	name    string
	visible Visibility
}

var kindTable = [kinds]kindInfo{
	Start:                     {"start", OnPanel},
	StimulusApplied:           {"stimulus", Hidden},
	FaultInjected:             {"fault-injected", Hidden},
	FaultRepaired:             {"fault-repaired", Hidden},
	Operated:                  {"operator", OnPanel},
	InputChanged:              {"input", Hidden},
	ReadingCounted:            {"reading-counted", OnPanel},
	FireSignalled:             {"fire-signal", OnPanel},
	ActiveRead:                {"active-read", OnPanel},
	PrealarmRead:              {"prealarm-read", OnPanel},
	MissingFault:              {"missing-fault", OnPanel},
	WrongTypeFault:            {"wrong-type-fault", OnPanel},
	DuplicateFault:            {"duplicate-fault", OnPanel},
	ReplyGarbled:              {"reply-garbled", Hidden},
	OutputFault:               {"output-fault", OnPanel},
	CommandSent:               {"command-sent", OnPanel},
	CommandHeard:              {"command-heard", Hidden},
	CommandRepeated:           {"command-repeated", OnPanel},
	FireDecided:               {"fire", OnPanel},
	PrealarmDecided:           {"prealarm", OnPanel},
	SupervisoryDecided:        {"supervisory", OnPanel},
	CauseChanged:              {"cause", OnPanel},
	ActionChanged:             {"action", OnPanel},
	DelayStarted:              {"delay-started", OnPanel},
	DelayEnded:                {"delay-ended", OnPanel},
	DelayCancelled:            {"delay-cancelled", OnPanel},
	EffectChanged:             {"effect", OnPanel},
	OutputDemanded:            {"output-demanded", OnPanel},
	LatchCleared:              {"latch-cleared", OnPanel},
	PanelChanged:              {"panel", OnPanel},
	DisablementSet:            {"disablement", OnPanel},
	ProgramChanged:            {"program", OnPanel},
	OutputOperated:            {"output-operated", AtPlant},
	EquipmentChanged:          {"equipment", AtPlant},
	SignalChanged:             {"signal", AtPlant},
	EquipmentDone:             {"equipment-done", AtPlant},
	ModuleRestarted:           {"module-restarted", Hidden},
	LoopFault:                 {"loop-fault", OnPanel},
	DelayPaused:               {"delay-paused", OnPanel},
	DelayRestarted:            {"delay-restarted", OnPanel},
	DelayResumed:              {"delay-resumed", OnPanel},
	FeedChanged:               {"feed", Hidden},
	ModuleLost:                {"module-lost", Hidden},
	IsolatorMoved:             {"isolator", Hidden},
	TerminalMoved:             {"terminal", Hidden},
	LoopCollapsed:             {"loop-collapsed", Hidden},
	RingBroken:                {"ring-broken", OnPanel},
	EarthSeen:                 {"earth-fault", OnPanel},
	CircuitFault:              {"circuit-fault", OnPanel},
	LoadChanged:               {"load", AtPlant},
	FuseChanged:               {"fuse", Hidden},
	BatteryCarries:            {"on-battery", Hidden},
	BatteryDischarged:         {"battery-discharged", Hidden},
	BatteryLow:                {"battery-low", Hidden},
	SupplyOverload:            {"supply-overload", Hidden},
	SupplyLost:                {"supply-lost", Hidden},
	SupplySignal:              {"supply-signal", AtPlant},
	LoopOverload:              {"loop-overload", OnPanel},
	OperationRefused:          {"operation-refused", OnPanel},
	OperationUnheeded:         {"operation-unheeded", Hidden},
	ModeScheduled:             {"mode-scheduled", OnPanel},
	TestChanged:               {"test", OnPanel},
	FireTested:                {"fire-tested", OnPanel},
	ConditionChanged:          {"condition", OnPanel},
	BuzzerChanged:             {"buzzer", OnPanel},
	OverrideMoved:             {"override", OnPanel},
	DelayHurried:              {"delay-hurried", OnPanel},
	EquipmentInput:            {"equipment-input", AtPlant},
	ProofMissed:               {"proof-missed", OnPanel},
	PanelStopped:              {"panel-stopped", Hidden},
	VerificationStarted:       {"verification", OnPanel},
	SignalVerified:            {"signal-verified", OnPanel},
	DetectorReady:             {"detector-ready", OnPanel},
	SignalHeld:                {"signal-held", OnPanel},
	SignalConfirmed:           {"signal-confirmed", OnPanel},
	SignalDropped:             {"signal-dropped", OnPanel},
	InvestigationStarted:      {"investigation", OnPanel},
	InvestigationAcknowledged: {"investigation-acknowledged", OnPanel},
	InvestigationEnded:        {"investigation-over", OnPanel},
}

// KindName is the word for a kind of event.
func KindName(k sim.Kind) string { return kindTable[k].name }

// VisibilityOf is who can see events of a kind.
func VisibilityOf(k sim.Kind) Visibility { return kindTable[k].visible }
