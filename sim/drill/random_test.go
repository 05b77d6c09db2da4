package drill

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/loop/plant"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// randomSite draws sites: up to three loops of forty devices of every kind, odd timing, every
// option of the line, rings and branches with isolators and spurs (randomwire_test.go), equipment
// with proofs, and a program that uses it all. The same seed gives the same site.
type randomSite struct {
	*rand.Rand
	site    *pb.Site
	zones   []string
	inputs  []string // labels of devices with an input
	fires   []string // of these, fire inputs
	proven  []string // equipment that some input proves
	sounder []string // labels of outputs that take alert and evacuate
	contact []string // labels of all other outputs
}

func newRandomSite(seed uint64) *randomSite {
	g := &randomSite{Rand: rand.New(rand.NewPCG(seed, 2)), site: &pb.Site{Site: "random"}}
	g.site.Rules = &pb.Rules{Packs: []string{pick(g.Rand, "en54", "nfpa72")}}
	for z := range 1 + g.IntN(4) {
		g.zones = append(g.zones, fmt.Sprintf("z%d", z))
		g.site.Zones = append(g.site.Zones, &pb.Zone{Zone: g.zones[z]})
	}
	g.site.Places = []*pb.Place{{Place: "hall"}}
	g.supplies()
	g.panel()
	g.equipment()
	loops := 1 + g.IntN(3)
	timing, devices := g.line(), 1+g.IntN(40)
	twins := g.chance(0.6) // loops of one timing: their slots end at the same instants
	for i := range loops {
		if !twins {
			timing, devices = g.line(), 1+g.IntN(40)
		}
		if g.chance(0.02) {
			devices = 0
		}
		g.loop(uint32(i+1), timing, devices)
	}
	g.program()
	return g
}

func (g *randomSite) chance(p float64) bool { return g.Float64() < p }

func pick[T any](g *rand.Rand, list ...T) T { return list[g.IntN(len(list))] }

// some draws up to n different members of a list, at least one.
func (g *randomSite) some(list []string, n int) []string {
	list = slices.Clone(list)
	g.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
	return list[:1+g.IntN(min(n, len(list)))]
}

func ms(n int) *durationpb.Duration { return durationpb.New(time.Duration(n) * time.Millisecond) }

func (g *randomSite) panel() {
	g.site.Panel = &pb.Panel{Resound: pick(g.Rand, "new-zone", "new-device"), Reset_: pick(g.Rand, "keep-caused", "drop-all")}
	g.site.Panel.Supply = &pb.PanelSupply{BatteryAh: new(pick(g.Rand, 24.0, 0.01)), StandbyMa: new(300.0)} // 0.01 Ah last two minutes
	g.site.Panel.RestartTime = ms(pick(g.Rand, 0, 20, 700, 30_000))
	if g.chance(0.5) {
		g.site.Panel.DecisionTime = ms(pick(g.Rand, 0, 1, 12, 200, 1000))
	}
	if g.chance(0.5) {
		g.site.Panel.Outputs = []*pb.PanelOutput{{Label: "PANEL", Kind: &pb.PanelOutput_Relay{Relay: &pb.PanelRelay{OnPowerLoss: pick(g.Rand, "stays", "operates", "rests")}}}}
		g.contact = append(g.contact, "PANEL")
	}
	if g.chance(0.5) {
		g.site.Panel.Outputs = append(g.site.Panel.Outputs, &pb.PanelOutput{Label: "PANEL-BELL", Kind: &pb.PanelOutput_Circuit{Circuit: g.circuit("PANEL-BELL", "")}})
		g.sounder = append(g.sounder, "PANEL-BELL")
	}
}

// line draws the timing and options of a loop. Where all three slots have one length, and in
// whole milliseconds, ends of slots and acts meet all the time.
func (g *randomSite) line() *pb.Line {
	slot := func() *durationpb.Duration {
		if g.chance(0.2) {
			return durationpb.New(time.Duration(15_000_000 + g.IntN(40_000_000)))
		}
		return ms(15 + g.IntN(45))
	}
	l := &pb.Line{PollSlot: slot(), NoReplySlot: slot(), CommandSlot: slot()}
	if g.chance(0.4) {
		l.NoReplySlot, l.CommandSlot = l.GetPollSlot(), l.GetPollSlot()
	}
	l.AlarmReadings, l.MissedReplies = new(uint32(1+g.IntN(3))), new(uint32(1+g.IntN(4)))
	l.CommandsBetweenVisits = new(uint32(pick(g.Rand, 1, 2, 3, 8)))
	l.OutOfTurn, l.ProbeUnused = g.chance(0.4), g.chance(0.4)
	l.SharedCommands, l.ReplyCurrentCheck = g.chance(0.4), g.chance(0.5)
	if g.chance(0.3) {
		l.ErrorRate = new(pick(g.Rand, 0.0001, 0.001, 0.01))
	}
	return l
}

// equipment draws a few things that react, of every kind.
func (g *randomSite) equipment() {
	kinds := []func(e *pb.Equipment){
		func(e *pb.Equipment) {
			e.Kind = &pb.Equipment_Lift{Lift: &pb.Lift{Floors: []string{"B", "G", "L"}, RecallFloor: "G", AlternateFloor: "B"}}
		},
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Fan{Fan: &pb.Fan{RunsAtRest: g.chance(0.5)}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Damper{Damper: &pb.Damper{}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_DoorHolder{DoorHolder: &pb.DoorHolder{}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_DoorLock{DoorLock: &pb.DoorLock{}} },
		func(e *pb.Equipment) {
			e.Kind = &pb.Equipment_Announcement{Announcement: &pb.Announcement{Messages: []string{"one", "two"}}}
		},
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Trip{Trip: &pb.Trip{}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Valve{Valve: &pb.Valve{Reopens: g.chance(0.5)}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Release{Release: &pb.Release{}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Dialler{Dialler: &pb.Dialler{}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Siren{Siren: &pb.Siren{}} },
		func(e *pb.Equipment) { e.Kind = &pb.Equipment_Bms{Bms: &pb.Bms{}} },
		func(e *pb.Equipment) {
			e.Kind = &pb.Equipment_Generic{Generic: &pb.Generic{Takes: ms(pick(g.Rand, 0, 1, 29, 5000))}}
		},
	}
	for i := range g.IntN(6) {
		e := &pb.Equipment{Equipment: fmt.Sprintf("e%d", i)}
		pick(g.Rand, kinds...)(e)
		if g.chance(0.3) {
			e.DeenergiseToOperate = []string{"all"}
		}
		g.site.Equipment = append(g.site.Equipment, e)
	}
}

func (g *randomSite) loop(number uint32, timing *pb.Line, devices int) {
	l := &pb.Loop{
		Loop: new(number), Wiring: "branch", Driver: &pb.Driver{VoltageV: new(28.0)},
		Cable: &pb.Cable{ConductorMm2: new(1.5)}, Line: timing,
	}
	addresses := g.Perm(250)[:devices]
	g.cabling(l)
	for _, a := range addresses {
		d := &pb.Device{
			Address: new(uint32(a + 1)), Label: fmt.Sprintf("L%d-%d", number, a+1), CableM: g.metres(),
			Place: "hall", Zone: pick(g.Rand, g.zones...), Groups: []string{pick(g.Rand, "north", "south")},
		}
		if g.chance(0.35) {
			g.outputKind(d)
		} else {
			g.inputKind(d)
			g.inputs = append(g.inputs, d.GetLabel())
			if m := d.GetInputModule(); m == nil || m.GetInput() == "fire" || m.GetInput() == "waterflow" {
				g.fires = append(g.fires, d.GetLabel())
			}
		}
		g.place(l, d)
	}
	g.site.Loops = append(g.site.Loops, l)
}

func (g *randomSite) inputKind(d *pb.Device) {
	switch g.IntN(8) {
	case 0, 1:
		d.Kind = &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{Prealarm: g.chance(0.5)}}
	case 2:
		d.Kind = &pb.Device_HeatDetector{HeatDetector: &pb.HeatDetector{Prealarm: g.chance(0.3)}}
	case 3:
		d.Kind = &pb.Device_MultiCriteriaDetector{MultiCriteriaDetector: &pb.MultiCriteriaDetector{Prealarm: g.chance(0.3)}}
	case 4:
		d.Kind = &pb.Device_FlameDetector{FlameDetector: &pb.FlameDetector{}}
	case 5:
		d.Kind = &pb.Device_CallPoint{CallPoint: &pb.CallPoint{}}
	case 6:
		d.Kind = &pb.Device_ConventionalZone{ConventionalZone: &pb.ConventionalZone{}}
	default:
		m := &pb.InputModule{Input: pick(g.Rand, "fire", "waterflow", "supervisory", "technical", "release", "hold-off"), AtRest: pick(g.Rand, "open", "closed")}
		if g.chance(0.3) {
			m.Retard = ms(pick(g.Rand, 1, 30, 2000))
		}
		if g.chance(0.4) {
			m.EndOfLineOhm, m.ShortMeans = new(4700.0), pick(g.Rand, "active", "fault")
		}
		switch {
		case g.chance(0.15):
			m.Input, m.Watches = "technical", &pb.Watch{Supply: "psu", Signal: pick(g.Rand, "fault", "mains-fault", "output-fault")}
		case len(g.site.GetEquipment()) > 0 && g.chance(0.7):
			e := pick(g.Rand, g.site.GetEquipment()...)
			if signals := plant.Signals(e); len(signals) > 0 {
				m.Input, m.Proves = pick(g.Rand, "technical", "supervisory"), &pb.Proof{Equipment: e.GetEquipment(), Signal: pick(g.Rand, signals...)}
				g.proven = append(g.proven, e.GetEquipment())
			}
		}
		d.Kind = &pb.Device_InputModule{InputModule: m}
	}
}

func (g *randomSite) outputKind(d *pb.Device) {
	var drives *pb.Drive
	if len(g.site.GetEquipment()) > 0 && g.chance(0.5) {
		e := pick(g.Rand, g.site.GetEquipment()...)
		drives = &pb.Drive{Equipment: e.GetEquipment(), Input: pick(g.Rand, plant.Inputs(e)...)}
	}
	switch g.IntN(4) {
	case 0:
		sounder := &pb.LoopSounder{}
		if g.chance(0.3) {
			sounder.PowerW = new(pick(g.Rand, 0.05, 0.14, 0.4))
		}
		d.Kind = &pb.Device_LoopSounder{LoopSounder: sounder}
		g.sounder = append(g.sounder, d.GetLabel())
	case 1:
		d.Kind = control(g.circuit(d.GetLabel(), ""), nil)
		g.sounder = append(g.sounder, d.GetLabel())
	case 2:
		if drives != nil {
			drives = nil // de-energise-to-operate needs a contact that says how it rests
		}
		d.Kind = control(g.circuit(d.GetLabel(), "lamp"), drives)
		g.contact = append(g.contact, d.GetLabel())
	default:
		contact := &pb.Contact{AtRest: pick(g.Rand, "open", "closed"), OnLoopLoss: pick(g.Rand, "stays", "operates", "rests")}
		d.Kind = &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: contact, Drives: drives}}
		g.contact = append(g.contact, d.GetLabel())
	}
}

func control(c *pb.Circuit, drives *pb.Drive) *pb.Device_ControlModule {
	return &pb.Device_ControlModule{ControlModule: &pb.ControlModule{Supply: "psu", Drives: drives, Circuit: c}}
}

// program draws causes over everything that the panel knows, and actions with all their keys.
func (g *randomSite) program() {
	p := &pb.Program{Controls: []*pb.Control{{Control: "key"}}, Detection: g.detection()}
	g.site.Program = p
	for c := range 2 + g.IntN(6) {
		p.Causes = append(p.Causes, &pb.Cause{Cause: fmt.Sprintf("c%d", c), When: g.condition(c)})
	}
	for _, outputs := range [][]string{g.sounder, g.contact} {
		if len(outputs) == 0 {
			continue
		}
		for range 1 + g.IntN(3) {
			e := &pb.Effect{Effect: fmt.Sprintf("e%d", len(p.GetEffects())), Outputs: g.some(outputs, 20), Silenceable: g.chance(0.5)}
			if g.chance(0.2) {
				e.Until = "reset"
			}
			if g.chance(0.2) {
				e.OneOf = "set"
			}
			p.Effects = append(p.Effects, e)
			if len(p.GetEffects()) == 1 {
				p.Overrides = []*pb.Override{{Override: "switch", Effects: []string{e.GetEffect()}}}
			}
			for range 1 + g.IntN(3) {
				p.Actions = append(p.Actions, g.action(e, len(outputs) > 0 && slices.Contains(g.sounder, outputs[0]), len(p.GetCauses())))
			}
		}
	}
}

func (g *randomSite) condition(before int) string {
	point := func() string {
		switch {
		case len(g.fires) > 0 && g.chance(0.4):
			return fmt.Sprintf("device('%s').fire", pick(g.Rand, g.fires...))
		case len(g.inputs) > 0:
			return fmt.Sprintf("device('%s').%s", pick(g.Rand, g.inputs...), pick(g.Rand, "active", "fault"))
		}
		return "panel.fault"
	}
	simple := func() string {
		switch g.IntN(12) {
		case 0, 1, 2:
			return "panel.fire"
		case 3, 4:
			return fmt.Sprintf("zone('%s').%s", pick(g.Rand, g.zones...), pick(g.Rand, "fire", "fault", "prealarm", "supervisory"))
		case 5:
			return fmt.Sprintf("zone('%s').devices_in_fire >= %d", pick(g.Rand, g.zones...), 1+g.IntN(3))
		case 6:
			return pick(g.Rand, "panel.fault", "panel.supervisory", "panel.prealarm", "panel.disabled", "loop(1).fault")
		case 7:
			return "control('key').on"
		case 8:
			if len(g.proven) > 0 {
				return fmt.Sprintf("equipment('%s').proven", pick(g.Rand, g.proven...))
			}
		case 9:
			if before > 0 {
				return fmt.Sprintf("cause('c%d')", g.IntN(before))
			}
		}
		return point()
	}
	text := simple()
	for range g.IntN(3) {
		text = fmt.Sprintf("(%s) %s %s(%s)", text, pick(g.Rand, "&&", "||"), pick(g.Rand, "", "", "!"), simple())
	}
	return text
}

func (g *randomSite) action(e *pb.Effect, sounder bool, causes int) *pb.Action {
	a := &pb.Action{Causes: []string{fmt.Sprintf("c%d", g.IntN(causes))}, Effects: []string{e.GetEffect()}, State: "on"}
	if sounder {
		a.State = pick(g.Rand, "alert", "evacuate")
	}
	if g.chance(0.1) {
		a.State = "off"
	}
	if g.chance(0.3) {
		a.After = ms(pick(g.Rand, 1, 30, 1000, 30_000))
	}
	switch {
	case g.chance(0.2):
		a.For = ms(pick(g.Rand, 40, 500, 20_000))
	case g.chance(0.2):
		a.Hold = ms(pick(g.Rand, 40, 5000))
	}
	if g.chance(0.1) {
		a.Unless = "control('key').on"
	}
	if a.GetAfter() != nil && g.chance(0.2) {
		a.PauseWhile = "control('key').on"
	}
	if a.GetAfter() != nil && g.chance(0.2) {
		a.CancelWhen = "panel.acknowledged"
	}
	return a
}

// Compile makes a plan of a site's message, as package site does; bridge_test.go sets it.
var Compile func(*pb.Site) (*Plan, []*pb.Finding)

// plan compiles the site. A drawn condition that could never be true (a count of more inputs than
// there are) is refused, and gives way to a plain one.
func (g *randomSite) plan(t testing.TB) *Plan {
	t.Helper()
	plan, found := Compile(g.site)
	for _, f := range found {
		var cause int
		if n, _ := fmt.Sscanf(f.GetPath(), "program.causes[%d].when", &cause); n == 1 && f.GetCode() == "condition.never" {
			g.site.Program.Causes[cause].When = "panel.fire || panel.fault"
			plan = nil
		}
	}
	if plan == nil {
		return planOf(t, g.site)
	}
	accepted(t, found)
	return plan
}

// planOf compiles a site; it must be free of anything that refuses it.
func planOf(t testing.TB, m *pb.Site) *Plan {
	t.Helper()
	plan, found := Compile(m)
	accepted(t, found)
	return plan
}

func accepted(t testing.TB, found []*pb.Finding) {
	t.Helper()
	for _, f := range found {
		if f.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("the site is refused: %v", f)
		}
	}
}
