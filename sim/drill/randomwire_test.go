package drill

import (
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/loop/circuit"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// What random sites have in the way of wiring, circuits and supplies, what random scripts do to it, and
// how what came of it is counted.

// supplies draws the one external supply.
func (g *randomSite) supplies() {
	s := &pb.Supply{Supply: "psu", VoltageV: new(24.0), StandbyMa: new(50.0)}
	if g.chance(0.5) {
		s.CurrentLimitA = new(pick(g.Rand, 0.1, 0.2, 0.4, 3.0)) // a few circuits overload it, or do not
	}
	if g.chance(0.3) {
		s.FuseA = new(pick(g.Rand, 0.15, 0.3, 3.0))
	}
	if g.chance(0.7) {
		s.BatteryAh = new(pick(g.Rand, 0.005, 0.02, 17.0)) // 50 mA: six minutes, 24 minutes, long
	}
	if g.chance(0.3) {
		s.AlarmMa = new(60.0)
	}
	g.site.Supplies = []*pb.Supply{s}
}

// cabling draws how a loop is wired and driven. A weak one holds its line at rest, and loses it
// when a few indicators or sounders come on: its driver has little to give, or its cable is long.
func (g *randomSite) cabling(l *pb.Loop) {
	if g.chance(0.6) {
		l.Wiring, l.ReturnCableM = "ring", g.metres()
	}
	if g.chance(0.5) {
		l.Cable = &pb.Cable{ConductorMm2: new(pick(g.Rand, 0.75, 1.5, 2.5))}
	}
	switch g.IntN(5) {
	case 0:
		l.Driver.CurrentLimitMa = new(pick(g.Rand, 13.0, 16.0, 20.0, 30.0))
	case 1:
		l.Driver.VoltageV = new(pick(g.Rand, 18.3, 19.0, 21.0))
		l.Cable = &pb.Cable{OhmPerKm: new(pick(g.Rand, 50.0, 200.0))}
	}
}

func (g *randomSite) metres() *float64 { return new(float64(1 + g.IntN(60))) }

// place puts a device into a loop's wiring order: on the chain or on a spur, with an isolator in it,
// or one of its own before it.
func (g *randomSite) place(l *pb.Loop, d *pb.Device) {
	if g.chance(0.15) {
		l.Devices = append(l.Devices, &pb.Device{Label: "ISO-" + d.GetLabel(), CableM: g.metres(), Isolator: &pb.Isolator{}})
	}
	if g.chance(0.15) {
		d.Isolator = &pb.Isolator{}
	}
	var addressed []uint32
	for _, other := range l.GetDevices() {
		if other.Address != nil {
			addressed = append(addressed, other.GetAddress())
		}
	}
	if len(addressed) > 0 && g.chance(0.1) {
		d.SpurFrom = new(pick(g.Rand, addressed...))
	}
	l.Devices = append(l.Devices, d)
}

// circuit draws an output circuit with up to three loads.
func (g *randomSite) circuit(label, kind string) *pb.Circuit {
	c := &pb.Circuit{EndOfLineOhm: new(4700.0), Cable: &pb.Cable{ConductorMm2: new(1.5)}}
	if g.chance(0.3) {
		c.Wiring, c.ReturnCableM = "ring", g.metres()
	}
	for i := range 1 + g.IntN(3) {
		load, a := &pb.Load{Label: fmt.Sprintf("%s-LOAD%d", label, i), CableM: g.metres()}, &pb.Appliance{CurrentMa: new(30.0)}
		if g.chance(0.3) {
			a = &pb.Appliance{PowerW: new(0.8)}
		}
		load.Isolator = c.GetWiring() == "ring" && g.chance(0.5)
		load.Kind = &pb.Load_Sounder{Sounder: a}
		if kind == "lamp" {
			load.Kind = &pb.Load_Lamp{Lamp: a}
		}
		c.Loads = append(c.Loads, load)
	}
	return c
}

// wireFault draws a fault of cable, circuit, field wiring or supply; nil if the site has no such thing.
func (s *randomScript) wireFault(step *pb.Step) *pb.Step {
	switch s.IntN(8) {
	case 0, 1, 2, 3:
		return s.cableFault(step)
	case 4, 5:
		return s.circuitFault(step)
	case 6:
		return s.fieldWire(step)
	}
	supply := &pb.SupplyStep{Supply: pick(s.Rand, "psu", "psu", "panel")}
	switch s.IntN(5) {
	case 0:
		if s.chance(0.5) {
			supply.Supply = "" // the whole building
		}
		step.Kind = &pb.Step_MainsFail{MainsFail: supply}
	case 1:
		step.Kind = &pb.Step_Fuse{Fuse: supply}
	case 2:
		step.Kind = &pb.Step_BatteryFail{BatteryFail: supply}
	case 3:
		step.Kind = &pb.Step_ChargerFail{ChargerFail: supply}
	default:
		step.Kind = &pb.Step_SupplyFail{SupplyFail: supply}
	}
	return step
}

func (s *randomScript) cableFault(step *pb.Step) *pb.Step {
	l := pick(s.Rand, s.site.GetLoops()...)
	if len(l.GetDevices()) == 0 {
		return nil
	}
	d := pick(s.Rand, l.GetDevices()...)
	at := &pb.CableStep{Before: d.GetLabel(), At: new(s.Float64())}
	if l.GetWiring() == "ring" && s.chance(0.1) {
		at.Before, at.Loop = "return", new(l.GetLoop())
	}
	switch s.IntN(11) {
	case 0, 1, 2:
		at.Core = pick(s.Rand, "both", "positive", "negative")
		step.Kind = &pb.Step_Break{Break: at}
	case 3, 4, 5:
		if s.chance(0.4) {
			at.Ohm = new(pick(s.Rand, 10.0, 60.0, 60.0, 65.0, 1000.0))
		}
		step.Kind = &pb.Step_Short{Short: at}
	case 6:
		at.Ohm = new(pick(s.Rand, 50.0, 500.0, 5000.0))
		step.Kind = &pb.Step_Joint{Joint: at}
	case 7, 8:
		at.Core = pick(s.Rand, "positive", "negative")
		step.Kind = &pb.Step_Earth{Earth: at}
	case 9:
		if d.GetKind() == nil {
			return nil
		}
		step.Kind = &pb.Step_Reversed{Reversed: &pb.ReversedStep{Subject: &pb.ReversedStep_Device{Device: d.GetLabel()}}}
	default:
		if d.GetIsolator() == nil {
			return nil
		}
		step.Kind = &pb.Step_IsolatorStuck{IsolatorStuck: &pb.IsolatorStuckStep{Device: d.GetLabel(), Position: pick(s.Rand, "open", "closed")}}
	}
	return step
}

func (s *randomScript) circuitFault(step *pb.Step) *pb.Step {
	var outputs []int
	for o := range s.d.plan.In.Outputs {
		if s.d.plan.In.Outputs[o].Circuit != nil {
			outputs = append(outputs, o)
		}
	}
	if len(outputs) == 0 {
		return nil
	}
	out := &s.d.plan.In.Outputs[pick(s.Rand, outputs...)]
	load := s.d.plan.In.Loads[pick(s.Rand, out.Loads...)].Label
	at := &pb.CircuitStep{Output: out.Label, Before: load}
	switch s.IntN(6) {
	case 4, 5:
		step.Kind = &pb.Step_CircuitEarth{CircuitEarth: &pb.CircuitEarthStep{
			Output: out.Label, Before: load, Core: pick(s.Rand, "positive", "negative"), Ohm: new(pick(s.Rand, 0.0, 0.0, 1000.0, 30_000.0))}}
	case 0:
		step.Kind = &pb.Step_CircuitOpen{CircuitOpen: at}
	case 1:
		at.Ohm = new(pick(s.Rand, 0.0, 20.0, 1000.0, 4000.0))
		step.Kind = &pb.Step_CircuitShort{CircuitShort: at}
	case 2:
		step.Kind = &pb.Step_Reversed{Reversed: &pb.ReversedStep{Subject: &pb.ReversedStep_Load{Load: load}}}
	default:
		step.Kind = &pb.Step_Resistor{Resistor: &pb.ResistorStep{Output: out.Label, Second: s.chance(0.5), Ohm: new(pick(s.Rand, 1000.0, 4700.0, 10000.0))}}
	}
	return step
}

func (s *randomScript) fieldWire(step *pb.Step) *pb.Step {
	var relays []string // on the panel
	for _, o := range s.d.plan.In.Outputs {
		if o.Point < 0 && o.Contact {
			relays = append(relays, o.Label)
		}
	}
	if len(relays) > 0 && s.chance(0.5) {
		step.Kind = fieldWireStep("", pick(s.Rand, relays...), s.chance(0.5)).GetKind()
		return step
	}
	p := pick(s.Rand, s.d.plan.In.Points...)
	if !slices.Contains([]string{"relay_module", "input_module", "conventional_zone"}, string(p.Kind)) {
		return nil
	}
	step.Kind = fieldWireStep("", p.Label, s.chance(0.5)).GetKind()
	return step
}

// wireCounts counts what happened on wiring, circuits and supplies in drills that were compared.
type wireCounts struct {
	breaks, shorts, joints, earths, stuck, reversed    int // faults of cable, isolators and terminals
	overloads, broughtDown                             int
	unfed, brownOuts, restarts, isolators, ringsBroken int
	circuits, loadsGone, suppliesGone, fieldWires      int
	circuitEarths, panelWires                          int
}

// table names the counts that must be reached.
func (n *wireCounts) table() map[string]*int {
	return map[string]*int{
		"breaks": &n.breaks, "shorts": &n.shorts, "bad joints": &n.joints, "earths": &n.earths, "stuck isolators": &n.stuck,
		"reversed devices": &n.reversed, "overloads of drivers": &n.overloads,
		"loops that their loads bring down again and again": &n.broughtDown,
		"devices without voltage":                           &n.unfed, "brown-outs": &n.brownOuts, "restarts after a loss of voltage": &n.restarts,
		"moves of isolators": &n.isolators, "rings found broken": &n.ringsBroken, "circuits read anew": &n.circuits,
		"loads that stop while they should work": &n.loadsGone, "supplies lost": &n.suppliesGone, "faults of field wiring": &n.fieldWires,
		"earths of circuits read": &n.circuitEarths, "faults of the field wiring of panel relays": &n.panelWires,
	}
}

func (n *wireCounts) add(o wireCounts) {
	from := o.table()
	for what, sum := range n.table() {
		*sum += *from[what]
	}
}

var wireFaultKinds = map[ActKind]func(*wireCounts) *int{
	ActBreak: func(n *wireCounts) *int { return &n.breaks }, ActShort: func(n *wireCounts) *int { return &n.shorts },
	ActJoint: func(n *wireCounts) *int { return &n.joints }, ActEarth: func(n *wireCounts) *int { return &n.earths },
	ActDeviceReversed: func(n *wireCounts) *int { return &n.reversed },
	ActIsolatorStuck:  func(n *wireCounts) *int { return &n.stuck },
	ActRelayWireOpen:  func(n *wireCounts) *int { return &n.panelWires }, ActRelayWireShort: func(n *wireCounts) *int { return &n.panelWires },
	ActFieldWireOpen: func(n *wireCounts) *int { return &n.fieldWires }, ActFieldWireShort: func(n *wireCounts) *int { return &n.fieldWires },
}

// countWire reads them off a drill's log.
func countWire(d *Drill) (n wireCounts) {
	lost := map[int32]bool{}
	for _, e := range d.log.Since(0) {
		switch {
		case e.Kind == FaultInjected:
			if of := wireFaultKinds[ActKind(e.Value)]; of != nil {
				*of(&n)++
			}
		case e.Kind == LoopCollapsed && e.Value == 1 && d.loaded(e.Parent):
			n.brownOuts++
		case e.Kind == FeedChanged && e.Value == 0:
			n.unfed++
			if d.loaded(e.Parent) {
				n.brownOuts++
			}
		case e.Kind == ModuleLost:
			lost[e.Subject] = true
		case e.Kind == FeedChanged && lost[e.Subject]:
			n.restarts++
			delete(lost, e.Subject)
		case e.Kind == IsolatorMoved:
			n.isolators++
		case e.Kind == LoopOverload && e.Value == 1:
			n.overloads++
			if parent := d.log.Event(e.Parent).Kind; parent == LoopCollapsed || parent == ModuleLost {
				n.broughtDown++
			}
		case e.Kind == RingBroken && e.Value == 1:
			n.ringsBroken++
		case e.Kind == CircuitFault:
			if n.circuits++; e.Value == int64(circuit.Earth) {
				n.circuitEarths++
			}
		case e.Kind == LoadChanged && e.Value == 0 && d.log.Event(e.Parent).Kind != OutputOperated:
			n.loadsGone++
		case e.Kind == SupplyLost && e.Value == 1:
			n.suppliesGone++
		}
	}
	return n
}

// loaded reports whether an event is one that switches a load of a loop on.
func (d *Drill) loaded(event uint64) bool {
	if event == 0 {
		return false
	}
	kind := d.log.Event(event).Kind
	return kind == FireDecided || kind == OutputOperated
}
