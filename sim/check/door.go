package check

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// series: a door of category A may have a second contact in series, which opens where a short bridges the first. A fire
// that operates one of them and leaves the other closed has nothing of it.
func (j *judge) series() {
	for e, m := range j.Message.GetEquipment() {
		hold, ok := j.Installation.Plant.InputIndex(e, "hold")
		if !ok || plant.DoorCategory(m) != "a" || !j.Installation.Plant.DeEnergise(e, hold) || len(j.drivers[e]) < 2 {
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

// locks: a locked way out is free no later than the people there are told to go, and stays free until reset. Where the file
// does not say on which floor the lock is, or no sounder is known to be there, only the second is judged.
func (j *judge) locks() {
	for e, m := range j.Message.GetEquipment() {
		if m.GetDoorLock() == nil {
			continue
		}
		var late, again []int32
		for i := range j.walks {
			w := &j.walks[i]
			free, ever, stays := time.Duration(0), false, false
			for _, o := range j.drivers[e] {
				if d, ok := w.first(o); ok && (!ever || d.at < free) {
					free, ever = d.at, true
				}
				_, stands := w.last(o)
				stays = stays || stands
			}
			if !ever {
				continue
			}
			if told, ok := j.toldToGo(w, m.GetPlace()); ok && told < free {
				late = append(late, w.point)
			}
			if !stays {
				again = append(again, w.point)
			}
		}
		path, clause := fmt.Sprintf("equipment[%d]", e), j.rules.Clause(rule.EgressLocks)
		if len(late) > 0 {
			j.add(finding.Error("lock.later-than-sounders", path, fmt.Sprintf("%q is let go after the sounders of its floor tell people to leave: %s", m.GetEquipment(), j.labels(late)),
				"whoever is told to go must be able to: operate it without a delay, or with the phase of its floor"), clause)
		}
		if len(again) > 0 {
			j.add(finding.Error("lock.locks-again", path, fmt.Sprintf("%q locks again while a fire stands: %s", m.GetEquipment(), j.labels(again)),
				"it is to stay free until somebody resets the panel: leave `for` out, or write `until: reset`"), clause)
		}
	}
}

// toldToGo is when a walk first lets a sounder evacuate the floor of a place.
func (j *judge) toldToGo(w *walk, place string) (at time.Duration, ok bool) {
	floor := ""
	for i, p := range j.Message.GetPlaces() {
		if p.GetPlace() == place {
			floor = j.floor(int32(i))
		}
	}
	for _, d := range w.demands {
		if out := &j.Installation.Outputs[d.output]; floor != "" && out.Sounder && out.Point >= 0 && d.state == term.Evacuate && j.floor(j.Installation.Points[out.Point].Place) == floor {
			return d.at, true // demands come in order of time
		}
	}
	return 0, false
}
