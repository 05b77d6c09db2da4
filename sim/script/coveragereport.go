package script

import (
	"fmt"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// Report is what was exercised so far, each thing with its place in the site file.
func (c *Coverage) Report(index *site.Index) *pb.PlayCoverage {
	out := &pb.PlayCoverage{}
	for _, s := range c.sorts {
		sort := &pb.CoveredSort{Sort: s.word}
		for _, t := range s.things {
			if t == nil || len(t.aspects) == 0 && len(t.seen) == 0 {
				continue
			}
			unseen := t.unseen()
			thing := &pb.CoveredThing{Name: t.name, Seen: t.seen, Unseen: unseen}
			if t.path != "" {
				at := &pb.Finding{Path: t.path}
				index.Place([]*pb.Finding{at})
				thing.Position = at.GetPosition()
			}
			sort.Aspects += int32(len(t.aspects))
			sort.Exercised += int32(len(t.aspects) - len(unseen))
			sort.Things = append(sort.Things, thing)
		}
		if len(sort.GetThings()) > 0 {
			out.Sorts = append(out.Sorts, sort)
		}
	}
	return out
}

// coverage writes what scenarios exercised: a line of figures for each sort of things, then what
// no scenario showed.
func (t *text) coverage(c *pb.PlayCoverage) {
	t.Line("")
	t.Line("exercised by these scenarios:")
	all := true
	for _, s := range c.GetSorts() {
		if s.GetAspects() == 0 {
			continue
		}
		t.Line("  %-10s %4d of %-4d %s", s.GetSort(), s.GetExercised(), s.GetAspects(), coverageWords[s.GetSort()])
		all = all && s.GetExercised() == s.GetAspects()
	}
	if all {
		t.Line("nothing was left out")
		return
	}
	t.Line("never seen:")
	for _, s := range c.GetSorts() {
		t.unseen(s)
	}
}

// unseen writes what of one sort was not seen. Things that can be seen in one way only share a line.
func (t *text) unseen(s *pb.CoveredSort) {
	head := fmt.Sprintf("  %-10s ", s.GetSort())
	var names []string
	for _, thing := range s.GetThings() {
		switch unseen := thing.GetUnseen(); {
		case len(unseen) == 0:
		case oneWay[s.GetSort()]:
			names = append(names, thing.GetName())
		default:
			t.Hang(head, thing.GetName()+": "+strings.Join(unseen, ", "))
		}
	}
	if len(names) > 0 {
		t.Hang(head, strings.Join(names, ", "))
	}
}

// oneWay are the sorts of things that can be seen in one way only.
var oneWay = map[string]bool{"controls": true, "modes": true, "keys": true, "faults": true}

// coverageWords say what is counted of each sort.
var coverageWords = map[string]string{
	"causes": "true and false", "actions": "active, and withheld by their own unless", "delays": "started, ended, cut short, held",
	"outputs": "in each state the program gives them", "equipment": "each input operated, and proven",
	"controls": "worked", "modes": "in force", "keys": "pressed", "faults": "raised", "detection": "confirmed, and dropped", "overrides": "moved",
}
