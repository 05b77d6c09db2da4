package diff

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// matching pairs the things of one kind. Common numbers are those of the old site; what only the new
// site has stands behind them.
type matching struct {
	toOld []int32 // new index -> old index; -1 for what is new
	toNew []int32 // old index -> new index; -1 for what is gone
}

// common is the common number of a thing of the new site.
func (m *matching) common(index int32) int32 {
	if old := m.toOld[index]; old >= 0 {
		return old
	}
	return int32(len(m.toNew)) + index
}

// side is the index on one side (0 old, 1 new) of a common number; false where that side has none.
func (m *matching) side(side int, common int32) (int32, bool) {
	switch n := int32(len(m.toNew)); {
	case common < 0:
		return -1, false
	case side == 0:
		return common, common < n
	case common >= n:
		return common - n, true
	default:
		return m.toNew[common], m.toNew[common] >= 0
	}
}

// match pairs things by one key after another; empty keys pair nothing. Of several with one key the
// first of either side belong together.
func match(nOld, nNew int, keys ...func(side, index int) string) matching {
	m := matching{toOld: slices.Repeat([]int32{-1}, nNew), toNew: slices.Repeat([]int32{-1}, nOld)}
	for _, key := range keys {
		free := map[string][]int32{}
		for i := range nOld {
			if k := key(0, i); m.toNew[i] < 0 && k != "" {
				free[k] = append(free[k], int32(i))
			}
		}
		for i := range nNew {
			k := key(1, i)
			if m.toOld[i] >= 0 || k == "" || len(free[k]) == 0 {
				continue
			}
			old := free[k][0]
			free[k] = free[k][1:]
			m.toOld[i], m.toNew[old] = old, int32(i)
		}
	}
	return m
}

// pairing is everything of two sites that is matched.
type pairing struct {
	built [2]*site.Built

	points, outputs, zones, places, groups, supplies, equipment, loads, loops matching
	causes, effects, controls, overrides, phasings, types, sets               matching
	setNames                                                                  [2][]string
	deviceOf                                                                  [2]map[string]*pb.Device // by label
}

// pair matches two sites.
func pair(old, changed *site.Built) *pairing {
	p := &pairing{built: [2]*site.Built{old, changed}}
	for s, b := range p.built {
		p.deviceOf[s] = map[string]*pb.Device{}
		for _, l := range b.Site.GetLoops() {
			for _, d := range l.GetDevices() {
				p.deviceOf[s][d.GetLabel()] = d
			}
		}
	}
	p.pairInstallation()
	p.pairProgram()
	return p
}

func (p *pairing) pairInstallation() {
	in := func(s int) *site.Built { return p.built[s] }
	sizes := func(n func(b *site.Built) int) (int, int) { return n(p.built[0]), n(p.built[1]) }

	a, b := sizes(func(b *site.Built) int { return len(b.Installation.Loops) })
	p.loops = match(a, b, func(s, i int) string { return fmt.Sprint(in(s).Installation.Loops[i].Number) })
	a, b = sizes(func(b *site.Built) int { return len(b.Installation.Points) })
	p.points = match(a, b, func(s, i int) string { return in(s).Installation.Points[i].Label },
		func(s, i int) string {
			pt := &in(s).Installation.Points[i]
			return string(pt.Kind) + " " + pt.Address
		})
	a, b = sizes(func(b *site.Built) int { return len(b.Installation.Outputs) })
	p.outputs = match(a, b, func(s, i int) string { return in(s).Installation.Outputs[i].Label },
		func(s, i int) string { return p.pointKey(s, in(s).Installation.Outputs[i].Point) })
	a, b = sizes(func(b *site.Built) int { return len(b.Installation.Loads) })
	p.loads = match(a, b, func(s, i int) string { return in(s).Installation.Loads[i].Label })

	ids := func(list func(b *site.Built) []string) func(s, i int) string {
		return func(s, i int) string { return list(in(s))[i] }
	}
	names := func(list func(b *site.Built) []string) (int, int) {
		return sizes(func(b *site.Built) int { return len(list(b)) })
	}
	zones := func(b *site.Built) []string { return b.Installation.Zones }
	places := func(b *site.Built) []string { return b.Installation.Places }
	groups := func(b *site.Built) []string { return b.Installation.Groups }
	supplies := func(b *site.Built) []string { return b.World.Supplies }
	a, b = names(zones)
	p.zones = match(a, b, ids(zones), p.members(func(d *pb.Device) []string { return []string{d.GetZone()} }, zones),
		func(s, i int) string { return "title " + in(s).Site.GetZones()[i].GetTitle() })
	a, b = names(places)
	p.places = match(a, b, ids(places), p.members(func(d *pb.Device) []string { return []string{d.GetPlace()} }, places),
		func(s, i int) string {
			m := in(s).Site.GetPlaces()[i]
			return fmt.Sprint("as ", m.GetFloor(), " ", m.GetAreaM2(), " ", m.GetUse())
		})
	a, b = names(groups)
	p.groups = match(a, b, ids(groups), p.members((*pb.Device).GetGroups, groups))
	a, b = names(supplies)
	p.supplies = match(a, b, ids(supplies), p.fed)
	a, b = sizes(func(b *site.Built) int { return len(b.Site.GetEquipment()) })
	p.equipment = match(a, b, func(s, i int) string { return in(s).Site.GetEquipment()[i].GetEquipment() }, p.driven,
		func(s, i int) string { return "title " + in(s).Site.GetEquipment()[i].GetTitle() },
		func(s, i int) string { return kindKey(in(s).Site.GetEquipment()[i]) })
	types := func(b *site.Built) []string {
		var names []string
		for _, t := range b.Site.GetDeviceTypes() {
			names = append(names, t.GetType())
		}
		return names
	}
	a, b = names(types)
	p.types = match(a, b, ids(types), p.members(func(d *pb.Device) []string { return []string{d.GetType()} }, types))
}

// pointKey is a key of a matched point, the same on both sides; empty for none and for an unmatched one.
func (p *pairing) pointKey(s int, point int32) string {
	if point < 0 {
		return ""
	}
	if s == 1 {
		point = p.points.toOld[point]
	} else if p.points.toNew[point] < 0 {
		return ""
	}
	if point < 0 {
		return ""
	}
	return fmt.Sprint("point ", point)
}

// members keys a set by the matched devices that name it.
func (p *pairing) members(named func(*pb.Device) []string, list func(*site.Built) []string) func(s, i int) string {
	var keys [2]map[string][]string
	for s, b := range p.built {
		keys[s] = map[string][]string{}
		for _, d := range b.Site.GetLoops() {
			for _, d := range d.GetDevices() {
				key := "label " + d.GetLabel()
				if i, ok := b.Installation.Point(d.GetLabel()); ok && d.Address != nil {
					if k := p.pointKey(s, i); k != "" {
						key = k
					}
				}
				for _, id := range named(d) {
					keys[s][id] = append(keys[s][id], key)
				}
			}
		}
	}
	return func(s, i int) string { return sortedKey(keys[s][list(p.built[s])[i]]) }
}

// fed keys a supply by what it feeds and who watches it.
func (p *pairing) fed(s, i int) string {
	in := p.built[s].Installation
	var parts []string
	for o := range in.Outputs {
		if int(in.Outputs[o].Supply) == i {
			parts = append(parts, p.outputKey(s, int32(o)))
		}
	}
	for n := range in.Points {
		if int(in.Points[n].WatchesSupply) == i {
			parts = append(parts, "watch "+p.pointKey(s, int32(n)))
		}
	}
	return sortedKey(parts)
}

// driven keys equipment by what drives its inputs and what proves its signals.
func (p *pairing) driven(s, i int) string {
	in := p.built[s].Installation
	var parts []string
	for o := range in.Outputs {
		if out := &in.Outputs[o]; int(out.Equipment) == i {
			parts = append(parts, fmt.Sprint(p.outputKey(s, int32(o)), " input ", out.Input))
		}
	}
	for n := range in.Points {
		if pt := &in.Points[n]; int(pt.ProvesEquipment) == i {
			parts = append(parts, fmt.Sprint(p.pointKey(s, int32(n)), " signal ", pt.ProvesSignal))
		}
	}
	id := in.Plant.ID(i)
	for j, e := range p.built[s].Site.GetEquipment() {
		if slices.Contains(e.GetTrip().GetCuts(), id) {
			parts = append(parts, "cut by ("+p.driven(s, j)+")") // no trip cuts itself, through however many others
		}
	}
	return sortedKey(parts)
}

// kindKey keys equipment by what it is, without its id, its text and whatever else may have another name.
func kindKey(e *pb.Equipment) string {
	e = proto.CloneOf(e)
	e.Equipment, e.Title, e.Place = "", "", ""
	if e.GetTrip() != nil {
		e.GetTrip().Cuts = nil
	}
	key, err := proto.MarshalOptions{Deterministic: true}.Marshal(e)
	if err != nil {
		panic("diff: a message that was read cannot be written: " + err.Error())
	}
	return "kind " + string(key)
}

// outputKey is a key of an output, the same on both sides where it is matched.
func (p *pairing) outputKey(s int, output int32) string {
	if s == 1 {
		output = p.outputs.common(output)
	}
	return fmt.Sprint("output ", output)
}

// sortedKey joins the parts of a key; without any it is empty.
func sortedKey(parts []string) string {
	slices.Sort(parts)
	return strings.Join(parts, "; ")
}
