package circuit

import (
	"math"

	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Circuit is one output circuit, compiled: immutable and shared by all drills of its site.
type Circuit struct {
	ring      bool
	runs      []run // in wiring order; on a ring the last is the return
	loads     []load
	endOfLine float64 // ohms
	sections  int     // parts of the cable between isolators
	rated     float64 // amperes: all loads, as RatedMicroA counts them
}

// run is one run of cable.
type run struct {
	metres   float64
	ohm      float64 // of one core, whole run
	isolator bool    // one stands at its beginning, inside the load there
	section  int     // isolators before it
}

// load is one appliance.
type load struct {
	amps    float64 // constant current, where watts is 0
	watts   float64 // constant power
	least   float64 // volts below which it does not work
	knee    float64 // volts below which its current falls in proportion
	rise    float64 // siemens between the diode's voltage and the knee
	leastUV int64
}

// Options are what a circuit does not say itself.
type Options struct {
	Path   string    // field path of the circuit, for findings
	Cable  *pb.Cable // where the circuit names none
	LeastV float64   // at a load that gives none: the rule pack's
}

// Compile reads a circuit. It makes a Circuit of any message; figures that the schema refuses are
// brought into range, because others report them. Findings are about the cable.
func Compile(k *pb.Circuit, opt Options) (*Circuit, []*pb.Finding) {
	c := &Circuit{ring: k.GetWiring() == "ring", endOfLine: within(k.GetEndOfLineOhm(), leastOhm, 1e6)}
	perMetre, found := ohmPerMetre(k, opt)
	isolator := false // of the load before
	for _, l := range k.GetLoads() {
		c.addRun(l.GetCableM(), perMetre, isolator)
		c.loads = append(c.loads, newLoad(appliance(l), opt.LeastV))
		c.rated += c.loads[len(c.loads)-1].most()
		isolator = l.GetIsolator()
	}
	if len(c.runs) == 0 {
		c.addRun(0, perMetre, false) // the resistor stands at the module's terminals
	}
	if c.ring {
		c.addRun(k.GetReturnCableM(), perMetre, isolator)
	}
	c.sections = c.runs[len(c.runs)-1].section + 1
	return c, found
}

func (c *Circuit) addRun(metres, perMetre float64, isolator bool) {
	metres = within(metres, 0, 1e4)
	r := run{metres: metres, ohm: float64(metres * perMetre), isolator: isolator}
	if n := len(c.runs); n > 0 {
		r.section = c.runs[n-1].section
	}
	if isolator {
		r.section++
	}
	c.runs = append(c.runs, r)
}

// loopOhm is the resistance of both cores of a run, with the isolator at its beginning closed.
func (r *run) loopOhm() float64 {
	if r.isolator {
		return float64(2*r.ohm) + isolatorOhm
	}
	return float64(2 * r.ohm)
}

func newLoad(a *pb.Appliance, least float64) load {
	if a.GetMinVoltageV() > 0 {
		least = a.GetMinVoltageV()
	}
	l := load{amps: within(a.GetCurrentMa(), 0, 1e5) / 1000, least: within(least, 1e-3, 60)}
	l.knee = max(float64(kneeShare*l.least), 2*diodeV)
	atKnee := l.amps
	if a.GetPowerW() > 0 {
		l.watts, l.amps = within(a.GetPowerW(), 0, 2000), 0
		atKnee = l.watts / l.knee
	}
	l.rise = atKnee / (l.knee - diodeV)
	l.leastUV = micro(l.least)
	return l
}

// ohmPerMetre is the resistance of one core.
func ohmPerMetre(k *pb.Circuit, opt Options) (float64, []*pb.Finding) {
	cable, path := k.GetCable(), opt.Path+".cable"
	if cable == nil {
		cable = opt.Cable
	}
	if cable == nil {
		return 0, []*pb.Finding{finding.Refuse("circuit.no-cable", path, "the circuit has no cable",
			"give `cable` with conductor_mm2, conductor_awg or ohm_per_km: no loop lends it one")}
	}
	ohm, err := wire.OhmPerMetre(cable)
	if err != nil {
		return 0, []*pb.Finding{finding.Refuse("cable.resistance-unknown", path, err.Error(), wire.ResistanceRemedy())}
	}
	return ohm, nil
}

// appliance is a load's figures.
func appliance(l *pb.Load) *pb.Appliance {
	switch k := l.GetKind().(type) {
	case *pb.Load_Sounder:
		return k.Sounder
	case *pb.Load_Beacon:
		return k.Beacon
	case *pb.Load_Coil:
		return k.Coil
	case *pb.Load_Lamp:
		return k.Lamp
	case *pb.Load_Lock:
		return k.Lock
	}
	return nil // the schema has said that the kind is missing
}

// Len returns how many loads there are.
func (c *Circuit) Len() int { return len(c.loads) }

// Runs returns how many runs of cable there are. Run i ends at load i; on a ring the last is the
// return. A circuit without loads has one run of no length.
func (c *Circuit) Runs() int { return len(c.runs) }

// Ring reports whether the cable comes back to the module.
func (c *Circuit) Ring() bool { return c.ring }

// LeastMicroV is the voltage below which a load does not work.
func (c *Circuit) LeastMicroV(load int) int64 { return c.loads[load].leastUV }

// within brings a figure into a range; what is not a number becomes the lower end.
func within(v, low, high float64) float64 {
	if math.IsNaN(v) {
		return low
	}
	return min(max(v, low), high)
}

// micro rounds to whole millionths: what leaves the package is compared on integers.
func micro(v float64) int64 { return int64(math.Round(float64(v * 1e6))) }
