package plant

import (
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Compile reads the equipment of a site, and reports what is wrong with it, with paths
// `equipment[i]...`. It makes a Plant of any message, also of one that the schema refuses (what
// the schema says, it does not say again); a Plant with refused findings is good for names, not
// for running.
func Compile(eq []*pb.Equipment) (*Plant, []*pb.Finding) {
	p := &Plant{byID: make(map[string]int, len(eq))}
	var found []*pb.Finding
	for i, message := range eq {
		id := message.GetEquipment()
		if first, ok := p.byID[id]; ok && id != "" {
			found = append(found, finding.Refuse("reference.duplicate", path(i, "equipment"),
				fmt.Sprintf("equipment %q is defined twice", id),
				fmt.Sprintf("it is already equipment[%d]; give this one another id", first)))
		} else if id != "" {
			p.byID[id] = i
		}
		p.add(id, message)
		found = append(found, checkDeEnergise(i, message)...)
		found = append(found, checkLift(i, message.GetLift())...)
	}
	return p, append(found, p.connect(eq)...)
}

func path(i int, field string) string { return fmt.Sprintf("equipment[%d].%s", i, field) }

// add appends one piece of equipment and lays out its inputs, signals and parts in the arenas.
func (p *Plant) add(id string, message *pb.Equipment) {
	m := machine{
		description: describe(message),
		id:          id,
		firstInput:  p.inputs,
		firstSignal: p.signals,
		firstTrack:  len(p.tracks),
	}
	names := message.GetDeenergiseToOperate()
	all := slices.Contains(names, "all")
	m.deEnergise = make([]bool, len(m.inputs))
	for k, in := range m.inputs {
		m.deEnergise[k] = all || slices.Contains(names, in.name)
		m.anyDeEnergise = m.anyDeEnergise || m.deEnergise[k]
		p.longestTime = max(p.longestTime, in.takes)
	}
	for range m.tracks {
		p.owner = append(p.owner, int32(len(p.machines)))
	}
	p.inputs += len(m.inputs)
	p.signals += len(m.signals)
	p.tracks = append(p.tracks, m.tracks...)
	p.machines = append(p.machines, m)
}

func checkDeEnergise(i int, message *pb.Equipment) []*pb.Finding {
	var found []*pb.Finding
	known := Inputs(message)
	names := message.GetDeenergiseToOperate()
	for k, name := range names {
		at := path(i, fmt.Sprintf("deenergise_to_operate[%d]", k))
		switch {
		case name == "all":
			if len(names) > 1 {
				found = append(found, finding.Warn("equipment.all-and-more", at,
					"`all` stands beside other inputs", "`all` already stands for every input; write it alone"))
			}
		case name == "alternate" && message.GetLift() != nil && message.GetLift().GetAlternateFloor() == "":
			found = append(found, finding.Refuse("reference.unknown", at,
				"the lift has no input \"alternate\"", "a lift has it only with an `alternate_floor`; give one or take the input out"))
		case len(known) > 0 && !slices.Contains(known, name):
			found = append(found, finding.Dangling(at, "input of this equipment", name, known))
		}
	}
	return found
}

func checkLift(i int, m *pb.Lift) []*pb.Finding {
	if m == nil {
		return nil
	}
	var found []*pb.Finding
	for _, named := range []struct{ field, floor string }{
		{"recall_floor", m.GetRecallFloor()},
		{"alternate_floor", m.GetAlternateFloor()},
		{"start_floor", m.GetStartFloor()},
	} {
		if named.floor != "" && !slices.Contains(m.GetFloors(), named.floor) {
			found = append(found, finding.Dangling(path(i, "lift."+named.field), "floor of this lift", named.floor, m.GetFloors()))
		}
	}
	if m.GetRecallFloor() != "" && m.GetRecallFloor() == m.GetAlternateFloor() {
		same := finding.Error("equipment.same-landing", path(i, "lift.alternate_floor"),
			fmt.Sprintf("both landings are floor %q", m.GetAlternateFloor()),
			"a fire at the recall floor must send the car elsewhere; name another alternate_floor, or none")
		same.Clause = "ASME A17.1 2.27.3.2"
		found = append(found, same)
	}
	return found
}

// connect resolves what trips cut. An edge that cannot stand is reported and left out.
func (p *Plant) connect(eq []*pb.Equipment) []*pb.Finding {
	var found []*pb.Finding
	for i, message := range eq {
		for k, name := range message.GetTrip().GetCuts() {
			at := path(i, fmt.Sprintf("trip.cuts[%d]", k))
			other, ok := p.byID[name]
			switch {
			case !ok:
				found = append(found, finding.Dangling(at, "equipment", name, p.ids()))
			case p.cutsThrough(other, i):
				found = append(found, finding.Refuse("equipment.cuts-itself", at,
					fmt.Sprintf("trip %q cuts its own power, directly or through another trip", message.GetEquipment()),
					"once open it could never close again; take one of the trips out of the circle"))
			case slices.Contains(p.machines[i].cuts, int32(other)):
				// Named twice, which the schema refuses.
			default:
				p.machines[i].cuts = append(p.machines[i].cuts, int32(other))
				p.machines[other].cutBy = append(p.machines[other].cutBy, int32(i))
			}
		}
	}
	return found
}

// cutsThrough tells whether equipment from is, or cuts through however many trips, equipment to.
func (p *Plant) cutsThrough(from, to int) bool {
	seen := make([]bool, len(p.machines))
	open := []int{from}
	for len(open) > 0 {
		e := open[len(open)-1]
		open = open[:len(open)-1]
		if e == to {
			return true
		}
		if seen[e] {
			continue
		}
		seen[e] = true
		for _, next := range p.machines[e].cuts {
			open = append(open, int(next))
		}
	}
	return false
}

func (p *Plant) ids() []string {
	var ids []string
	for e := range p.machines {
		if p.machines[e].id != "" {
			ids = append(ids, p.machines[e].id)
		}
	}
	return ids
}
