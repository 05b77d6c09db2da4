package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// runSections numbers the sections between isolators from 0, which begins at the panel's first
// terminal, and tells in which each run of cable lies.
func runSections(m *pb.Loop, n *wire.Network) (of []int, count int) {
	devices := m.GetDevices()
	parent := make([]int32, len(devices))
	last := int32(-1) // of the chain
	for e := range devices {
		if devices[e].SpurFrom != nil {
			parent[e], _ = n.ByAddress(devices[e].GetSpurFrom())
		} else {
			parent[e], last = last, int32(e)
		}
	}
	beyond := make([]int, len(devices)) // an entry's far terminal; 0: not placed yet, else 1 more
	count = 1
	var place func(e int32) int
	place = func(e int32) int {
		switch {
		case e < 0:
			return 0
		case beyond[e] > 0:
			return beyond[e] - 1
		}
		s := place(parent[e])
		if n.HasIsolator(e) {
			s, count = count, count+1
		}
		beyond[e] = s + 1
		return s
	}
	for e := range int32(len(devices)) {
		place(e)
	}
	for e := range devices {
		of = append(of, place(parent[e]))
	}
	if n.Ring() {
		of = append(of, place(last))
	}
	return of, count
}

// spacing warns of too many devices without an isolator between them. A device with one inside stands
// between two sections: it is fed from whichever lives, so that no short takes it away, and it
// counts in neither.
func (j *judge) spacing(path string, l int) {
	n, limit := j.in.Loops[l].Wire, j.rules.Of(rule.IsolatorSpacing)
	of, count := runSections(j.site.GetLoops()[l], n)
	devices, first := make([]int, count), make([]int32, count)
	for e := range int32(n.Entries()) {
		if s := of[e]; n.IsDevice(e) && !n.HasIsolator(e) {
			if devices[s]++; devices[s] == 1 {
				first[s] = e
			}
		}
	}
	for s := range devices {
		if float64(devices[s]) <= limit.Value {
			continue
		}
		j.add(finding.Warn("wiring.isolator-spacing", fmt.Sprintf("%s.devices[%d]", path, first[s]),
			fmt.Sprintf("%d devices from %q on have no isolator between them; the limit is %g", devices[s], n.Label(first[s]), limit.Value),
			"one short takes all of them away: put an isolator in their middle; "+replaceable(limit)), limit.Source())
	}
}
