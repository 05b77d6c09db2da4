package week

import (
	"cmp"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// shrinkRuns is the greatest number of runs that one shrinking makes.
const shrinkRuns = 4000

// Shrink makes weeks in which an invariant breaks as small as it can: first it leaves out steps, by
// delta debugging (ever smaller parts of the list, as long as the same invariant breaks for the same
// thing), then it moves what is left together and to round times. It returns a scenario that claims
// what the invariant says, and so fails, and how the invariant breaks in it.
func Shrink(plan *drill.Plan, m *pb.Site, weeks *pb.Scenario, first *Violation) (*pb.Scenario, *Violation) {
	s := &shrinking{site: newSite(plan, m), weeks: weeks, best: first}
	s.steps = slices.DeleteFunc(slices.Clone(weeks.GetSteps()), func(step *pb.Step) bool { return step.GetAt().AsDuration() > first.At })
	s.leaveOut()
	s.moveTogether()
	s.leaveOut() // a step that mattered for its time may not matter any more
	return s.scenario(), s.best
}

// shrinking is one search.
type shrinking struct {
	*site
	weeks *pb.Scenario
	steps []*pb.Step
	best  *Violation // of steps
	runs  int
}

// breaks tries steps, and keeps them if the same invariant breaks for the same thing.
func (s *shrinking) breaks(steps []*pb.Step) bool {
	if s.runs++; s.runs > shrinkRuns {
		return false
	}
	result, err := run(s.site, &pb.Scenario{Seed: s.weeks.GetSeed(), Begins: s.weeks.GetBegins(), Steps: steps}, honest)
	if err != nil || result.Violation == nil {
		return false
	}
	v := result.Violation
	if v.Invariant != s.best.Invariant || v.Subject != s.best.Subject {
		return false
	}
	s.steps, s.best = steps, v
	return true
}

// leaveOut is delta debugging: it drops one part of the list after another, of half the list to begin
// with, of one step in the end, until no single step can be left out.
func (s *shrinking) leaveOut() {
	for size := max(1, len(s.steps)/2); ; {
		dropped := false
		for from := 0; from < len(s.steps); {
			to := min(from+size, len(s.steps))
			if s.breaks(sound(slices.Concat(s.steps[:from], s.steps[to:]))) {
				dropped = true
				continue
			}
			from = to
		}
		if !dropped && size == 1 || s.runs > shrinkRuns {
			return
		}
		if !dropped {
			size /= 2
		}
	}
}

// sound drops repairs of faults that are not there any more.
func sound(steps []*pb.Step) []*pb.Step {
	names := map[string]bool{}
	return slices.DeleteFunc(slices.Clone(steps), func(step *pb.Step) bool {
		if step.GetRepair() != nil {
			return !names[step.GetRepair().GetStep()]
		}
		names[step.GetStep()] = true
		return false
	})
}

// gaps are the times between steps that are tried, shortest first.
var gaps = []time.Duration{0, time.Second, 10 * time.Second, time.Minute, 10 * time.Minute, time.Hour}

// moveTogether makes the time before each step as short and as round as it can be.
func (s *shrinking) moveTogether() {
	for i := range s.steps {
		var before time.Duration
		if i > 0 {
			before = s.steps[i-1].GetAt().AsDuration()
		}
		gap := s.steps[i].GetAt().AsDuration() - before
		tries := append(slices.Clone(gaps), gap.Truncate(time.Minute), gap.Truncate(time.Second))
		for _, shorter := range tries {
			if shorter < gap && (i > 0 || shorter > 0) && s.breaks(s.earlier(i, gap-shorter)) {
				break
			}
		}
		if i >= len(s.steps) {
			return
		}
	}
}

// earlier moves step i and all behind it.
func (s *shrinking) earlier(i int, by time.Duration) []*pb.Step {
	moved := slices.Clone(s.steps)
	for j := i; j < len(moved); j++ {
		moved[j] = proto.CloneOf(moved[j])
		moved[j].At = durationpb.New(moved[j].GetAt().AsDuration() - by)
	}
	slices.SortStableFunc(moved, func(a, b *pb.Step) int { return cmp.Compare(a.GetAt().AsDuration(), b.GetAt().AsDuration()) })
	return moved
}

// scenario is what was found, with the claim of the invariant.
func (s *shrinking) scenario() *pb.Scenario {
	return &pb.Scenario{
		Scenario: s.weeks.GetScenario() + ", shrunk: " + s.best.Invariant, Seed: s.weeks.GetSeed(), Begins: s.weeks.GetBegins(), Steps: s.steps,
		Expect: []*pb.Expectation{{At: durationpb.New(s.best.At), That: s.best.Claim, Note: s.best.Text}},
	}
}
