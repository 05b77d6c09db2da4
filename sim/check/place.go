package check

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// upright tells whether a place goes through several floors by its nature.
func upright(use string) bool { return use == "stair" || use == "lift-shaft" || use == "duct" }

// zones: who reads a zone at the panel runs to one floor. A zone over several floors is wrong, or one of its
// devices is in the wrong zone; under bs5839-1 a small building may be one zone.
func (j *judge) zones() {
	for z, m := range j.Message.GetZones() {
		floors := map[string][]int32{}
		var order []string
		var places []int32
		for p := range j.Installation.Points {
			pt := &j.Installation.Points[p]
			if int(pt.Zone) != z || !pt.Input.Fire() || pt.Place < 0 {
				continue
			}
			if !slices.Contains(places, pt.Place) {
				places = append(places, pt.Place)
			}
			floor := j.floor(pt.Place)
			if floor == "" || upright(j.use(pt.Place)) {
				continue
			}
			if len(floors[floor]) == 0 {
				order = append(order, floor)
			}
			floors[floor] = append(floors[floor], int32(p))
		}
		j.zoneFloors(z, m, order, floors)
		j.zoneArea(z, m, places)
	}
}

// serving: the rules that ask what a place is ask whom it serves too, and are silent where that is something else.
func (j *judge) serving() {
	for i, p := range j.Message.GetPlaces() {
		fits, what := servedBy(p.GetUse())
		if fits == nil || len(p.GetServes()) == 0 || slices.ContainsFunc(p.GetServes(), func(id string) bool {
			e, ok := j.Installation.Plant.Lookup(id)
			return ok && fits(j.Message.GetEquipment()[e])
		}) {
			continue
		}
		j.add(finding.Warn("place.serves-other", fmt.Sprintf("places[%d].serves", i), fmt.Sprintf("%q is a %s and serves no %s", p.GetPlace(), p.GetUse(), what),
			"the rules about it ask whom it serves, and say nothing here: name the "+what+", or correct `use`"), commonPractice)
	}
}

// lobbies: a lobby on a floor at which no lift that it serves stops; its floor is perhaps written otherwise there, and then no
// rule about the landing looks at it.
func (j *judge) lobbies() {
	for i, p := range j.Message.GetPlaces() {
		if p.GetUse() != "lift-lobby" || p.GetFloor() == "" {
			continue
		}
		var lifts []string
		stops := false
		for _, e := range j.Message.GetEquipment() {
			if e.GetLift() != nil && (len(p.GetServes()) == 0 || slices.Contains(p.GetServes(), e.GetEquipment())) {
				lifts = append(lifts, fmt.Sprintf("%q stops at %s", e.GetEquipment(), strings.Join(e.GetLift().GetFloors(), ", ")))
				stops = stops || slices.Contains(e.GetLift().GetFloors(), p.GetFloor())
			}
		}
		if len(lifts) > 0 && !stops {
			j.add(finding.Warn("place.lobby-without-stop", fmt.Sprintf("places[%d].floor", i), fmt.Sprintf("%q is a lift lobby on floor %s, where no lift stops", p.GetPlace(), p.GetFloor()),
				finding.Sample(lifts, 4)+": write the floor as the lift does, or the rules about landings do not see its detectors"), commonPractice)
		}
	}
}

// servedBy tells which equipment a place of some use serves, and its word; nil where no rule asks.
func servedBy(use string) (fits func(*pb.Equipment) bool, what string) {
	switch {
	case liftPlace(use):
		return func(e *pb.Equipment) bool { return e.GetLift() != nil }, "lift"
	case use == "duct":
		return func(e *pb.Equipment) bool { return e.GetFan() != nil || e.GetDamper() != nil }, "fan or damper"
	case use == "protected-space":
		return func(e *pb.Equipment) bool { return e.GetRelease() != nil }, "release"
	}
	return nil, ""
}

func (j *judge) zoneFloors(z int, m *pb.Zone, order []string, floors map[string][]int32) {
	if len(order) < 2 || j.smallBuilding() {
		return
	}
	fewest := slices.MinFunc(order, func(a, b string) int { return len(floors[a]) - len(floors[b]) })
	detail := "make each floor a zone of its own"
	if few, all := len(floors[fewest]), 0; few <= 2 {
		for _, f := range order {
			all += len(floors[f])
		}
		if all >= 3*few {
			detail = fmt.Sprintf("%s on floor %s may be in the wrong zone; else make each floor a zone of its own", j.labels(floors[fewest]), fewest)
		}
	}
	j.add(finding.Warn("zone.several-floors", fmt.Sprintf("zones[%d]", z), fmt.Sprintf("zone %q has devices on floors %s", m.GetZone(), strings.Join(order, ", ")), detail), j.rules.Clause(rule.FloorZones))
}

// smallBuilding: all places are known to be smaller together than the limit up to which a building may be one zone.
func (j *judge) smallBuilding() bool {
	limit, ok := j.rules.Lookup(rule.OneZoneArea)
	if !ok || j.rules.Has("nfpa72") {
		return false
	}
	sum := 0.0
	for _, p := range j.Message.GetPlaces() {
		if p.AreaM2 == nil {
			return false
		}
		sum += p.GetAreaM2()
	}
	return sum < limit.Value
}

func (j *judge) zoneArea(z int, m *pb.Zone, places []int32) {
	limit, ok := j.rules.Lookup(rule.ZoneArea)
	sum := 0.0
	for _, p := range places {
		sum += j.place(p).GetAreaM2()
	}
	if ok && sum > limit.Value {
		j.add(finding.Warn("zone.too-large", fmt.Sprintf("zones[%d]", z), fmt.Sprintf("zone %q covers %g m2; the limit is %g m2", m.GetZone(), sum, limit.Value),
			"divide it: whoever searches must find the fire; where it is agreed otherwise write the limit "+limit.Name+" under rules.limits"), limit.Source())
	}
}

// routes: a ring that comes back along its way out is cut twice by one blow.
func (j *judge) routes() {
	for l, m := range j.Message.GetLoops() {
		if m.GetReturnRoute() != "same" {
			continue
		}
		report, class := finding.Warn, m.GetRequiredClass()
		if class == "a" || class == "x" {
			report = finding.Error
		}
		j.add(report("wiring.same-route", fmt.Sprintf("loops[%d].return_route", l), fmt.Sprintf("loop %d comes back along its way out", m.GetLoop()),
			"one blow would cut both: bring the return by a route of its own"), j.rules.Clause(rule.ReturnRoute))
	}
}

// phasings: no floor with detectors between the floors of a phasing is left out, nor one whose fires evacuate nobody at
// once; and the order is that of the floors, where a lift of the site tells it.
func (j *judge) phasings() {
	for i, ph := range j.Message.GetProgram().GetPhasings() {
		var listed []string
		for _, f := range ph.GetFloors() {
			listed = append(listed, f.GetFloor())
		}
		path := fmt.Sprintf("program.phasings[%d].floors", i)
		var missing []string
		for n := range j.walks {
			w := &j.walks[n]
			pt := &j.Installation.Points[w.point]
			floor := j.floor(pt.Place)
			if !pt.Input.Fire() || floor == "" || upright(j.use(pt.Place)) || slices.Contains(listed, floor) || slices.Contains(missing, floor) {
				continue
			}
			if j.between(floor, listed) || !slices.ContainsFunc(w.demands, func(d demand) bool { return d.at == 0 && d.state == term.Evacuate }) {
				missing = append(missing, floor)
			}
		}
		if len(missing) > 0 {
			j.add(finding.Warn("phasing.floor-missing", path, fmt.Sprintf("the phasing %q leaves out floors with detectors: %s", ph.GetPhasing(), strings.Join(missing, ", ")),
				"a fire there begins no phase, and nobody there is told in his turn: add the floor where it stands"), "common practice: phased evacuation")
		}
		wrong, known := misnumbered(listed), "their numbers"
		for _, e := range j.Message.GetEquipment() {
			if floor := misplaced(listed, e.GetLift().GetFloors()); floor != "" {
				wrong, known = floor, fmt.Sprintf("those of %q", e.GetEquipment())
				break
			}
		}
		if wrong != "" {
			j.add(finding.Warn("phasing.order", path, fmt.Sprintf("the phasing %q has floor %s out of order", ph.GetPhasing(), wrong),
				fmt.Sprintf("floors stand lowest first, as %s do: the neighbours of the floor that burns are taken from this order", known)), "common practice: phased evacuation")
		}
	}
}

// between tells whether a lift stops at a floor between two of a list.
func (j *judge) between(floor string, listed []string) bool {
	for _, e := range j.Message.GetEquipment() {
		stops := e.GetLift().GetFloors()
		at := slices.Index(stops, floor)
		below := slices.ContainsFunc(listed, func(f string) bool { i := slices.Index(stops, f); return i >= 0 && i < at })
		above := slices.ContainsFunc(listed, func(f string) bool { return slices.Index(stops, f) > at })
		if at >= 0 && below && above {
			return true
		}
	}
	return false
}

// misplaced is the first floor of a list that stands otherwise than in the order of a lift; empty if none does.
func misplaced(listed, order []string) string {
	last := -1
	for _, f := range listed {
		at := slices.Index(order, f)
		if at < 0 {
			continue
		}
		if at < last {
			return f
		}
		last = at
	}
	return ""
}

// misnumbered is the first floor whose number neither rises nor falls as those of its like before it (L1, L2; B2, B1); empty
// if none does.
func misnumbered(listed []string) string {
	last, way := map[string]int{}, map[string]int{}
	for _, floor := range listed {
		word := strings.TrimRight(floor, "0123456789")
		n, err := strconv.Atoi(floor[len(word):])
		if err != nil {
			continue
		}
		before, had := last[word]
		last[word] = n
		if !had {
			continue
		}
		now := cmp.Compare(n, before)
		if way[word] != 0 && now != way[word] {
			return floor
		}
		way[word] = now
	}
	return ""
}

// floorCauses: a fire on one floor of a phasing must not begin the phase of another floor and not its own. Neighbours that
// go together hide that.
func (j *judge) floorCauses() {
	number := map[string]int{}
	for i, c := range j.Message.GetProgram().GetCauses() {
		number[c.GetCause()] = i
	}
	for i, ph := range j.Message.GetProgram().GetPhasings() {
		for k, f := range ph.GetFloors() {
			var astray []int32
			instead := ""
			for p := range j.Installation.Points {
				pt := &j.Installation.Points[p]
				if !pt.Input.Fire() || j.floor(pt.Place) != f.GetFloor() || upright(j.use(pt.Place)) || j.begins(number[f.GetCause()], int32(p)) {
					continue
				}
				for _, other := range ph.GetFloors() {
					if j.begins(number[other.GetCause()], int32(p)) {
						astray, instead = append(astray, int32(p)), other.GetFloor()
						break
					}
				}
			}
			path := fmt.Sprintf("program.phasings[%d].floors[%d].cause", i, k)
			told := slices.ContainsFunc(j.found, func(f *pb.Finding) bool { return f.GetPath() == path && f.GetCode() == "phasing.own-floor-waits" })
			if len(astray) > 0 && !told {
				j.add(finding.Warn("phasing.wrong-cause", path, fmt.Sprintf("a fire on floor %s begins the phase of floor %s: %s", f.GetFloor(), instead, j.labels(astray)),
					fmt.Sprintf("cause %q is false for it: the floor that burns and its neighbours go first", f.GetCause())), "common practice: phased evacuation")
			}
		}
	}
}

// begins tells whether a fire at a point alone makes a cause true, by day.
func (j *judge) begins(cause int, point int32) bool {
	return j.analysis.Space.Eval(j.analysis.Causes[cause], func(f term.Fact) bool {
		return (f.Kind == term.DeviceFire || f.Kind == term.DeviceActive) && f.Index == point ||
			f.Kind == term.PanelMode && f.Value == term.Day || f.Kind == term.ZoneConfirmed && f.Index == j.Installation.Points[point].Zone
	})
}

// ownFloors: a fire on a floor of a phasing evacuates that floor at once, whatever device sees it.
func (j *judge) ownFloors() {
	for i, ph := range j.Message.GetProgram().GetPhasings() {
		for k, f := range ph.GetFloors() {
			var late []int32
			for n := range j.walks {
				w := &j.walks[n]
				pt := &j.Installation.Points[w.point]
				if !pt.Input.Fire() || j.floor(pt.Place) != f.GetFloor() || upright(j.use(pt.Place)) {
					continue
				}
				for e, m := range j.Message.GetProgram().GetEffects() {
					if m.GetEffect() == f.GetEffect() && slices.ContainsFunc(j.Program.EffectOutputs(e), func(o int32) bool { return w.at(o, 0) != term.Evacuate }) {
						late = append(late, w.point)
					}
				}
			}
			if len(late) > 0 {
				j.add(finding.Warn("phasing.own-floor-waits", fmt.Sprintf("program.phasings[%d].floors[%d].cause", i, k), fmt.Sprintf("a fire on floor %s does not evacuate it at once: %s", f.GetFloor(), j.labels(late)),
					"the cause of the floor leaves them out: the floor that burns goes first"), "common practice: phased evacuation")
			}
		}
	}
}
