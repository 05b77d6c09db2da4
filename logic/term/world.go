package term

// World is everything that a condition can name. Package sim/site builds it from the
// installation, which this package never sees. Slices are the index spaces of facts; it is not
// changed once the first condition has been read over it.
type World struct {
	Points    []Point
	Outputs   []Output
	Loads     []string
	Zones     []string
	Places    []string
	Groups    []string
	Supplies  []string
	Causes    []string
	Controls  []string
	Overrides []string
	Equipment []Equipment
	// Partial says that parts of the installation could not be read: what can be counted is not known.
	Partial bool
	// Loops holds the loop numbers in file order.
	Loops []uint32
	// PointRefs and OutputRefs find an index by label and by `loop/address`.
	PointRefs  map[string]int
	OutputRefs map[string]int
}

// Point is one addressed device.
type Point struct {
	Label   string
	Address string // loop/address
	Loop    int    // index into World.Loops
	Zone    int    // index, -1 for none
	Place   int    // index, -1 for none
	Groups  []int
	Input   Input
	// Detector: counts for detectors_in_fire: every fire input that is no call point.
	Detector bool
	// Automatic: a detector, or a conventional zone of detectors, whose signal the detection of its
	// zone may hold back; Smoke: one that may be verified.
	Automatic, Smoke bool
	// Prealarm: the device is asked to signal a pre-alarm.
	Prealarm bool
	// ShowsHeld: it shows as pre-alarm while its zone's detection holds its signal back.
	ShowsHeld bool
}

// Input is what a point's reading means to the panel.
type Input uint8

// Meanings of inputs. Output modules have none.
const (
	NoInput Input = iota
	Fire
	CallPoint
	Waterflow
	Supervisory
	Technical
	ReleaseInput
	HoldOff
)

// Fire reports whether the input counts for `.fire` and `.devices_in_fire` (rule A7).
func (i Input) Fire() bool { return i == Fire || i == CallPoint || i == Waterflow }

// Output is one thing that the panel switches.
type Output struct {
	Label   string
	Address string // loop/address; empty for an output on the panel itself
	// Sounder outputs take alert and evacuate, all others on.
	Sounder bool
}

// Equipment is one thing that reacts, with the words of its states in index order and the
// outputs that drive it.
type Equipment struct {
	ID      string
	States  []string
	Outputs []int32
}

// Takes reports whether the output's vocabulary holds the state (rules E6, J11).
func (o Output) Takes(s State) bool {
	switch s {
	case Rest, Off:
		return true
	case Alert, Evacuate:
		return o.Sounder
	}
	return !o.Sounder
}

// Words lists the words of the output's states, `off` being rest.
func (o Output) Words() []string {
	if o.Sounder {
		return []string{"off", "alert", "evacuate"}
	}
	return []string{"off", "on", "release"}
}

// pointNames lists labels and addresses of points, for the nearest name.
func (w *World) pointNames() []string {
	names := make([]string, 0, 2*len(w.Points))
	for _, p := range w.Points {
		names = append(names, p.Label)
	}
	for _, p := range w.Points {
		names = append(names, p.Address)
	}
	return names
}

// outputNames lists labels and addresses of outputs, for the nearest name.
func (w *World) outputNames() []string {
	names := make([]string, 0, 2*len(w.Outputs))
	for _, o := range w.Outputs {
		names = append(names, o.Label)
	}
	for _, o := range w.Outputs {
		if o.Address != "" {
			names = append(names, o.Address)
		}
	}
	return names
}

// equipmentNames lists the ids of equipment.
func (w *World) equipmentNames() []string {
	names := make([]string, len(w.Equipment))
	for i, e := range w.Equipment {
		names[i] = e.ID
	}
	return names
}

// outputOf returns the output that the point is, or -1.
func (w *World) outputOf(point int) int {
	if w.Points[point].Input != NoInput {
		return -1
	}
	if o, ok := w.OutputRefs[w.Points[point].Address]; ok {
		return o
	}
	return -1
}
