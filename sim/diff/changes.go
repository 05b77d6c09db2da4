package diff

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// changes compares everything of two sites but the program's causes, effects and actions, and the order of
// wiring. same compares two conditions, the second in the new site's words. texts counts texts for people.
func (p *pairing) changes(same func(old, changed string) bool) (found []change, texts int) {
	c := &comparer{p: p, defaults: map[string]string{}, same: same}
	for _, d := range loop.Defaults() {
		c.byDefault(d.Key, d.Value)
	}
	for _, d := range wire.Defaults() {
		c.byDefault(d.Key, d.Value)
	}
	for _, d := range circuit.Defaults() {
		c.byDefault(d.Key, d.Value)
	}
	for _, d := range power.Defaults() {
		c.byDefault(d.Key, d.Value)
	}
	for _, d := range plant.Defaults() {
		c.byDefault(d.Key, d.Value)
	}
	old, changed := p.built[0].Site, p.built[1].Site
	fields := old.ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		c.subject = none(siteKind(fd.Name()), string(fd.Name()))
		only := func(m *pb.Site) protoreflect.Message {
			out := (&pb.Site{}).ProtoReflect()
			if m.ProtoReflect().Has(fd) {
				out.Set(fd, m.ProtoReflect().Get(fd))
			}
			return out
		}
		c.message("", only(old), only(changed), "", "")
	}
	c.calendar()
	c.devices()
	return c.found, c.texts
}

// byDefault notes what holds where the file gives nothing, by the last two keys.
func (c *comparer) byDefault(key, value string) {
	last, before := "", ""
	for _, step := range split(key) {
		last, before = step, last
	}
	c.defaults[before+"."+last] = value
}

func split(key string) []string {
	var steps []string
	for from, i := 0, 0; i <= len(key); i++ {
		if i == len(key) || key[i] == '.' {
			steps = append(steps, key[from:i])
			from = i + 1
		}
	}
	return steps
}

// durationText writes a duration as values of files are compared; empty where it is none.
func durationText(text string) string {
	d, err := time.ParseDuration(text)
	if err != nil {
		return ""
	}
	return d.String()
}

// none is a change that is about no numbered thing.
func none(kind, subject string) change {
	return change{kind: kind, subject: subject, point: -1, output: -1, equipment: -1, zone: -1, loop: -1}
}

// siteKind is the kind of difference that a part of the site makes.
func siteKind(name protoreflect.Name) string {
	switch name {
	case "rules", "targets":
		return "rules"
	case "places":
		return "place"
	case "zones":
		return "zone"
	case "supplies":
		return "supply"
	case "loops", "device_types":
		return "wiring"
	case "program":
		return "program"
	}
	return string(name)
}

// about sets what the walk is about while it is in an entry of a list.
func (c *comparer) about(fd protoreflect.FieldDescriptor, key string) {
	p := c.p
	find := func(m *matching, names func(side int) []string) int32 {
		for s := range p.built {
			for i, name := range names(s) {
				if s == 1 && c.translate(keyField(fd), name) != key || s == 0 && name != key {
					continue
				}
				if s == 1 {
					return m.common(int32(i))
				}
				return int32(i)
			}
		}
		return -1
	}
	switch fd.Name() {
	case "places", "zones", "supplies", "device_types":
		c.subject = none(siteKind(fd.Name()), key)
		if fd.Name() == "zones" {
			c.subject.zone = find(&p.zones, func(s int) []string { return p.built[s].Installation.Zones })
		}
		if fd.Name() == "supplies" {
			c.subject.kind = "supply"
		}
	case "equipment":
		c.subject = none("equipment", key)
		c.subject.equipment = find(&p.equipment, func(s int) []string { return idsOf(p.built[s].Site.GetEquipment(), (*pb.Equipment).GetEquipment) })
	case "loops":
		c.subject = none("wiring", "loop "+key)
		c.subject.loop = c.loopNumber(key)
	case "outputs":
		c.subject = none("output", key)
		c.subject.output = p.outputNumber(key)
	case "detection":
		c.subject = none("detection", key)
		c.subject.zone = find(&p.zones, func(s int) []string { return p.built[s].Installation.Zones })
	case "controls", "overrides":
		c.subject = none(string(fd.Name())[:len(fd.Name())-1], key)
	case "loads":
		c.subject.kind = "circuit"
	case "floors":
	}
}

func keyField(fd protoreflect.FieldDescriptor) protoreflect.FieldDescriptor {
	return fd.Message().Fields().ByName(keys[fd.Name()])
}

func (c *comparer) loopNumber(key string) int32 {
	for s, b := range c.p.built {
		for i := range b.Installation.Loops {
			if fmt.Sprint(b.Installation.Loops[i].Number) == key {
				if s == 1 {
					return c.p.loops.common(int32(i))
				}
				return int32(i)
			}
		}
	}
	return -1
}

// outputNumber is the common number of an output by its label, in the old site's words.
func (p *pairing) outputNumber(label string) int32 {
	for s, b := range p.built {
		if o, ok := b.Installation.Output(label); ok {
			if s == 1 {
				return p.outputs.common(o)
			}
			return o
		}
	}
	return -1
}

// oldOutput is the old site's label of an output of the new one.
func (p *pairing) oldOutput(label string) string {
	if o, ok := p.built[1].Installation.Output(label); ok {
		if old := p.outputs.toOld[o]; old >= 0 {
			return p.built[0].Installation.Outputs[old].Label
		}
	}
	return label
}

// wiringFields are the fields of a device that say how it is wired.
var wiringFields = map[string]bool{"cable_m": true, "cable": true, "spur_from": true, "isolator": true, "type": true}

// entry is a device as it stands in a file.
type entry struct {
	m     *pb.Device
	path  string
	loop  uint32
	point int32  // common number of an addressed device, else -1
	key   string // the same for the same device of both sites
}

// devices compares devices by what they are, wherever they stand: addressed ones as points, isolators on
// their own by label.
func (c *comparer) devices() {
	old, changed := c.wired(0), c.wired(1)
	for _, a := range old.list {
		c.subject = c.aboutDevice(a)
		j, ok := changed.at[a.key]
		if !ok {
			c.add("", "there", isGone, a.path, "")
			continue
		}
		b := changed.list[j]
		if a.loop != b.loop {
			c.add("loop", fmt.Sprint(a.loop), fmt.Sprint(b.loop), a.path, b.path)
		}
		c.device(a, b)
	}
	for _, b := range changed.list {
		if _, ok := old.at[b.key]; !ok {
			c.subject = c.aboutDevice(b)
			c.add("", "", isNew, "", b.path)
		}
	}
}

// wired are the devices of one site, in wiring order.
type wired struct {
	list []entry
	at   map[string]int // place in the list, by key
}

func (c *comparer) wired(side int) wired {
	b := c.p.built[side]
	all := wired{at: map[string]int{}}
	for l, lp := range b.Site.GetLoops() {
		for i, d := range lp.GetDevices() {
			e := entry{m: d, path: fmt.Sprintf("loops[%d].devices[%d]", l, i), loop: lp.GetLoop(), point: -1, key: "isolator " + d.GetLabel()}
			if n, ok := b.Installation.Point(d.GetLabel()); ok && d.Address != nil {
				if side == 1 {
					n = c.p.points.common(n)
				}
				e.point, e.key = n, fmt.Sprint("point ", n)
			}
			all.at[e.key] = len(all.list)
			all.list = append(all.list, e)
		}
	}
	return all
}

// aboutDevice is the subject of what differs in a device.
func (c *comparer) aboutDevice(e entry) change {
	about := none("device", e.m.GetLabel())
	if e.point < 0 {
		about.kind, about.loop = "wiring", c.loopNumber(fmt.Sprint(e.loop))
		return about
	}
	about.point = e.point
	if o := c.p.outputNumber(e.m.GetLabel()); o >= 0 {
		about.output = o
	}
	return about
}

// device compares one device, and tells its wiring from what it does.
func (c *comparer) device(a, b entry) {
	from := len(c.found)
	c.message("devices", a.m.ProtoReflect(), b.m.ProtoReflect(), a.path, b.path)
	for i := from; i < len(c.found); i++ {
		ch := &c.found[i]
		path, base := ch.paths[0], a.path
		if path == "" {
			path, base = ch.paths[1], b.path
		}
		rest := strings.TrimPrefix(path, base+".")
		switch {
		case wiringFields[split(rest)[0]]:
			ch.kind, ch.subject, ch.loop = "wiring", fmt.Sprintf("loop %d", a.loop), c.loopNumber(fmt.Sprint(a.loop))
			ch.what = a.m.GetLabel() + " " + ch.what
		case strings.Contains(rest, "circuit."):
			ch.kind = "circuit"
		}
	}
}
