package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

const commonPractice = "common practice"

// Check judges the analysed program of a site. It adds nodes to the analysis's space.
func Check(site *pb.Site, a *Analysis) []*pb.Finding {
	j := &judge{Analysis: a, site: site, rules: rule.Of(site.GetRules()), paths: map[string]string{}}
	for l, loop := range site.GetLoops() {
		for d, device := range loop.GetDevices() {
			j.paths[device.GetLabel()] = fmt.Sprintf("loops[%d].devices[%d]", l, d)
		}
	}
	j.detections()
	j.releases()
	told := len(j.found)
	j.causes()
	j.actions()
	j.hidden()
	j.coincidences()
	j.callPoints()
	j.delays()
	j.resets()
	if err := a.Space.Err(); err != nil {
		j.found = j.found[:told] // what rests on a decision that was not made to its end
		j.found = append(j.found, Undecided(err))
	}
	return j.found
}

// Undecided notes that a program is too intricate to be decided whole.
func Undecided(err error) *pb.Finding {
	f := finding.Warn("program.undecided", "program", "the program is too intricate to be decided whole", err.Error()+": findings on what can never happen are missing")
	f.Severity, f.Clause = pb.Severity_SEVERITY_NOTE, commonPractice
	return f
}

// judge collects findings about one program.
type judge struct {
	*Analysis
	site  *pb.Site
	rules *rule.Set
	paths map[string]string // of devices, by label
	found []*pb.Finding

	supports [][]term.Fact // by cause, what it depends on; nil: not asked yet
}

// add puts the clause to a finding and keeps it.
func (j *judge) add(f *pb.Finding, clause string) {
	f.Clause = clause
	j.found = append(j.found, f)
}

// support lists what a cause depends on.
func (j *judge) support(cause int) []term.Fact {
	if j.supports == nil {
		j.supports = make([][]term.Fact, len(j.Causes))
	}
	if j.supports[cause] == nil {
		j.supports[cause] = j.Space.Support(j.Causes[cause])
	}
	return j.supports[cause]
}

// never tells that a condition can never hold; not past the limit of nodes.
func (j *judge) never(n bdd.Node) bool { return n == bdd.False && j.Space.Err() == nil }

// causePath is the field path of a cause's condition.
func causePath(i int) string { return fmt.Sprintf("program.causes[%d].when", i) }
