package drill

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// bench is a drill that a test acts upon by steps, as a scenario does, and reads as the panel and as
// somebody at the devices would.
type bench struct {
	testing.TB
	*Drill
}

func newBench(t testing.TB, site *pb.Site) *bench {
	t.Helper()
	return &bench{t, New(planOf(t, site), 1)}
}

// do enters a step of a scenario.
func (b *bench) do(at time.Duration, step *pb.Step) {
	b.Helper()
	step.At = durationpb.New(at)
	act, found := b.plan.Resolve(step, "step")
	if len(found) > 0 {
		b.Fatalf("the step is refused: %v", found)
	}
	if err := b.Do(act); err != nil {
		b.Fatal(err)
	}
}

func (b *bench) repair(at time.Duration, name string) {
	b.Helper()
	b.do(at, &pb.Step{Kind: &pb.Step_Repair{Repair: &pb.RepairStep{Step: name}}})
}

func (b *bench) run(to time.Duration) {
	b.Helper()
	if err := b.RunUntil(to); err != nil {
		b.Fatal(err)
	}
}

// is evaluates an expectation's condition now.
func (b *bench) is(when string) bool {
	b.Helper()
	condition, problems := term.Parse(when, b.plan.World, term.Expectation)
	if len(problems) > 0 {
		b.Fatalf("%s: %v", when, problems)
	}
	return b.Holds(condition)
}

func (b *bench) want(when string) {
	b.Helper()
	if !b.is(when) {
		b.Errorf("at %v not: %s\n%s", b.Instant(), when, b.latest(12))
	}
}

// latest is the end of the log.
func (b *bench) latest(n int) string {
	out := ""
	events := b.log.Since(0)
	for k := range events[max(0, len(events)-n):] {
		e := &events[max(0, len(events)-n)+k]
		out += fmt.Sprintf("  %v %s\n", e.At, b.plan.Describe(e))
	}
	return out
}

// since is when an event of a kind and value about a subject first happened at or after an instant;
// subject "" means any.
func (b *bench) since(after time.Duration, kind sim.Kind, value int64, subject string) (time.Duration, bool) {
	for _, e := range b.log.Since(0) {
		if e.At >= after && e.Kind == kind && e.Value == value && (subject == "" || b.plan.SubjectOf(&e) == subject) {
			return e.At, true
		}
	}
	return 0, false
}

// chain is the kinds of the events that led to the first event of a kind and value.
func (b *bench) chain(kind sim.Kind, value int64) []string {
	for n := 1; n <= b.log.Len(); n++ {
		if e := b.log.Event(uint64(n)); e.Kind == kind && e.Value == value {
			var names []string
			for _, k := range b.Chain(uint64(n)) {
				names = append(names, KindName(b.log.Event(k).Kind))
			}
			return names
		}
	}
	return nil
}

// rooted checks that nothing happens of itself: the start of the run, stimuli, faults, repairs and
// operators have no cause, nor has a garbled reply; all else has one.
func rooted(t interface{ Errorf(string, ...any) }, d *Drill) {
	for _, e := range d.log.Since(0) {
		switch e.Kind {
		case Start, StimulusApplied, FaultInjected, FaultRepaired, Operated, ReplyGarbled:
		default:
			if e.Parent == 0 {
				t.Errorf("%v: %q follows from nothing", e.At, d.plan.Describe(&e))
			}
		}
	}
}

// missing is the labels of the points that the panel finds missing; unreachable those that do
// not answer. After a few rounds they must be the same.
func (b *bench) missing() []string {
	raised := map[int32]bool{}
	for _, e := range b.log.Since(0) {
		if e.Kind == MissingFault {
			raised[e.Subject] = e.Value == 1
		}
	}
	var labels []string
	for i := range b.plan.In.Points {
		if raised[int32(i)] {
			labels = append(labels, b.plan.In.Points[i].Label)
		}
	}
	return labels
}

func (b *bench) unreachable() []string {
	var labels []string
	for i := range b.plan.In.Points {
		if !b.Fact(term.Fact{Kind: term.DeviceReachable, Index: int32(i)}) {
			labels = append(labels, b.plan.In.Points[i].Label)
		}
	}
	return labels
}

// wantLost requires that the panel misses exactly these devices, and that they are exactly those
// that cannot be reached.
func (b *bench) wantLost(what string, labels []string) {
	b.Helper()
	if got := b.missing(); !slices.Equal(got, labels) {
		b.Errorf("%s: the panel misses %v, wanted %v", what, got, labels)
	}
	if got := b.unreachable(); !slices.Equal(got, labels) {
		b.Errorf("%s: unreachable are %v, wanted %v", what, got, labels)
	}
}
