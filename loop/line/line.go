// Package line models the polling of one addressable loop by its controller.
//
// The controller visits its configured addresses ascending, in slots; a device is sampled at
// the start of its slot and the controller acts at the end. Commands wait in a queue and take
// slots of their own. The model is exact and lazy: a visit without a consequence is never
// executed, its time is known in closed form from the anchor (one instant, one place in the
// round) and the number of replies before each turn. A slow twin that executes every slot stands
// in the tests of package drill; on random sites both give identical logs.
//
// What it leaves out: signalling waveforms, and who is fed (the caller says so).
//
// Invariants: a loop with addresses is always in exactly one slot, without gaps, from t = 0;
// a slot in progress keeps its length and its sample; State holds no pointers but its slices,
// so CopyFrom is a copy.
package line

import (
	"slices"
	"time"
)

// OutputState is a state of an output, as the caller numbers it; zero is rest. The line only
// compares them.
type OutputState uint8

// Device is one addressed device, as configured in the panel.
type Device struct {
	Address  uint8 // 1 to 250
	Output   bool  // an output module or loop sounder: its reply carries its output's state
	Load     bool  // an output that takes its current from the loop itself
	Fire     bool  // readings above threshold are counted towards a fire signal
	Readings int32 // readings that make the signal, 1 to 100
}

// Config is a loop's timing and devices.
type Config struct {
	PollSlot, NoReplySlot, CommandSlot time.Duration // each > 0
	MissedReplies                      int32         // visits missed in a row that make a fault, 1 to 100
	CommandsBetweenVisits              int32         // at least 1
	OutOfTurn                          bool
	ProbeUnused                        bool
	SharedCommands                     bool
	ReplyCurrentCheck                  bool
	ErrorRate                          float64  // chance in [0, 1) that a reply is garbled, per visit
	Devices                            []Device // ascending by address
}

// Line is a compiled, immutable loop; many drills share one.
type Line struct {
	cfg   Config
	turns int32 // visits in a round: devices, and one probe if asked for
}

// highest is the highest address of a loop.
const highest = 250

// highestCount is how many readings or missed visits in a row are counted at most.
const highestCount = 100

// tries is how often one change of an output is commanded before it counts as a fault.
const tries = 3

// Compile makes a Line. It panics on a configuration that the site's own checks refuse.
func Compile(cfg Config) *Line {
	if cfg.PollSlot <= 0 || cfg.NoReplySlot <= 0 || cfg.CommandSlot <= 0 || cfg.MissedReplies < 1 || cfg.CommandsBetweenVisits < 1 {
		panic("line: slot lengths, missed replies and commands between visits must be positive")
	}
	if cfg.MissedReplies > highestCount || slices.ContainsFunc(cfg.Devices, func(d Device) bool { return d.Readings > highestCount }) {
		panic("line: more readings or missed replies than are counted")
	}
	if !slices.IsSortedFunc(cfg.Devices, func(a, b Device) int { return int(a.Address) - int(b.Address) }) {
		panic("line: devices must ascend by address")
	}
	l := &Line{cfg: cfg, turns: int32(len(cfg.Devices))}
	if cfg.ProbeUnused && l.turns > 0 && l.turns < highest {
		l.turns++ // nothing stands at an unconfigured address: a probe only takes its time
	}
	return l
}

// Config returns the configuration that the line was compiled from; it must not be changed.
func (l *Line) Config() *Config { return &l.cfg }

// Moment says which part of an instant an event of the line belongs to.
type Moment uint8

// Slots that end come before the program, slots that begin after everything else.
const (
	End Moment = iota
	Begin
)

// Sink receives what the line does, and gives it randomness.
type Sink interface {
	// Note records a change and returns the number of its event, which later changes name as
	// their parent.
	Note(Change) uint64
	// Uniform returns the n-th value, 64 uniform bits, of the loop's own stream.
	Uniform(n uint64) uint64
}

// Kind says what changed.
type Kind uint8

// What a line reports.
const (
	Counted       Kind = iota + 1 // a reading counted; N is the count so far
	FireSignal                    // the readings are complete: the decision falls after the decision time
	ActiveRead                    // the last valid reading is now On
	PrealarmRead                  // the pre-alarm readings are complete, or gone
	MissingFault                  // On: raised; not On: cleared
	WrongType                     // likewise
	DuplicateSeen                 // likewise
	Garbled                       // a reply was garbled by line noise
	OutputFault                   // On: raised; not On: cleared
	CommandSent                   // its slot began
	CommandDone                   // its slot ended; On: the module heard it
	RepeatQueued                  // a reply differed from the command, which is repeated
	RoundEnded                    // a watched round is over; Device is -1
	CircuitRead                   // the reading of an output's circuit at rest is now Circuit; On: not normal
)

// Circuit is what a module reads of its output circuit at rest. Zero is normal.
type Circuit uint8

// Readings of a circuit at rest.
const (
	Normal Circuit = iota
	Open
	Short
	Earth
)

// Change is one thing that the line did or found.
type Change struct {
	Kind    Kind
	Device  int32 // index into Config.Devices
	On      bool
	N       int32
	State   OutputState
	Circuit Circuit
	Parent  uint64 // event that this change follows from
}
