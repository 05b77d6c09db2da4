package week

import (
	"testing"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// liar is a drill that does not tell the truth about one thing.
type liar struct {
	*drill.Drill
	point, output int32
	lie           string
	log           sim.Log
}

func (l *liar) Fact(f term.Fact) bool {
	is := l.Drill.Fact(f)
	switch {
	case l.lie == "forgotten" && f == fireOf(l.point): // a fire lasts while its detector is active
		return is && l.InputActive(l.point)
	case l.lie == "not taken" && f == fireOf(l.point):
		return false
	case l.lie == "still in test" && f == term.Fact{Kind: term.ZoneTest} && l.Instant() > day:
		return true
	}
	return is
}

func (l *liar) Output(o int32) term.State {
	if l.lie == "dead" && o == l.output {
		return term.Rest
	}
	return l.Drill.Output(o)
}

func (l *liar) Demanded(o int32) term.State {
	if l.lie == "not demanded" && o == l.output {
		return term.Rest
	}
	return l.Drill.Demanded(o)
}

// Log is the drill's own; with `orphan` an operation of the output has no parent.
func (l *liar) Log() *sim.Log {
	if l.lie != "orphan" {
		return l.Drill.Log()
	}
	l.log = sim.NewLog(l.Drill.Log().Len())
	for _, e := range l.Drill.Log().Since(0) {
		if e.Kind == drill.OutputOperated && e.Subject == l.output {
			e.Parent = 0
		}
		l.log.Add(e)
	}
	return &l.log
}

// Each invariant can break: a drill that lies is found out, by the invariant that its lie is against.
func TestLiesAreFound(t *testing.T) {
	built := open(t, demo)
	s := newSite(built.Plan(), built.Site)
	point, ok := s.plan.In.Point("G-SD-HALL-NORTH")
	output, ok2 := s.plan.In.Output("G-HALL-DOORS")
	if !ok || !ok2 {
		t.Fatal("the demo has other names")
	}
	for lie, invariant := range map[string]string{
		"forgotten": Fire, "not taken": Fire, "dead": Required, "not demanded": Required, "still in test": Rest, "orphan": Cause,
	} {
		found := false
		for seed := uint64(1); seed <= 20 && !found; seed++ {
			course := Draw(s.plan, built.Site, seed, 1)
			if lie == "orphan" { // which copies the log at every instant
				course.Steps = course.GetSteps()[:30]
			}
			result, err := run(s, course, func(d *drill.Drill) view { return &liar{Drill: d, point: point, output: output, lie: lie} })
			if err != nil {
				t.Fatal(err)
			}
			if v := result.Violation; v != nil {
				found = true
				if v.Invariant != invariant || v.Claim == "" && invariant != Cause {
					t.Errorf("%s: %v, claims %q", lie, v, v.Claim)
				}
			}
		}
		if !found {
			t.Errorf("%s: nobody notices", lie)
		}
	}
}
