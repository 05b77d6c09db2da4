package term

import (
	"slices"
	"strconv"
)

// The meaning of names that stand for many facts. Each is built once per Reader.

// once returns the shared term of the key.
func (r *Reader) once(key string, build func() *Term) *Term {
	if t, ok := r.shared[key]; ok {
		return t
	}
	t := build()
	r.shared[key] = t
	return t
}

// panel returns the meaning of panel.WORD.
func (r *Reader) panel(word string) *Term {
	return r.once("panel."+word, func() *Term {
		w := r.world
		switch word {
		case "fire", "prealarm", "supervisory":
			return Or(r.signals("panel", 0, word)...)
		case "fault":
			var members []*Term
			for p := range w.Points {
				members = append(members, Is(DeviceFault, p))
			}
			members = append(members, each(OutputFault, len(w.Outputs))...)
			members = append(members, each(LoopFault, len(w.Loops))...)
			return Or(append(members, each(SupplyFault, len(w.Supplies))...)...)
		case "disabled":
			members := append(each(DeviceDisabled, len(w.Points)), each(ZoneDisabled, len(w.Zones))...)
			members = append(members, each(OutputDisabled, len(w.Outputs))...)
			return Or(append(members, each(EquipmentDisabled, len(w.Equipment))...)...)
		case "acknowledged":
			return Is(PanelAcknowledged, 0)
		case "silenced":
			return Is(PanelSilenced, 0)
		case "evacuate":
			return Is(PanelEvacuate, 0)
		case "test":
			return Or(each(ZoneTest, len(w.Zones))...)
		case "buzzer":
			return Is(PanelBuzzer, 0)
		case "stopped":
			return Is(PanelStopped, 0)
		}
		panic("term: no meaning for `panel." + word + "`")
	})
}

// area returns the meaning of a property of a zone, place or group. `.fault` counts every device
// naming it (rule A7). `zone(..).disabled` is the zone as a whole, so that an action inhibited
// by it is not lost with one disabled detector; a place or group, which cannot be disabled as a
// whole, is disabled where any of its devices is.
func (r *Reader) area(what string, index int, word string) *Term {
	return r.once(what+"."+word+"."+strconv.Itoa(index), func() *Term {
		switch word {
		case "fire", "prealarm", "supervisory":
			return Or(r.signals(what, index, word)...)
		case "confirmed":
			return Is(ZoneConfirmed, index)
		case "test":
			return Or(r.tests(what, index)...)
		case "disabled":
			if what == "zone" {
				return Is(ZoneDisabled, index)
			}
		}
		var members []*Term
		for p := range r.world.Points {
			if !r.within(p, what, index) {
				continue
			}
			if word == "fault" {
				members = r.pointFault(members, p)
				continue
			}
			members = append(members, Is(DeviceDisabled, p))
			if o := r.world.outputOf(p); o >= 0 {
				members = append(members, Is(OutputDisabled, o))
			}
		}
		return Or(members...)
	})
}

// tests returns the leaves `in test` of a zone, or of the zones that the fire inputs of a place
// or group belong to: only zones are put into test.
func (r *Reader) tests(what string, index int) []*Term {
	if what == "zone" {
		return []*Term{Is(ZoneTest, index)}
	}
	var zones []int
	for p := range r.world.Points {
		if point := &r.world.Points[p]; point.Input.Fire() && point.Zone >= 0 && r.within(p, what, index) && !slices.Contains(zones, point.Zone) {
			zones = append(zones, point.Zone)
		}
	}
	members := make([]*Term, len(zones))
	for i, zone := range zones {
		members[i] = Is(ZoneTest, zone)
	}
	return members
}

// indications are the words of what the panel indicates first, the strongest first; with no
// condition at all it is quiescent (EN 54-2 and ISO 7240-2: several conditions may stand at
// once, and the fire alarm condition is indicated first; the order of the others is common practice).
func indications() []string {
	return []string{"fire", "prealarm", "supervisory", "fault", "disablement", "test", "quiescent"}
}

// indicated is the meaning of panel.indicated == the i-th of indications.
func (r *Reader) indicated(i int) *Term {
	return r.once("panel.indicated."+strconv.Itoa(i), func() *Term {
		conditions := []string{"fire", "prealarm", "supervisory", "fault", "disabled", "test"}
		var members []*Term
		for _, stronger := range conditions[:i] {
			members = append(members, Negate(r.panel(stronger)))
		}
		if i < len(conditions) {
			members = append(members, r.panel(conditions[i]))
		}
		return And(members...)
	})
}

// pointFault appends the faults of one device: its own, and that of the output it is (rule D4).
func (r *Reader) pointFault(members []*Term, point int) []*Term {
	members = append(members, Is(DeviceFault, point))
	if o := r.world.outputOf(point); o >= 0 {
		members = append(members, Is(OutputFault, o))
	}
	return members
}

// signals returns one leaf for each point of an area that can give the signal.
func (r *Reader) signals(what string, index int, word string) []*Term {
	if word == "fire" {
		return r.fires(what, index, false)
	}
	var members []*Term
	for i, p := range r.world.Points {
		if !r.within(i, what, index) {
			continue
		}
		if word == "prealarm" && (p.Prealarm || p.ShowsHeld) {
			members = append(members, Is(DevicePrealarm, i))
		}
		if word == "supervisory" && p.Input == Supervisory {
			members = append(members, Is(DeviceSupervisory, i))
		}
	}
	return members
}

// fires returns one leaf for each fire input of an area, or for its detectors alone.
func (r *Reader) fires(what string, index int, detectorsOnly bool) []*Term {
	var members []*Term
	for i, p := range r.world.Points {
		if p.Input.Fire() && (p.Detector || !detectorsOnly) && r.within(i, what, index) {
			members = append(members, Is(DeviceFire, i))
		}
	}
	return members
}

// within reports whether the point belongs to the panel, zone, place or group.
func (r *Reader) within(point int, what string, index int) bool {
	p := &r.world.Points[point]
	switch what {
	case "zone":
		return p.Zone == index
	case "place":
		return p.Place == index
	case "group":
		return slices.Contains(p.Groups, index)
	}
	return true
}

// each returns the leaves of one kind over a whole index space.
func each(kind Kind, count int) []*Term {
	members := make([]*Term, count)
	for i := range members {
		members[i] = Is(kind, i)
	}
	return members
}
