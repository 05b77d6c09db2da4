package logic

import (
	"strconv"
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// ChangeKind is what a Change says.
type ChangeKind uint8

// Kinds of changes, with what Index and the other fields mean. Parent and Also are set for all.
const (
	CauseChanged              ChangeKind = iota + 1 // Index cause, On
	DelayStarted                                    // Index pair, Due: an on-delay begins to run
	DelayPaused                                     // Index pair: pause_while became true
	DelayRestarted                                  // Index pair: restart_while became true; it stands at the whole
	DelayResumed                                    // Index pair, Due: it runs again
	DelayEnded                                      // Index pair: it ran out
	DelayCancelled                                  // Index pair: its cause fell, cancel_when became true, or reset
	ActionChanged                                   // Index pair, On: whether it demands its State
	SetTaken                                        // Index effect: it holds its one_of set from now on
	SetFreed                                        // Index effect: reset took its one_of set from it
	EffectChanged                                   // Index effect, From and State: its strongest demand, Off being the inhibit
	OutputDemanded                                  // Index output, From and State, never Off; Effect: whose demand it is, -1 for none
	Unlatched                                       // Index point: the line may decide on its fire anew; On true if its latched fire was cleared, false if one withheld while it was disabled may now come
	SignalUnlatched                                 // Fact: a latched supervisory signal or fault that had gone was cleared by reset
	FireWithheld                                    // Index point: a decision was not taken, because the device or its zone is disabled
	PanelChanged                                    // Fact (PanelAcknowledged, PanelSilenced, PanelEvacuate, PanelMode), Index its kind, On; a mode has the new one as Fact.Value
	PanelReset                                      // an operator reset the panel
	ControlChanged                                  // Index control, On
	DisabledChanged                                 // Fact (DeviceDisabled, ZoneDisabled, OutputDisabled, EquipmentDisabled), Index the thing, On
	ChainStopped                                    // Index output: ChainLimit evaluations followed one another through output(..).commanded; the chain is not continued
	VerificationStarted                             // Index point, Due: the detector is reset, and out until then
	SignalVerified                                  // Index point: it signalled again in its window
	DetectorReady                                   // Index point: it was reset, and the line is to decide on it anew, from no readings; Due: until when that verifies, if it does
	SignalHeld                                      // Index point, Due: its signal waits for confirmation, and is dropped then (0 for never); On: it is fire already, and only the zone's confirmation waits
	SignalConfirmed                                 // Index point, By: the device whose signal met the criterion of the zone, or of the other zone
	SignalDropped                                   // Index point: nothing comes of its signal
	InvestigationStarted                            // Index point, Due: somebody must acknowledge by then
	InvestigationAcknowledged                       // Index point, Due: its signal becomes fire then
	InvestigationEnded                              // Index point: its signal becomes fire
	OperationRefused                                // Index OpKind; Fact.Index what it would have acted on, Fact.Value the level it needs: the operator's was lower, and nothing else happens
	ModeScheduled                                   // Index mode: the calendar begins it; without a parent
	TestChanged                                     // Index zone, Fact, On: whether it is in test
	FireTested                                      // Index point: a decision on fire of a zone in test, which goes no further
	ConditionChanged                                // Index Condition, On: whether it stands
	BuzzerChanged                                   // On: whether it sounds
	OverrideMoved                                   // Index override, Fact with the new position, On: away from auto
	DelayHurried                                    // Index pair, Due unless it stands still: what remains of it was shortened
)

// Change is one consequence. It is handed to the Sink in the order in which it came about.
type Change struct {
	Kind   ChangeKind
	Index  int32
	Effect int32
	// Place is that of the output among the effect's outputs, Strength the demand as it was
	// decided, Off for an inhibit and OverrideStrength for a switch (OutputDemanded): together with Effect the order of commands.
	Place    int32
	Strength term.State
	On       bool
	State    term.State
	From     term.State
	Fact     term.Fact
	Due      time.Duration
	By       int32 // SignalConfirmed
	// Parent is the event that brought it about, 0 for none (a cause true from the start).
	Parent uint64
	// Also holds at most eight further events without which it would not have come: the other
	// members of a gate that needed several. The slice is only good during Note.
	Also []uint64
}

// Sink takes changes, and gives each an event id that later changes name as their Parent.
type Sink interface {
	Note(c Change) (event uint64)
}

// alsoLimit is the greatest number of further events of one change: the schema's Event.also.
const alsoLimit = 8

// String names the kind in the words of the log.
func (k ChangeKind) String() string {
	names := [...]string{"", "cause", "delay-started", "delay-paused", "delay-restarted", "delay-resumed", "delay-ended", "delay-cancelled",
		"action", "set-taken", "set-freed", "effect", "output", "unlatched", "signal-unlatched", "fire-withheld", "panel", "reset",
		"control", "disabled", "chain-stopped", "verification-started", "signal-verified", "detector-ready", "signal-held", "signal-confirmed",
		"signal-dropped", "investigation-started", "investigation-acknowledged", "investigation-ended", "operation-refused", "mode-scheduled", "test", "fire-tested", "condition", "buzzer",
		"override", "delay-hurried"}
	if int(k) < len(names) {
		return names[k]
	}
	return "change-" + strconv.Itoa(int(k))
}

// OpKind is what an operator does.
type OpKind uint8

// Operations.
const (
	Acknowledge OpKind = iota + 1
	Silence
	Resound
	Reset
	Evacuate
	Control          // Index control, On
	Mode             // Value term.Day or term.Night
	DisableDevice    // Index point, On: disable, else enable
	DisableZone      // Index zone, On
	DisableOutput    // Index output, On
	DisableEquipment // Index equipment, On: all outputs that drive it
	TestZone         // Index zone, On: begin, else end
	MoveOverride     // Index override, Value term.Auto, term.SwitchedOn or term.SwitchedOff
)

// Operation is one act of an operator.
type Operation struct {
	Kind  OpKind
	Index int32
	On    bool
	Value int32
	// Level is the access level it is done at. 0 is the bench itself, to which nothing is refused.
	Level panel.Level
}
