package check

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// coincidences looks at every gate of the causes that asks for two or more signals of fire: each must
// come from a device of its own, and none from a call point.
func (j *judge) coincidences() {
	for i := range j.Terms {
		counted := strings.Contains(j.file.GetCauses()[i].GetWhen(), "at_least")
		told := map[string]bool{}
		var walk func(t *term.Term, denied bool)
		walk = func(t *term.Term, denied bool) {
			if t.Op == term.AtLeast && t.N >= 2 && !denied {
				j.coincidence(i, t, counted, told)
			}
			for _, arg := range t.Args {
				walk(arg, denied != (t.Op == term.Not))
			}
		}
		walk(j.Terms[i], false)
	}
}

// coincidence judges one gate. An `and` that one device satisfies alone narrows where that device is, and
// counts nothing; at_least says in so many words that it counts.
func (j *judge) coincidence(cause int, gate *term.Term, counted bool, told map[string]bool) {
	var members []bdd.Node
	fires := map[int32]int{} // how many members a device makes true by itself
	var order []int32
	for _, arg := range gate.Args {
		node := j.Space.Term(arg)
		alone := false
		for _, f := range j.Space.Support(node) {
			if f.Kind != term.DeviceFire || !j.Space.Eval(node, only(f)) {
				continue
			}
			if fires[f.Index] == 0 {
				order = append(order, f.Index)
			}
			fires[f.Index]++
			alone = true
		}
		if alone {
			members = append(members, node)
		}
	}
	if len(members) < 2 {
		return
	}
	all := gate.N == len(gate.Args)
	for _, point := range order {
		if fires[point] == len(members) && all && !counted {
			return
		}
	}
	if all && !counted && j.shared(fires) {
		return // areas that overlap: some devices are meant to be in both
	}
	path := causePath(cause)
	for _, point := range order {
		label := j.World.Points[point].Label
		if fires[point] >= 2 && !told["twice"] {
			told["twice"] = true
			j.add(finding.Warn("program.coincidence-same-device", path, fmt.Sprintf("cause %q counts %q twice", j.cause(cause), label),
				fmt.Sprintf("%q alone makes %d of the members true, so that one device can stand for two: count distinct devices, with zone(..).detectors_in_fire >= %d or members that do not overlap", label, fires[point], gate.N)), commonPractice)
		}
		if j.World.Points[point].Input == term.CallPoint && !told["call point"] {
			told["call point"] = true
			j.add(finding.Warn("program.coincidence-call-point", path, fmt.Sprintf("cause %q counts the call point %q among its %d signals", j.cause(cause), label, gate.N),
				"somebody who presses a call point is sure already, and says nothing of where the fire is: count detectors_in_fire, and give call points a cause of their own"), commonPractice)
		}
	}
}

// shared tells whether some device makes more than one member true.
func (j *judge) shared(fires map[int32]int) bool {
	for _, n := range fires { // order does not show: any of them will do
		if n > 1 {
			return true
		}
	}
	return false
}

// only is the combination in which one fact holds, by day, with every switch at auto and every output at rest.
func only(fact term.Fact) func(term.Fact) bool {
	return func(f term.Fact) bool { return f == fact }
}
