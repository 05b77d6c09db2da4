package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// series: a door of category A may have a second contact in series, which opens where a short bridges the first. A fire
// that operates one of them and leaves the other closed has nothing of it.
func (j *judge) series() {
	for e, m := range j.Message.GetEquipment() {
		hold, ok := j.Installation.Plant.InputIndex(e, "hold")
		if !ok || categoryOf(m) != "a" || !j.Installation.Plant.DeEnergise(e, hold) || len(j.drivers[e]) < 2 {
			continue
		}
		idle := map[int32][]int32{} // by output, the fires that leave it closed
		for i := range j.walks {
			w := &j.walks[i]
			var closed []int32
			for _, o := range j.drivers[e] {
				if w.at(o, j.walker.horizon) == term.Rest {
					closed = append(closed, o)
				}
			}
			if j.Installation.Points[w.point].Input == loop.Supervisory || len(closed) == len(j.drivers[e]) {
				continue
			}
			for _, o := range closed {
				idle[o] = append(idle[o], w.point)
			}
		}
		for _, o := range j.drivers[e] {
			if len(idle[o]) > 0 {
				out := &j.Installation.Outputs[o]
				j.add(finding.Warn("contact.short-holds", out.Path, fmt.Sprintf("%q stays closed, so that a short of another wire holds %q: %s", out.Label, m.GetEquipment(), j.labels(idle[o])),
					"category A is to let go under a short too: let the same causes operate every contact of the series"), "BS 7273-4, category A")
			}
		}
	}
}

// categoryOf is the category of BS 7273-4 of a door; empty where none is written, or no door.
func categoryOf(m *pb.Equipment) string {
	if d := m.GetDoorHolder(); d != nil {
		return d.GetCategory()
	}
	return m.GetDoorLock().GetCategory()
}
