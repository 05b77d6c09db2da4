package wire

import (
	"fmt"
	"math"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Compile reads a loop. path is the field path of the loop in its site, types the site's own device
// types. Every problem is found; the Network is nil if one of them is refused.
func Compile(path string, loop *pb.Loop, types []*pb.DeviceType) (*Network, []*pb.Finding) {
	c := &compiler{path: path, loop: loop, types: types, n: &Network{
		ring: loop.GetWiring() == "ring", last: -1, limit: defaultLimit,
		byLabel: map[string]int32{}, byAddr: map[uint32]int32{},
	}}
	if len(loop.GetDevices()) > longest {
		c.refuse("wiring.too-long", ".devices", fmt.Sprintf("%d entries on one loop", len(loop.GetDevices())),
			fmt.Sprintf("the bench takes %d at most, isolators on their own included", longest))
		return nil, c.found
	}
	c.driver()
	c.n.iso = append(c.n.iso, isolator{-1, leastOhm, defaultOpens}, isolator{-1, leastOhm, defaultOpens})
	for i, d := range loop.GetDevices() {
		c.entry(i, d)
	}
	if c.n.ring {
		c.run(".return_cable_m", loop.GetReturnCableM(), nil, ".cable")
	}
	c.chain()
	if len(c.found) > 0 {
		return nil, c.found
	}
	for i := range c.n.iso {
		c.n.highest = max(c.n.highest, c.n.iso[i].opens)
	}
	c.n.safe = c.n.healthy()
	return c.n, nil
}

type compiler struct {
	path  string
	loop  *pb.Loop
	types []*pb.DeviceType
	n     *Network
	found []*pb.Finding
}

func (c *compiler) refuse(code, at, title, detail string) {
	c.found = append(c.found, finding.Refuse(code, c.path+at, title, detail))
}

// number checks a figure that must be finite and within its bounds, both allowed.
func (c *compiler) number(at string, v, least, most float64) bool {
	if v >= least && v <= most { // false for NaN
		return true
	}
	c.refuse("wiring.figure", at, fmt.Sprintf("%g is out of range", v), fmt.Sprintf("between %g and %g", least, most))
	return false
}

func (c *compiler) driver() {
	d := c.loop.GetDriver()
	c.n.volts, c.n.source = d.GetVoltageV(), d.GetSourceOhm()
	c.number(".driver.voltage_v", c.n.volts, 1e-3, 60)
	c.number(".driver.source_ohm", c.n.source, 0, 1000)
	if d.GetCurrentLimitMa() != 0 || d != nil && d.CurrentLimitMa != nil {
		c.n.limit = d.GetCurrentLimitMa() / 1000
		c.number(".driver.current_limit_ma", d.GetCurrentLimitMa(), 1e-3, 1e4)
	}
}

// entry reads one entry and the run that ends there.
func (c *compiler) entry(i int, d *pb.Device) {
	at := fmt.Sprintf(".devices[%d]", i)
	e := entry{
		label: d.GetLabel(), address: d.GetAddress(), parent: -1, spur: d.SpurFrom != nil, iso: -1, device: d.GetKind() != nil,
		standby: defaultStandby, indicator: defaultIndicator, dropOut: defaultDropOut, pickUp: defaultPickUp,
	}
	isolates := isolator{entry: int32(i), ohm: defaultIsolator, opens: defaultOpens}
	c.figures(at, d.GetType(), &e, &isolates)
	if sounder := d.GetLoopSounder(); sounder != nil {
		e.sounder, e.indicator = defaultSounder, 0
		if sounder.CurrentMa != nil && c.number(at+".loop_sounder.current_ma", sounder.GetCurrentMa(), 0, 1e3) {
			e.sounder = sounder.GetCurrentMa() / 1000
		}
		c.watts(at+".loop_sounder", sounder, &e)
	}
	if !e.device {
		e.standby, e.indicator, e.sounder, e.address = 0, 0, 0, 0
	}
	if d.GetIsolator() != nil {
		e.iso = int32(len(c.n.iso))
		c.n.iso = append(c.n.iso, isolates)
	} else if !e.device {
		c.refuse("device.kind-missing", at+".kind", fmt.Sprintf("%q has no kind", e.label), "say what it is, or write isolator: {}")
	}
	if _, taken := c.n.byLabel[e.label]; taken {
		c.refuse("reference.duplicate-label", at+".label", fmt.Sprintf("the label %q is used twice", e.label), "labels are unique")
	}
	c.n.byLabel[e.label] = int32(i)
	if e.device {
		if _, taken := c.n.byAddr[e.address]; taken {
			c.refuse("device.address-duplicate", at+".address", fmt.Sprintf("address %d is used twice", e.address), "one address, one device")
		}
		c.n.byAddr[e.address] = int32(i)
	}
	c.n.entries = append(c.n.entries, e)
	cableAt := at + ".cable"
	if d.GetCable() == nil {
		cableAt = ".cable"
	}
	c.run(at+".cable_m", d.GetCableM(), d.GetCable(), cableAt)
}

// watts reads a sounder of constant power. Its current is that at the driver's voltage, the least that
// it may be.
func (c *compiler) watts(at string, sounder *pb.LoopSounder, e *entry) {
	if sounder.PowerW == nil {
		return
	}
	if sounder.CurrentMa != nil {
		c.refuse("loop-sounder.current-and-power", at, fmt.Sprintf("%q has a current and a power", e.label),
			"give one of current_ma and power_w, or neither: then it draws 5 mA")
		return
	}
	if c.number(at+".power_w", sounder.GetPowerW(), 1e-6, 60) && c.n.volts > 0 {
		e.sounder, e.watts, c.n.power = sounder.GetPowerW()/c.n.volts, true, true
	}
}

// figures replaces the built-in figures by those of a device type.
func (c *compiler) figures(at, name string, e *entry, iso *isolator) {
	if name == "" {
		return
	}
	var names []string
	for i, t := range c.types {
		names = append(names, t.GetType())
		if t.GetType() != name {
			continue
		}
		ok := c.number(fmt.Sprintf("device_types[%d]", i), t.GetStandbyMa(), 0, 1e3) &&
			c.number(at, t.GetIndicatorMa(), 0, 1e3) && c.number(at, t.GetIsolatorOhm(), 0, 10) &&
			c.number(at, t.GetDropOutV(), 0, 60) && c.number(at, t.GetPickUpV(), 0, 60) && c.number(at, t.GetIsolatorOpensV(), 0, 60)
		if !ok {
			return
		}
		amps(&e.standby, t.StandbyMa)
		amps(&e.indicator, t.IndicatorMa)
		volts(&e.dropOut, t.DropOutV)
		volts(&e.pickUp, t.PickUpV)
		volts(&iso.opens, t.IsolatorOpensV)
		if t.IsolatorOhm != nil {
			iso.ohm = max(t.GetIsolatorOhm(), leastOhm)
		}
		if e.pickUp < e.dropOut {
			c.refuse("device-type.thresholds", at+".type", fmt.Sprintf("the type %q starts below the voltage at which it stops", name),
				"pick_up_v must not be below drop_out_v (defaults 18 and 16)")
		}
		return
	}
	c.found = append(c.found, finding.Dangling(c.path+at+".type", "device type", name, names))
}

func amps(to *float64, ma *float64) {
	if ma != nil {
		*to = *ma / 1000
	}
}

func volts(to *int64, v *float64) {
	if v != nil {
		*to = micro(*v)
	}
}

// run reads one run; without a cable of its own it is of the loop's.
func (c *compiler) run(at string, metres float64, own *pb.Cable, cableAt string) {
	k := own
	if k == nil {
		k = c.loop.GetCable()
	}
	if k == nil {
		k = &pb.Cable{}
	}
	wire, why := conduct(k)
	if why != "" {
		said := false // the loop's own cable is reported once
		for _, f := range c.found {
			said = said || f.GetPath() == c.path+cableAt
		}
		if !said {
			c.refuse("cable.resistance-unknown", cableAt, why, ResistanceRemedy())
		}
	}
	c.number(at, metres, 0, 1e4)
	c.n.runs = append(c.n.runs, run{metres: metres, ohm: float64(metres * wire.ohmPerM), farad: float64(metres * wire.faradPerM)})
}

// chain finds what each run hangs on, and an order in which nothing comes before that.
func (c *compiler) chain() {
	n := c.n
	for i := range n.entries {
		e := &n.entries[i]
		if !e.spur {
			e.parent, n.last = n.last, int32(i)
			n.order = append(n.order, int32(i))
			continue
		}
		from := c.loop.GetDevices()[i].GetSpurFrom()
		parent, ok := n.byAddr[from]
		if !ok {
			c.refuse("wiring.spur-from-nowhere", fmt.Sprintf(".devices[%d].spur_from", i), fmt.Sprintf("no device of this loop has the address %d", from),
				"spur_from is the address, on the same loop, of the device where the spur tees off")
			continue
		}
		e.parent = parent
	}
	if n.ring {
		n.order = append(n.order, n.Return())
	}
	if len(c.found) > 0 {
		return
	}
	children := make([][]int32, len(n.entries))
	for i := range n.entries {
		if e := &n.entries[i]; e.spur {
			children[e.parent] = append(children[e.parent], int32(i))
		}
	}
	placed := make([]bool, len(n.entries)+1)
	for at := 0; at < len(n.order); at++ {
		i := n.order[at]
		placed[i] = true
		if i != n.Return() {
			n.order = append(n.order, children[i]...)
		}
	}
	for i := range n.entries {
		if !placed[i] {
			c.refuse("wiring.spur-circle", fmt.Sprintf(".devices[%d].spur_from", i), fmt.Sprintf("%q hangs on itself", n.entries[i].label),
				"a spur must lead back to a device of the chain")
		}
	}
}

// micro rounds to whole millionths, and stops at the ends of what they can say.
func micro(v float64) int64 {
	return int64(math.Round(float64(min(max(v, -1e12), 1e12) * 1e6)))
}
