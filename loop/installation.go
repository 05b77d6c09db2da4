// Package loop models the installation as built: which points stand where on which loop, what
// outputs there are and what they drive. Compile reads the site's message once; the result is
// immutable and shared by every drill of the site.
//
// What each part does stands in the packages below: line, wire, circuit, power, plant.
//
// Validated by tables of findings and by the site-level tests of the packages above.
package loop

import (
	"time"

	"loopdrill.dev/loopdrill/loop/cadence"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
)

// Installation is a compiled site without its program. Indices are into its own slices; -1
// means none.
type Installation struct {
	Site  string
	Title string

	Loops    []Loop
	Points   []Point  // every addressed device, in file order
	Outputs  []Output // output devices in point order, then the panel's own outputs
	Loads    []Load
	Places   []string
	Zones    []string
	Groups   []string // in order of first appearance
	Supplies []string
	Plant    *plant.Plant
	Power    *power.Power // external supplies in file order, the panel's own last

	DecisionTime time.Duration // completing slot -> decision
	SwitchTime   time.Duration // decision -> panel output; output -> what it changes elsewhere
	PanelRestart time.Duration // end of what stopped the panel -> its first slot
	Targets      Targets
	ResetDrops   bool // reset drops everything
	Cadences     cadence.Signals

	points  map[string]int32 // by label and by loop/address
	outputs map[string]int32
	loads   map[string]int32
}

// Targets are the greatest times from a device's own output to the operation of an output.
type Targets struct{ Detector, CallPoint time.Duration }

// Loop is one loop: its polling and its wire.
type Loop struct {
	Number uint32
	Line   *line.Line
	Points []int32 // line device -> point
	Wire   *wire.Network
	Wired  []int32 // entry of the wire -> point; -1 for an isolator on its own
}

// Kind is the key of a device kind in a file, such as "smoke_detector".
type Kind string

// Input says what a point's input means.
type Input uint8

// Meanings of an input. Output devices have none.
const (
	NoInput Input = iota
	FireInput
	CallPoint
	Waterflow
	Supervisory
	Technical
	ReleaseInput
	HoldOff
)

// Fire reports whether the input counts as a fire.
func (i Input) Fire() bool { return i == FireInput || i == CallPoint || i == Waterflow }

// Point is one addressed device.
type Point struct {
	Label    string
	Address  string // loop/address
	Path     string // of its entry in the file
	Kind     Kind
	Loop     int32
	Device   int32 // in the loop's line
	Entry    int32 // in the loop's wire: its place in the wiring order
	Zone     int32
	Place    int32
	Groups   []int32
	Input    Input
	Detector bool // a fire input other than a call point: what detectors_in_fire counts

	// Thresholds in millionths of their unit; 0 where the device does not sense it.
	SmokeMicroPct int64
	HeatMicroC    int64
	Prealarm      bool
	Retard        time.Duration

	ClosedAtRest    bool // field contact of an input module or a conventional zone
	Supervised      bool // its field wiring ends in a resistor
	ShortIsFault    bool // a short of its field wiring is a fault, not an active input
	Output          int32
	WatchesSupply   int32
	WatchesSignal   power.Signal
	ProvesEquipment int32
	ProvesSignal    int32
	ProvesWithin    time.Duration // the proof is missed this long after it was asked for
}

// OnLoss is what an output does when its module loses the loop, or one on the panel when that stops.
type OnLoss uint8

// What a contact does.
const (
	Rests OnLoss = iota
	Stays
	Operates
)

// Output is one output of a module or of the panel.
type Output struct {
	Label        string
	Address      string // loop/address; panel outputs have none
	Path         string
	Point        int32 // -1: on the panel
	Sounder      bool  // takes alert and evacuate
	Contact      bool  // a volt-free contact, not a circuit
	ClosedAtRest bool
	OnLoss       OnLoss
	Equipment    int32 // what it drives
	Input        int32
	Loads        []int32
	Circuit      *circuit.Circuit // nil for a contact or a loop sounder
	Supply       int32            // that feeds the circuit; -1 without one
}

// Load is one appliance on an output circuit.
type Load struct {
	Label   string
	Output  int32
	Sounder bool // audible
}

// Visits is how the controller goes round loop l.
func (in *Installation) Visits(l int) wire.Visits {
	cfg := in.Loops[l].Line.Config()
	v := wire.Visits{Reply: cfg.PollSlot, NoReply: cfg.NoReplySlot, Probe: in.Loops[l].Probes(), Switch: in.SwitchTime}
	for _, point := range in.Loops[l].Points {
		v.Entries = append(v.Entries, in.Points[point].Entry)
	}
	return v
}

// mostAddresses on a loop: with all of them in use none is left to probe.
const mostAddresses = 250

// Probes reports whether a round has a visit to an address that nobody has.
func (l *Loop) Probes() bool {
	cfg := l.Line.Config()
	return cfg.ProbeUnused && len(cfg.Devices) > 0 && len(cfg.Devices) < mostAddresses
}

// Point finds a point by label or loop/address.
func (in *Installation) Point(ref string) (int32, bool) {
	i, ok := in.points[ref]
	return i, ok
}

// Output finds an output by label or loop/address.
func (in *Installation) Output(ref string) (int32, bool) {
	i, ok := in.outputs[ref]
	return i, ok
}

// Load finds a load by its label.
func (in *Installation) Load(label string) (int32, bool) {
	i, ok := in.loads[label]
	return i, ok
}

// PointRefs and OutputRefs are every way to name a point or an output; they must not be changed.
func (in *Installation) PointRefs() map[string]int32 { return in.points }

// OutputRefs is every way to name an output; it must not be changed.
func (in *Installation) OutputRefs() map[string]int32 { return in.outputs }

// Closed reports whether the contact or circuit conducts when it is operated (on) or not.
func (o *Output) Closed(on bool) bool { return on != o.ClosedAtRest }
