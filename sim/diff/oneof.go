package diff

import (
	"fmt"
	"slices"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// order finds one_of sets whose effects stand in another order on the two sites, where two of them can be
// demanded at one instant: then the first in the file holds the set (rule E7).
func (d *decider) order() []*pb.Difference {
	var list []*pb.Difference
	for set := range int32(len(d.p.sets.toNew)) {
		other := d.p.sets.toNew[set]
		if other < 0 {
			continue
		}
		a, b := d.members(0, set), d.members(1, other)
		for i := range a {
			for k := i + 1; k < len(a); k++ {
				x, y := slices.IndexFunc(b, a[i].same), slices.IndexFunc(b, a[k].same)
				if x < 0 || y < 0 || x < y || d.f.and(a[i].claims, a[k].claims) == never {
					continue
				}
				diff := &pb.Difference{Kind: "order", Subjects: []string{a[i].id, a[k].id}, Known: decided,
					Title: fmt.Sprintf("of %s and %s, demanded at one instant, the other one holds %s", a[i].id, a[k].id, d.setName(set)), Old: a[i].id, New: b[y].id}
				if s := d.smallest(d.f.and(a[i].claims, a[k].claims)); s != nil {
					diff.Stimulus, diff.StimulusSize = d.p.text(s), int32(s.count())
				}
				diff.OldPosition = d.p.where(0, fmt.Sprintf("program.effects[%d]", a[i].number))
				diff.NewPosition = d.p.where(1, fmt.Sprintf("program.effects[%d]", b[y].number))
				list = append(list, diff)
			}
		}
	}
	return list
}

// member is one effect of a one_of set.
type member struct {
	id, key string
	number  int
	claims  function
}

func (m member) same(o member) bool { return m.key == o.key }

func (d *decider) members(s int, set int32) []member {
	var list []member
	program := d.p.built[s].Site.GetProgram()
	for i, e := range program.GetEffects() {
		if e.GetOneOf() != d.p.setNames[s][set] {
			continue
		}
		m := member{id: e.GetEffect(), number: i, key: d.p.effectKey(s, e, false)}
		m.claims = never
		for _, a := range program.GetActions() {
			if !slices.Contains(a.GetEffects(), e.GetEffect()) || a.GetState() == "off" {
				continue
			}
			for c, cause := range program.GetCauses() {
				if slices.Contains(a.GetCauses(), cause.GetCause()) {
					m.claims = d.f.or(m.claims, d.sides[s].when[c])
				}
			}
		}
		list = append(list, m)
	}
	return list
}
