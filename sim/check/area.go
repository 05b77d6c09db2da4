package check

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// ownAreas: whoever presses a call point must hear it where he stands. Where the file says that sounders are in the same place,
// and one signal of some other input operates them, one of them must follow at once. A call point after which nothing
// sounds at once anywhere is the program's own finding.
func (j *judge) ownAreas() {
	var deaf []int32
	used := make([]bool, len(j.Installation.Outputs))
	for i := range j.walks {
		for _, d := range j.walks[i].demands {
			used[d.output] = true
		}
	}
	for i := range j.walks {
		w := &j.walks[i]
		pt := &j.Installation.Points[w.point]
		if pt.Input != loop.CallPoint || pt.Place < 0 {
			continue
		}
		there, here, elsewhere := false, false, false
		for o := range j.Installation.Outputs {
			out := &j.Installation.Outputs[o]
			if !out.Sounder || !used[o] {
				continue
			}
			sounds := w.at(int32(o), 0) != term.Rest
			if out.Point >= 0 && j.Installation.Points[out.Point].Place == pt.Place {
				there, here = true, here || sounds
			} else {
				elsewhere = elsewhere || sounds
			}
		}
		if there && !here && elsewhere {
			deaf = append(deaf, w.point)
		}
	}
	if len(deaf) > 0 {
		j.add(finding.Warn("program.call-point-unheard", j.path(deaf[0]), "a call point sounds elsewhere at once, and not where it is: "+j.labels(deaf),
			"let the sounders of its own place follow it without a delay"), j.rules.Source(rule.CallPointTarget))
	}
}

// strays: of the detectors of one place all are in one zone but a single one, whose zone is otherwise one of other places:
// whoever reads that zone at the panel searches in the wrong place.
func (j *judge) strays() {
	for place, m := range j.Message.GetPlaces() {
		zones := map[int32][]int32{} // of the place, its detectors by zone
		for p := range j.Installation.Points {
			if pt := &j.Installation.Points[p]; j.detector(int32(p)) && int(pt.Place) == place && pt.Zone >= 0 {
				zones[pt.Zone] = append(zones[pt.Zone], int32(p))
			}
		}
		if len(zones) != 2 || upright(m.GetUse()) {
			continue
		}
		for z := range int32(len(j.Installation.Zones)) {
			if len(zones[z]) != 1 {
				continue
			}
			stray := zones[z][0]
			inPlace, abroad := 0, 0
			for p := range j.Installation.Points {
				switch pt := &j.Installation.Points[p]; {
				case !j.detector(int32(p)):
				case int(pt.Place) == place:
					inPlace++
				case pt.Zone == z && pt.Place >= 0:
					abroad++
				}
			}
			if inPlace > 3 && abroad > 1 {
				j.add(finding.Warn("zone.stray-detector", j.path(stray)+".zone", fmt.Sprintf("%q is the only detector of %q in zone %q", j.label(stray), m.GetPlace(), j.Installation.Zones[z]),
					"the others of its place are in one zone, and the others of its zone in other places: one of the two is probably written wrongly"), commonPractice+": a zone tells where to search")
			}
		}
	}
}

// detector tells whether a point is a detector.
func (j *judge) detector(point int32) bool {
	return strings.HasSuffix(string(j.Installation.Points[point].Kind), "_detector")
}
