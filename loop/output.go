package loop

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// output adds the output of an addressed device.
func (c *compiler) output(p *Point, index int32, o Output) {
	o.Label, o.Address, o.Path, o.Point = p.Label, p.Address, p.Path, index
	p.Output = c.addOutput(o)
	if _, taken := c.in.outputs[o.Address]; !taken {
		c.in.outputs[o.Address] = p.Output
	}
}

func (c *compiler) addOutput(o Output) int32 {
	index := int32(len(c.in.Outputs))
	for _, load := range o.Loads {
		c.in.Loads[load].Output = index
	}
	c.in.Outputs = append(c.in.Outputs, o)
	c.in.outputs[o.Label] = index
	return index
}

// panelOutput adds an output on the panel itself.
func (c *compiler) panelOutput(path string, p *pb.PanelOutput) {
	c.label(p.GetLabel(), path+".label")
	o := Output{Label: p.GetLabel(), Path: path, Point: -1, Supply: -1}
	stated := true
	switch k := p.GetKind().(type) {
	case *pb.PanelOutput_Relay:
		o.Contact, o.ClosedAtRest, o.OnLoss = true, k.Relay.GetAtRest() == "closed", onLoss(k.Relay.GetOnPowerLoss())
		stated = k.Relay.GetAtRest() != "" && k.Relay.GetOnPowerLoss() != ""
	case *pb.PanelOutput_Circuit:
		c.circuit(&o, path+".circuit", k.Circuit, nil)
		o.Supply = int32(c.in.Power.Panel())
	}
	c.drive(&o, path, p.GetDrives(), stated)
	c.addOutput(o)
}

// circuit reads an output circuit for form, and its loads.
func (c *compiler) circuit(o *Output, path string, k *pb.Circuit, lent *pb.Cable) {
	switch {
	case k.GetWiring() == "ring" && k.ReturnCableM == nil:
		c.add(finding.Refuse("wiring.return-missing", path+".return_cable_m", "the circuit is a ring without a return cable", "give return_cable_m: the run from the last load back to the module, in metres"))
	case k.GetWiring() != "ring" && k.ReturnCableM != nil:
		c.add(finding.Refuse("wiring.return-on-branch", path+".return_cable_m", "the circuit is a branch and has a return cable", "take return_cable_m out, or write `wiring: ring`"))
	}
	compiled, found := circuit.Compile(k, circuit.Options{Path: path, Cable: lent, LeastV: c.leastV})
	o.Circuit = compiled
	c.found = append(c.found, found...)
	for i, l := range k.GetLoads() {
		at := fmt.Sprintf("%s.loads[%d]", path, i)
		c.label(l.GetLabel(), at+".label")
		c.lookup(c.in.Places, "place", l.GetPlace(), at+".place")
		a, sounder := appliance(l)
		if (a.CurrentMa == nil) == (a.PowerW == nil) {
			c.add(finding.Refuse("circuit.load-current", at, fmt.Sprintf("%q needs its current or its power", l.GetLabel()), "give exactly one of current_ma and power_w"))
		}
		o.Sounder = o.Sounder || sounder
		o.Loads = append(o.Loads, int32(len(c.in.Loads)))
		c.in.loads[l.GetLabel()] = int32(len(c.in.Loads))
		c.in.Loads = append(c.in.Loads, Load{Label: l.GetLabel(), Output: -1, Sounder: sounder})
	}
}

// appliance is a load's figures, and whether it is audible.
func appliance(l *pb.Load) (a *pb.Appliance, sounder bool) {
	switch k := l.GetKind().(type) {
	case *pb.Load_Sounder:
		return k.Sounder, true
	case *pb.Load_Beacon:
		return k.Beacon, false
	case *pb.Load_Coil:
		return k.Coil, false
	case *pb.Load_Lamp:
		return k.Lamp, false
	case *pb.Load_Lock:
		return k.Lock, false
	}
	return &pb.Appliance{CurrentMa: new(float64)}, false // the schema has said that the kind is missing
}

// drive resolves the equipment input that an output drives. stated says that the contact's
// position at rest and on loss are written, which de-energise-to-operate equipment requires. A
// contact whose rest operates the input is an error: the equipment would do in quiescence what a
// fire is to make it do, and undo it in a fire, while every command is as the matrix asks.
func (c *compiler) drive(o *Output, path string, d *pb.Drive, stated bool) {
	o.Equipment, o.Input = -1, -1
	if d == nil {
		return
	}
	e, ok := c.in.Plant.Lookup(d.GetEquipment())
	if !ok {
		c.add(finding.Dangling(path+".drives.equipment", "equipment", d.GetEquipment(), c.equipment()))
		return
	}
	input, ok := c.in.Plant.InputIndex(e, d.GetInput())
	if !ok {
		c.add(finding.Dangling(path+".drives.input", "input of "+d.GetEquipment(), d.GetInput(), inputNames(c.site, d.GetEquipment())))
		return
	}
	o.Equipment, o.Input = int32(e), int32(input)
	deEnergise := c.in.Plant.DeEnergise(e, input)
	switch {
	case deEnergise && !stated:
		c.add(finding.Refuse("contact.position-unstated", path, fmt.Sprintf("the contact that drives %s of %q does not say how it rests", d.GetInput(), d.GetEquipment()),
			"this input operates when its voltage goes away: write the contact's at_rest and what it does on loss"))
	case deEnergise && !o.ClosedAtRest:
		c.add(finding.Error("contact.operates-at-rest", path, fmt.Sprintf("%s of %q is operated while everything is at rest", d.GetInput(), d.GetEquipment()),
			"this input operates when its voltage goes away, and the contact is open at rest: use a contact that is closed at rest"))
	case !deEnergise && o.ClosedAtRest:
		c.add(finding.Error("contact.operates-at-rest", path, fmt.Sprintf("%s of %q is operated while everything is at rest, and let go in a fire", d.GetInput(), d.GetEquipment()),
			"this input operates when voltage comes, and the contact is closed at rest: list the input under deenergise_to_operate of the equipment, or use a contact that is open at rest"))
	}
}

func inputNames(site *pb.Site, id string) []string {
	for _, e := range site.GetEquipment() {
		if e.GetEquipment() == id {
			return plant.Inputs(e)
		}
	}
	return nil
}

func signals(site *pb.Site, id string) []string {
	for _, e := range site.GetEquipment() {
		if e.GetEquipment() == id {
			return plant.Signals(e)
		}
	}
	return nil
}
