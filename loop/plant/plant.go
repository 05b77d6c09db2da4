package plant

import (
	"slices"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Plant is the equipment of one site, compiled: immutable and shared by all its drills.
type Plant struct {
	machines        []machine
	byID            map[string]int
	tracks          []track
	owner           []int32 // by part: the equipment it belongs to
	inputs, signals int     // over all equipment
	longestTime     time.Duration
}

// machine is one piece of equipment.
type machine struct {
	description
	id                                  string
	deEnergise                          []bool
	anyDeEnergise                       bool
	firstInput, firstSignal, firstTrack int
	cuts, cutBy                         []int32
}

// description is what a kind says about a piece of equipment.
type description struct {
	inputs  []input
	signals []signal
	words   []string
	tracks  []track
	is      behaviour
	frank   bool // its signals tell of a fault that makes it unproven, and do not stay as they are
}

type input struct {
	name  string
	takes time.Duration // worst, healthy, from operated to done
}

type signal struct {
	name   string
	proves bool // it proves a fire action ...
	level  bool // ... when it shows (true) or no longer shows (false)
	// by are the inputs that ask for that action, none standing for any of them, unless those that
	// ask for another.
	by, unless []int
}

// behaviour is what one kind of equipment does. It holds compiled parameters only; what changes
// is in the unit. word, signal and done are functions of the unit's inputs, parts and mode, and
// change nothing.
type behaviour interface {
	// follow brings mode and movements in line with inputs, power and fault; to follow twice is to
	// follow once.
	follow(u unit)
	word(u unit) int32
	signal(u unit, k int) bool
	// done tells whether the action of an operated input is complete.
	done(u unit, in int) bool
}

// describe reads the kind of one piece of equipment. A message without a kind describes something
// without inputs and signals.
func describe(eq *pb.Equipment) description {
	switch k := eq.GetKind().(type) {
	case *pb.Equipment_Lift:
		return describeLift(k.Lift)
	case *pb.Equipment_Fan:
		return describeFan(k.Fan)
	case *pb.Equipment_Damper:
		return describeDamper(k.Damper)
	case *pb.Equipment_DoorHolder:
		return describeDoorHolder(k.DoorHolder)
	case *pb.Equipment_DoorLock:
		return describeDoorLock(k.DoorLock)
	case *pb.Equipment_Announcement:
		return describeAnnouncement(k.Announcement)
	case *pb.Equipment_Trip:
		return describeTrip(k.Trip)
	case *pb.Equipment_Valve:
		return describeValve(k.Valve)
	case *pb.Equipment_Release:
		return describeRelease(k.Release)
	case *pb.Equipment_Dialler:
		return describeDialler(k.Dialler)
	case *pb.Equipment_Siren:
		return describeSiren(k.Siren)
	case *pb.Equipment_Bms:
		return describeBms(k.Bms)
	case *pb.Equipment_Generic:
		return describeGeneric(k.Generic)
	}
	return description{words: []string{"at-rest"}, is: inert{}}
}

// Inputs names the inputs of a piece of equipment in index order. A lift has `alternate` only if
// it has an alternate floor.
func Inputs(eq *pb.Equipment) []string { return describe(eq).inputNames() }

// Signals names the signals of a piece of equipment in index order.
func Signals(eq *pb.Equipment) []string {
	var names []string
	for _, s := range describe(eq).signals {
		names = append(names, s.name)
	}
	return names
}

func (d description) inputNames() []string {
	var names []string
	for _, in := range d.inputs {
		names = append(names, in.name)
	}
	return names
}

// Len returns how many pieces of equipment there are.
func (p *Plant) Len() int { return len(p.machines) }

// Lookup returns the index of an id; of a duplicate id, the first.
func (p *Plant) Lookup(id string) (int, bool) {
	e, ok := p.byID[id]
	return e, ok
}

// ID returns the id of a piece of equipment.
func (p *Plant) ID(e int) string { return p.machines[e].id }

// InputCount returns how many inputs a piece of equipment has.
func (p *Plant) InputCount(e int) int { return len(p.machines[e].inputs) }

// SignalCount returns how many signals a piece of equipment has.
func (p *Plant) SignalCount(e int) int { return len(p.machines[e].signals) }

// InputIndex finds an input by name.
func (p *Plant) InputIndex(e int, name string) (int, bool) {
	for i, in := range p.machines[e].inputs {
		if in.name == name {
			return i, true
		}
	}
	return 0, false
}

// SignalIndex finds a signal by name.
func (p *Plant) SignalIndex(e int, name string) (int, bool) {
	for i, s := range p.machines[e].signals {
		if s.name == name {
			return i, true
		}
	}
	return 0, false
}

// InputName returns the name of an input.
func (p *Plant) InputName(e, in int) string { return p.machines[e].inputs[in].name }

// SignalName returns the name of a signal.
func (p *Plant) SignalName(e, signal int) string { return p.machines[e].signals[signal].name }

// SignalNames names the signals of a piece of equipment in index order.
func (p *Plant) SignalNames(e int) []string {
	var names []string
	for _, s := range p.machines[e].signals {
		names = append(names, s.name)
	}
	return names
}

// States returns the state words of a piece of equipment in index order. The caller must not
// change them.
func (p *Plant) States(e int) []string { return p.machines[e].words }

// DeEnergise tells whether an input operates when its control voltage is taken away.
func (p *Plant) DeEnergise(e, in int) bool { return p.machines[e].deEnergise[in] }

// Takes returns the worst time from an input being operated to its action being complete, on
// healthy, powered equipment whose other inputs are at rest. A lift counts from the farthest
// floor, or from open doors at the other landing if that is longer.
func (p *Plant) Takes(e, in int) time.Duration { return p.machines[e].inputs[in].takes }

// LongestTime returns the largest of all Takes, 0 without equipment.
func (p *Plant) LongestTime() time.Duration { return p.longestTime }

// Proof returns the level of a signal that proves a fire action, and whether one does: a lock is
// proven free when `locked` no longer shows, a fan that runs at rest is proven stopped when
// `running` no longer shows; `tripped` of a fan, `control-voltage` and `low-pressure` prove
// nothing.
func (p *Plant) Proof(e, signal int) (level, ok bool) {
	s := p.machines[e].signals[signal]
	return s.level, s.proves
}

// Asked tells whether a signal has to prove a fire action by now, given which inputs are driven: one
// that asks for the action is, and none against it. What a driven trip cuts, directly or through trips
// that open when they lose their own power, need not prove anything.
func (p *Plant) Asked(e, signal int, driven func(e, in int) bool) bool {
	m := &p.machines[e]
	s := &m.signals[signal]
	if !s.proves {
		return false
	}
	if p.cutOff(e, driven) {
		return false
	}
	for _, in := range s.unless {
		if driven(e, in) {
			return false
		}
	}
	for in := range m.inputs {
		if (s.by == nil || slices.Contains(s.by, in)) && driven(e, in) {
			return true
		}
	}
	return false
}

// Opposes tells whether an input goes before others of its equipment: stop before start, close before
// open, hold-off before release, a lift's power-off before recall.
func (p *Plant) Opposes(e, in int) bool {
	return slices.ContainsFunc(p.machines[e].signals, func(s signal) bool { return slices.Contains(s.unless, in) })
}

// ProofTakes returns the worst time, as Takes has it, from the operation of an input to the signal that
// proves its action; 0 for a signal that proves nothing.
func (p *Plant) ProofTakes(e, signal int) time.Duration {
	s := &p.machines[e].signals[signal]
	worst := time.Duration(0)
	for in := range p.machines[e].inputs {
		if s.proves && (s.by == nil || slices.Contains(s.by, in)) {
			worst = max(worst, p.Takes(e, in))
		}
	}
	return worst
}

// cutOff tells whether a driven trip takes the power of a piece of equipment. Compile refuses circles.
func (p *Plant) cutOff(e int, driven func(e, in int) bool) bool {
	return slices.ContainsFunc(p.machines[e].cutBy, func(trip int32) bool {
		return driven(int(trip), 0) || p.machines[trip].deEnergise[0] && p.cutOff(int(trip), driven)
	})
}

// Cuts lists what a trip takes the power of. The caller must not change it.
func (p *Plant) Cuts(e int) []int32 { return p.machines[e].cuts }

// inert is equipment of no kind.
type inert struct{}

func (inert) follow(unit)           {}
func (inert) word(unit) int32       { return 0 }
func (inert) signal(unit, int) bool { return false }
func (inert) done(unit, int) bool   { return false }
