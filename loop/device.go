package loop

import (
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// loop reads one loop: its wiring for form, its devices, its polling.
func (c *compiler) loop(index int32, l *pb.Loop) {
	path := fmt.Sprintf("loops[%d]", index)
	for _, other := range c.in.Loops {
		if other.Number == l.GetLoop() {
			c.add(finding.Refuse("reference.duplicate", path+".loop", fmt.Sprintf("loop %d is defined twice", l.GetLoop()), "number the loops differently"))
		}
	}
	c.wiring(path, l)
	c.in.Loops = append(c.in.Loops, Loop{Number: l.GetLoop()})
	taken := map[uint32]string{}
	for i, d := range l.GetDevices() {
		c.device(index, int32(i), fmt.Sprintf("%s.devices[%d]", path, i), l, d, taken)
	}
	c.wire(index, path, l)
	c.polling(index, l)
}

// wiring checks the form of the wiring; what it achieves is computed elsewhere.
func (c *compiler) wiring(path string, l *pb.Loop) {
	switch {
	case l.GetWiring() == "ring" && l.ReturnCableM == nil:
		c.add(finding.Refuse("wiring.return-missing", path+".return_cable_m", fmt.Sprintf("loop %d is a ring without a return cable", l.GetLoop()),
			"give return_cable_m: the run from the last device back to the panel, in metres"))
	case l.GetWiring() == "branch" && l.ReturnCableM != nil:
		c.add(finding.Refuse("wiring.return-on-branch", path+".return_cable_m", fmt.Sprintf("loop %d is a branch and has a return cable", l.GetLoop()),
			"take return_cable_m out, or write `wiring: ring`"))
	}
}

// device reads one entry of the wiring order.
func (c *compiler) device(loop, entry int32, path string, l *pb.Loop, d *pb.Device, taken map[uint32]string) {
	c.label(d.GetLabel(), path+".label")
	if d.GetKind() == nil {
		c.alone(path, d)
		return
	}
	// Refused or not, it is a point for whoever names its label: nobody is told that the device is missing.
	if first, ok := taken[d.GetAddress()]; d.Address == nil {
		c.add(finding.Refuse("device.address-missing", path, fmt.Sprintf("%q has no address", d.GetLabel()), "give an address from 1 to 250; only an isolator on its own has none"))
	} else if ok {
		c.add(finding.Refuse("device.address-duplicate", path+".address", fmt.Sprintf("address %d of loop %d is used twice", d.GetAddress(), l.GetLoop()),
			fmt.Sprintf("the other device is %q; one address, one device", first)))
	} else {
		taken[d.GetAddress()] = d.GetLabel()
	}
	c.point(loop, entry, path, l, d)
}

// alone checks an isolator on its own, which is no point.
func (c *compiler) alone(path string, d *pb.Device) {
	switch {
	case d.GetIsolator() == nil:
		c.add(finding.Refuse("device.kind-missing", path+".kind", fmt.Sprintf("%q has no kind", d.GetLabel()),
			"say what it is with exactly one of: "+finding.Sample(Kinds(), 20)+", isolator"))
	case d.Address != nil:
		c.add(finding.Refuse("device.isolator-address", path+".address", fmt.Sprintf("the isolator %q has an address", d.GetLabel()),
			"an isolator on its own has no address; give the device a kind if it has one built in"))
	}
}

// point makes a point of an addressed device.
func (c *compiler) point(loop, entry int32, path string, l *pb.Loop, d *pb.Device) {
	address := fmt.Sprintf("%d/%d", l.GetLoop(), d.GetAddress())
	p := Point{
		Label: d.GetLabel(), Address: address, Path: path, Loop: loop, Entry: entry, Output: -1, ProvesEquipment: -1, ProvesSignal: -1, WatchesSupply: -1,
		Zone:  c.lookup(c.in.Zones, "zone", d.GetZone(), path+".zone"),
		Place: c.lookup(c.in.Places, "place", d.GetPlace(), path+".place"),
	}
	for _, g := range d.GetGroups() {
		i := slices.Index(c.in.Groups, g)
		if i < 0 {
			i = len(c.in.Groups)
			c.in.Groups = append(c.in.Groups, g)
		}
		p.Groups = append(p.Groups, int32(i))
	}
	index := int32(len(c.in.Points))
	c.kind(&p, index, path, l, d)
	if p.Input.Fire() && (d.GetPlace() == "" || d.GetZone() == "") {
		c.add(finding.Refuse("device.place-and-zone", path, fmt.Sprintf("%q needs a place and a zone", d.GetLabel()),
			"every fire input says where it is (place) and what the panel calls it (zone)"))
	}
	c.in.Points = append(c.in.Points, p)
	c.in.points[p.Label] = index
	if _, taken := c.in.points[address]; !taken {
		c.in.points[address] = index
	}
}

// polling compiles the loop's line: its addresses ascending, whatever the wiring order.
func (c *compiler) polling(index int32, l *pb.Loop) {
	loop := &c.in.Loops[index]
	for i := range c.in.Points {
		if c.in.Points[i].Loop == index {
			loop.Points = append(loop.Points, int32(i))
		}
	}
	address := func(point int32) (n int) {
		_, _ = fmt.Sscanf(c.in.Points[point].Address, "%d/%d", new(int), &n)
		return n
	}
	slices.SortFunc(loop.Points, func(a, b int32) int { return address(a) - address(b) })
	t := l.GetLine()
	if t == nil {
		t = &pb.Line{}
	}
	cfg := line.Config{
		PollSlot:              duration(t.GetPollSlot(), defaultPollSlot),
		NoReplySlot:           duration(t.GetNoReplySlot(), defaultNoReplySlot),
		CommandSlot:           duration(t.GetCommandSlot(), defaultCommandSlot),
		MissedReplies:         count(t.MissedReplies, defaultMissedReplies),
		CommandsBetweenVisits: count(t.CommandsBetweenVisits, defaultCommandsBetween),
		OutOfTurn:             t.GetOutOfTurn(), ProbeUnused: t.GetProbeUnused(), SharedCommands: t.GetSharedCommands(),
		ReplyCurrentCheck: t.GetReplyCurrentCheck(), ErrorRate: t.GetErrorRate(),
	}
	readings := count(t.AlarmReadings, defaultAlarmReadings)
	for i, point := range loop.Points {
		p := &c.in.Points[point]
		p.Device = int32(i)
		device := line.Device{Address: uint8(address(point)), Output: p.Output >= 0, Load: p.Kind == "loop_sounder", Fire: p.Input.Fire(), Readings: 1}
		if p.counts() {
			device.Readings = readings
		}
		cfg.Devices = append(cfg.Devices, device)
	}
	if cfg.PollSlot > 0 && cfg.NoReplySlot > 0 && cfg.CommandSlot > 0 {
		loop.Line = line.Compile(cfg)
	}
}

// counts reports whether alarm_readings applies: to detectors that sense, not to contacts.
func (p *Point) counts() bool {
	switch p.Kind {
	case "smoke_detector", "heat_detector", "multi_criteria_detector", "flame_detector":
		return true
	}
	return false
}

// Readings is how many readings in a row the point's fire signal takes.
func (in *Installation) Readings(point int32) int32 {
	p := &in.Points[point]
	return in.Loops[p.Loop].Line.Config().Devices[p.Device].Readings
}

func count(given *uint32, otherwise int32) int32 {
	if given == nil {
		return otherwise
	}
	return int32(*given)
}

// wire compiles the loop as a circuit. What it finds that was found here already is left out.
func (c *compiler) wire(index int32, path string, l *pb.Loop) {
	network, found := wire.Compile(path, l, c.site.GetDeviceTypes())
	for _, f := range found {
		known := slices.ContainsFunc(c.found, func(o *pb.Finding) bool { return o.GetPath() == f.GetPath() && o.GetCode() == f.GetCode() })
		if !known {
			c.add(f)
		}
	}
	loop := &c.in.Loops[index]
	loop.Wire, loop.Wired = network, make([]int32, len(l.GetDevices()))
	for e := range loop.Wired {
		loop.Wired[e] = -1
	}
	for i := range c.in.Points {
		if p := &c.in.Points[i]; p.Loop == index {
			loop.Wired[p.Entry] = int32(i)
		}
	}
}
