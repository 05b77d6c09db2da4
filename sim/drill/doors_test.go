package drill

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// doorSite has one door held in each arrangement of contact: on a module or on the panel, without
// voltage let go or with, and what the contact does on loss; and one held through a circuit.
func doorSite() *pb.Site {
	site := circuitSite()
	site.Equipment, site.Loops[0].Devices = nil, site.GetLoops()[0].GetDevices()[:1]
	door := func(id string, lock, deEnergise bool) {
		e := &pb.Equipment{Equipment: id, Kind: &pb.Equipment_DoorHolder{DoorHolder: &pb.DoorHolder{}}}
		if lock {
			e.Kind = &pb.Equipment_DoorLock{DoorLock: &pb.DoorLock{}}
		}
		if deEnergise {
			e.DeenergiseToOperate = []string{"hold"}
		}
		site.Equipment = append(site.Equipment, e)
	}
	var outputs []string
	device := func(label string) *pb.Device {
		d := &pb.Device{Label: label, Address: new(uint32(len(site.GetLoops()[0].GetDevices()) + 1)), CableM: new(5.0), Place: "hall"}
		site.Loops[0].Devices = append(site.Loops[0].Devices, d)
		outputs = append(outputs, label)
		return d
	}
	for _, deEnergise := range []bool{true, false} {
		atRest := map[bool]string{true: "closed", false: "open"}[deEnergise]
		for _, loss := range []string{"stays", "operates", "rests"} {
			id := fmt.Sprintf("%s-%s", atRest, loss)
			door("module-"+id, deEnergise, deEnergise)
			device("M-" + id).Kind = &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: &pb.Contact{AtRest: atRest, OnLoopLoss: loss}, Drives: &pb.Drive{Equipment: "module-" + id, Input: "hold"}}}
			door("panel-"+id, !deEnergise, deEnergise)
			site.Panel.Outputs = append(site.Panel.Outputs, &pb.PanelOutput{Label: "P-" + id, Drives: &pb.Drive{Equipment: "panel-" + id, Input: "hold"},
				Kind: &pb.PanelOutput_Relay{Relay: &pb.PanelRelay{AtRest: atRest, OnPowerLoss: loss}}})
			outputs = append(outputs, "P-"+id)
		}
	}
	door("circuit", true, false)
	device("C").Kind = &pb.Device_ControlModule{ControlModule: &pb.ControlModule{Supply: "psu", Drives: &pb.Drive{Equipment: "circuit", Input: "hold"},
		Circuit: &pb.Circuit{Wiring: "branch", EndOfLineOhm: new(4700.0), Cable: &pb.Cable{ConductorMm2: new(1.5)},
			Loads: []*pb.Load{{Label: "BOLT", CableM: new(5.0), Kind: &pb.Load_Lock{Lock: &pb.Appliance{CurrentMa: new(200.0)}}}}}}}
	site.Program.Effects = []*pb.Effect{{Effect: "doors", Outputs: outputs}}
	site.Program.Actions = []*pb.Action{{Causes: []string{"fire"}, Effects: []string{"doors"}, State: "on"}}
	return site
}

// step is what brings a trouble about at an output.
func (t trouble) step(in *loop.Installation, o int32) *pb.Step {
	out := &in.Outputs[o]
	on := &pb.PointStep{Device: out.Label}
	circuit := &pb.CircuitStep{Output: out.Label}
	step := &pb.Step{Step: "trouble"}
	switch {
	case t == brokenWire && out.Contact:
		step.Kind = &pb.Step_FieldWireOpen{FieldWireOpen: on}
	case t == brokenWire:
		step.Kind = &pb.Step_CircuitOpen{CircuitOpen: circuit}
	case t == shortedWire && out.Contact:
		step.Kind = &pb.Step_FieldWireShort{FieldWireShort: on}
	case t == shortedWire:
		step.Kind = &pb.Step_CircuitShort{CircuitShort: circuit}
	case t == feedLost && out.Point >= 0:
		step.Kind = &pb.Step_Break{Break: &pb.CableStep{Before: out.Label}}
	case t == feedLost:
		step.Kind = &pb.Step_SupplyFail{SupplyFail: &pb.SupplyStep{Supply: "panel"}}
	case t == panelStops:
		step.Kind = &pb.Step_PanelStop{PanelStop: &pb.PanelStopStep{}}
	case t == supplyLost:
		step.Kind = &pb.Step_SupplyFail{SupplyFail: &pb.SupplyStep{Supply: "psu"}}
	}
	return step
}

// What really happens to a door under each trouble, in every arrangement, is what is worked out from the
// file (operatesOn): a door let go without voltage through a contact that operates on loss goes with
// all of them but a short, one that is let go by voltage with none. Whatever the trouble was, once it is
// put right an alarm lets every door go. Categories A, B and C of BS 7273-4 are drawn along these lines
// (from public pages): A lets go on open, loss of power and stop of the panel.
func TestDoorsUnderTrouble(t *testing.T) {
	t.Parallel()
	plan := planOf(t, doorSite())
	free := map[string][]trouble{}
	for o := range plan.In.Outputs {
		label := plan.In.Outputs[o].Label
		if plan.In.Outputs[o].Equipment < 0 {
			continue
		}
		for kind := brokenWire; kind <= troubles; kind++ {
			b := &bench{t, New(plan, 1)}
			b.do(time.Second, kind.step(plan.In, int32(o)))
			b.run(30 * time.Second)
			id := plan.In.Plant.ID(int(plan.In.Outputs[o].Equipment))
			gone := fmt.Sprintf("equipment('%s').state == '%s'", id, map[bool]string{true: "free", false: "closed"}[b.lock(id)])
			if b.is(gone) != operatesOn(plan.In, int32(o), kind) {
				t.Errorf("%s, %v: let go %v, worked out %v", label, kind, b.is(gone), !b.is(gone))
			}
			if b.is(gone) {
				free[label] = append(free[label], kind)
			}
			b.repair(40*time.Second, "trouble")
			b.do(100*time.Second, press())
			b.run(130 * time.Second)
			b.want(gone)
			rooted(t, b.Drill)
		}
	}
	for _, c := range []struct {
		label string
		want  []trouble
	}{
		{"M-closed-operates", []trouble{brokenWire, feedLost, panelStops}},
		{"P-closed-operates", []trouble{brokenWire, feedLost, panelStops}},
		{"M-closed-rests", []trouble{brokenWire}},
		{"P-closed-stays", []trouble{brokenWire}},
		{"M-open-operates", []trouble{shortedWire, feedLost, panelStops}},
		{"M-open-rests", []trouble{shortedWire}},
		{"C", nil},
	} {
		if !slices.Equal(free[c.label], c.want) {
			t.Errorf("%s lets go on %v, wanted %v", c.label, free[c.label], c.want)
		}
	}
}

// A short across the wire of a contact that opens holds its door in an alarm, in silence; a second contact
// in series, on a wire of its own, lets it go all the same: what category A of BS 7273-4 asks for (from
// public pages), and what the finding contact.short-holds says.
func TestShortHoldsADoor(t *testing.T) {
	t.Parallel()
	for _, second := range []bool{false, true} {
		site := doorSite()
		if second {
			devices := site.GetLoops()[0].GetDevices()
			d := proto.CloneOf(devices[slices.IndexFunc(devices, func(d *pb.Device) bool { return d.GetLabel() == "M-closed-operates" })])
			d.Label, d.Address = "SECOND", new(uint32(len(devices)+1))
			site.Loops[0].Devices = append(devices, d)
			site.Program.Effects[0].Outputs = append(site.Program.Effects[0].Outputs, "SECOND")
		}
		b := newBench(t, site)
		b.do(time.Second, &pb.Step{Kind: &pb.Step_FieldWireShort{FieldWireShort: &pb.PointStep{Device: "M-closed-operates"}}})
		b.do(30*time.Second, press())
		b.run(29 * time.Second)
		held := "equipment('module-closed-operates').state == 'free'"
		b.want("!panel.fault && !(" + held + ")")
		b.run(60 * time.Second)
		b.want("output('M-closed-operates').on && " + map[bool]string{false: "!(" + held + ")", true: held}[second])
	}
}

// lock reports whether a piece of equipment of the doors is a lock.
func (b *bench) lock(id string) bool {
	e, _ := b.plan.In.Plant.Lookup(id)
	return strings.Contains(strings.Join(b.plan.In.Plant.States(e), " "), "locked")
}
