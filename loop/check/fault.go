package check

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// loss is what one fault takes away.
type loss struct {
	what string // short or break
	run  int32
	lost []int32 // entries, ascending
}

// losses places a dead short and a break of both cores in every run, one at a time. Faults that take
// away what the one before took are left out.
func losses(n *wire.Network) []loss {
	var list []loss
	survey := n.Survey()
	for _, kind := range []wire.FaultKind{wire.Short, wire.Break} {
		what, begin := "short", len(list)
		if kind == wire.Break {
			what = "break"
		}
		for r := range int32(n.Runs()) {
			lost := survey.Lost(kind, r, nil)
			if len(lost) > 0 && (len(list) == begin || !slices.Equal(list[len(list)-1].lost, lost)) {
				list = append(list, loss{what, r, lost})
			}
		}
	}
	return list
}

// widest keeps of the losses that break a rule those that lie within no other of them.
func widest(list []loss, breaks func(lost []int32) bool) []loss {
	var bad []loss
	for _, l := range list {
		if breaks(l.lost) {
			bad = append(bad, l)
		}
	}
	slices.SortStableFunc(bad, func(a, b loss) int { return cmp.Compare(len(b.lost), len(a.lost)) })
	var kept []loss
	owner := map[int32]int{} // entry -> the last one kept that loses it
	for _, l := range bad {
		if k, taken := owner[l.lost[0]]; taken && within(l.lost, kept[k].lost) {
			continue
		}
		for _, e := range l.lost {
			owner[e] = len(kept)
		}
		kept = append(kept, l)
	}
	slices.SortStableFunc(kept, func(a, b loss) int { return cmp.Compare(a.run, b.run) })
	return kept
}

// within tells whether all of a is in b; both ascend.
func within(a, b []int32) bool {
	for _, e := range a {
		at, found := slices.BinarySearch(b, e)
		if !found {
			return false
		}
		b = b[at+1:]
	}
	return true
}

// faults holds what one fault loses against the limits of the packs.
func (j *judge) faults(path string, l int) {
	n, list := j.in.Loops[l].Wire, losses(j.in.Loops[l].Wire)
	if limit, ok := j.rules.Lookup(rule.ZonesLost); ok {
		j.oneZone(path, l, list, limit)
	}
	if limit, ok := j.rules.Lookup(rule.DevicesLost); ok {
		for _, f := range widest(list, func(lost []int32) bool { return float64(len(lost)) > limit.Value }) {
			j.add(finding.Error("wiring.fault-loses-devices", runPath(path, n, f.run), fmt.Sprintf("one %s %s loses %d devices; the limit is %g", f.what, before(n, f.run), len(f.lost), limit.Value),
				"put isolators closer together, and come back to the panel; "+replaceable(limit)), limit.Source())
		}
	}
	if limit, ok := j.rules.Lookup(rule.FireInputsLost); ok {
		for _, f := range widest(list, func(lost []int32) bool { return float64(j.fireInputs(l, lost)) > limit.Value }) {
			j.add(finding.Error("wiring.fault-loses-fire-inputs", runPath(path, n, f.run),
				fmt.Sprintf("one %s %s loses %d detectors and call points; the limit is %g", f.what, before(n, f.run), j.fireInputs(l, f.lost), limit.Value),
				"put isolators closer together, and come back to the panel; "+replaceable(limit)), limit.Source())
		}
	}
	if limit, ok := j.rules.Lookup(rule.AreaLost); ok {
		j.area(path, l, list, limit)
	}
}

// oneZone: no single fault may lose devices in more than one zone, and each floor is a zone.
func (j *judge) oneZone(path string, l int, list []loss, limit rule.Limit) {
	n := j.in.Loops[l].Wire
	for _, f := range widest(list, func(lost []int32) bool {
		return float64(max(len(j.zones(l, lost)), len(j.floors(l, lost)))) > limit.Value
	}) {
		where, names := "in %d zones", j.zones(l, f.lost)
		if float64(len(names)) <= limit.Value {
			where, names = "on %d floors, each of which is a zone", j.floors(l, f.lost)
		}
		j.add(finding.Error("wiring.fault-loses-zones", runPath(path, n, f.run),
			fmt.Sprintf("one %s %s loses devices "+where, f.what, before(n, f.run), len(names)),
			fmt.Sprintf("%s: put an isolator where one ends and the next begins, and come back to the panel; circuits between enclosures of control units are exempt; %s", finding.Sample(names, 8), replaceable(limit))), limit.Source())
	}
}

// fireInputs counts detectors, call points and other fire inputs.
func (j *judge) fireInputs(l int, lost []int32) (count int) {
	for _, e := range lost {
		if j.in.Points[j.in.Loops[l].Wired[e]].Input.Fire() {
			count++
		}
	}
	return count
}

// zones names the zones of devices, in the order of the devices.
func (j *judge) zones(l int, lost []int32) []string {
	var names []string
	for _, e := range lost {
		if z := j.in.Points[j.in.Loops[l].Wired[e]].Zone; z >= 0 && !slices.Contains(names, j.in.Zones[z]) {
			names = append(names, j.in.Zones[z])
		}
	}
	return names
}

// floors names the floors on which devices are. A place without a floor is on none.
func (j *judge) floors(l int, lost []int32) []string {
	var names []string
	for _, e := range lost {
		if floor := j.floor(j.in.Points[j.in.Loops[l].Wired[e]].Place); floor != "" && !slices.Contains(names, floor) {
			names = append(names, floor)
		}
	}
	return names
}

func (j *judge) floor(place int32) string {
	if place < 0 {
		return ""
	}
	return strings.TrimSpace(j.site.GetPlaces()[place].GetFloor())
}

// area: one fault may lose at most 2,000 m2, or one floor and five devices on each of the two
// beside it. The order of floors is not in the file, so that the busiest counts as the floor and
// the two next busiest as those beside it.
func (j *judge) area(path string, l int, list []loss, limit rule.Limit) {
	n, beside := j.in.Loops[l].Wire, j.rules.Value(rule.BesideLost)
	for _, f := range widest(list, func(lost []int32) bool {
		return j.square(l, lost) > limit.Value && !j.oneFloor(l, lost, beside)
	}) {
		j.add(finding.Error("wiring.fault-loses-area", runPath(path, n, f.run),
			fmt.Sprintf("one %s %s loses detection over %g m2, and more than one floor; the limit is %g m2", f.what, before(n, f.run), j.square(l, f.lost), limit.Value),
			fmt.Sprintf("put isolators closer together, and come back to the panel; one floor and %g devices on each of those beside it would do; %s", beside, replaceable(limit))), limit.Source())
	}
}

// square is the area of the places of lost fire inputs, square metres.
func (j *judge) square(l int, lost []int32) float64 {
	var counted []int32
	sum := 0.0
	for _, e := range lost {
		p := &j.in.Points[j.in.Loops[l].Wired[e]]
		if p.Input.Fire() && p.Place >= 0 && !slices.Contains(counted, p.Place) {
			counted = append(counted, p.Place)
			sum += j.site.GetPlaces()[p.Place].GetAreaM2()
		}
	}
	return sum
}

// oneFloor tells whether lost fire inputs keep to one floor and a few devices beside it.
func (j *judge) oneFloor(l int, lost []int32, beside float64) bool {
	var names []string
	var counts []int
	for _, e := range lost {
		p := &j.in.Points[j.in.Loops[l].Wired[e]]
		if !p.Input.Fire() {
			continue
		}
		at := slices.Index(names, j.floor(p.Place))
		if at < 0 {
			at = len(names)
			names, counts = append(names, j.floor(p.Place)), append(counts, 0)
		}
		counts[at]++
	}
	slices.Sort(counts)
	slices.Reverse(counts)
	return len(counts) <= 3 && (len(counts) < 2 || float64(counts[1]) <= beside)
}

// areas tells, once, that the area rule counts places without an area as nothing.
func (j *judge) areas() {
	limit, ok := j.rules.Lookup(rule.AreaLost)
	if !ok {
		return
	}
	for i := range j.in.Points {
		p := &j.in.Points[i]
		if p.Input.Fire() && p.Place >= 0 && j.site.GetPlaces()[p.Place].AreaM2 == nil {
			j.add(note("place.area-unknown", fmt.Sprintf("places[%d]", p.Place), fmt.Sprintf("the area of %q is not written, nor perhaps of others", j.in.Places[p.Place]),
				"what one fault may lose is limited by area: without area_m2 a place counts as nothing"), limit.Source())
			return
		}
	}
}
