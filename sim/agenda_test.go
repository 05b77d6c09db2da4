package sim

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// entry is an appointment as a plain list keeps it.
type entry struct {
	at     time.Duration
	phase  Phase
	source int
}

func compareEntries(a, b entry) int {
	return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.phase, b.phase), cmp.Compare(a.source, b.source))
}

func popAll(a *Agenda) []entry {
	var all []entry
	for {
		source, at, phase, ok := a.Pop()
		if !ok {
			return all
		}
		all = append(all, entry{at, phase, source})
	}
}

// The order of events is (time, phase, source), whoever scheduled first.
func TestOrderDoesNotDependOnWhoScheduledFirst(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		n := 1 + r.IntN(40)
		want := make([]entry, n)
		for i := range want {
			want[i] = entry{time.Duration(r.IntN(4)), Phase(r.IntN(int(phases))), i}
		}
		a, b := NewAgenda(n), NewAgenda(n)
		for _, e := range want {
			a.Set(e.source, e.at, e.phase)
		}
		for _, i := range r.Perm(n) {
			b.Set(want[i].source, want[i].at, want[i].phase)
		}
		slices.SortFunc(want, compareEntries)
		if got := popAll(a); !slices.Equal(got, want) {
			t.Fatalf("in file order: got %v, want %v", got, want)
		}
		if got := popAll(b); !slices.Equal(got, want) {
			t.Fatalf("in another order: got %v, want %v", got, want)
		}
	}
}

// Against a plain sorted list: set, replace, clear, pop, in any order, with a copy on the way.
func TestAgendaAgainstAList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const n = 8
		a := NewAgenda(n)
		list := map[int]entry{}
		now := entry{}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0, 1:
				e := entry{now.at + time.Duration(rapid.IntRange(0, 3).Draw(t, "later")), Phase(rapid.IntRange(0, int(phases)-1).Draw(t, "phase")), rapid.IntRange(0, n-1).Draw(t, "source")}
				if e.at == now.at && e.phase < now.phase {
					e.phase = now.phase
				}
				a.Set(e.source, e.at, e.phase)
				list[e.source] = e
			case 2:
				source := rapid.IntRange(0, n-1).Draw(t, "source")
				a.Clear(source)
				delete(list, source)
			default:
				copied := &Agenda{}
				copied.CopyFrom(a)
				a = copied
				source, at, phase, ok := a.Pop()
				if !ok != (len(list) == 0) {
					t.Fatalf("pop says %v of a list of %d", ok, len(list))
				}
				if !ok {
					continue
				}
				want := entry{at, phase, source}
				for _, e := range list {
					if compareEntries(e, want) < 0 {
						t.Fatalf("popped %v before %v", want, e)
					}
				}
				if list[source] != want {
					t.Fatalf("popped %v, the list has %v", want, list[source])
				}
				delete(list, source)
				now = want
			}
		}
	})
}

// An event schedules only into its own or a later phase of its instant, or later.
func TestNothingIsScheduledIntoThePast(t *testing.T) {
	panics := func(what string, f func()) {
		t.Helper()
		defer func() {
			if recover() == nil {
				t.Errorf("%s does not panic", what)
			}
		}()
		f()
	}
	at := func() *Agenda {
		a := NewAgenda(2)
		a.Set(0, 5, Logic)
		a.Pop()
		return a
	}
	panics("an earlier instant", func() { at().Set(1, 4, Check) })
	panics("an earlier phase of the same instant", func() { at().Set(1, 5, Line) })
	panics("going back", func() { at().Skip(4, Check) })
	panics("passing over an event", func() {
		a := at()
		a.Set(1, 6, Stimulus)
		a.Skip(7, Check)
	})
	a := at()
	a.Set(1, 5, Logic) // its own phase
	a.Set(0, 5, Plant) // a later one
	a.Skip(5, Logic)
	if source, _, phase, _ := a.Pop(); source != 1 || phase != Logic {
		t.Errorf("source %d in phase %v came first", source, phase)
	}
}

// A copy goes on by itself.
func TestAgendaCopyIsIndependent(t *testing.T) {
	a, b := NewAgenda(3), &Agenda{}
	a.Set(0, 1, Line)
	b.CopyFrom(a)
	b.Set(0, 9, Line)
	b.Set(1, 2, Line)
	if _, at, _, _ := a.Peek(); at != 1 {
		t.Errorf("the original has moved to %v", at)
	}
	if got := popAll(b); len(got) != 2 || got[0].at != 2 {
		t.Errorf("the copy goes on with %v", got)
	}
}
