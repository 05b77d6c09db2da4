package wire

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// settled works out who is fed by the rule alone: every isolator that borders a shorted section is
// open, all others are closed; what then reaches a driven terminal with both cores is fed. It
// shares nothing with the package but the naive circuit of the tests.
func settled(n *Network, from *State) map[int32]bool {
	s := &State{iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries)), faults: from.faults, far: n.ring}
	s.work.off = make([]bool, len(n.entries))
	for i := range s.iso {
		s.iso[i].stuck = from.iso[i].stuck
		s.iso[i].open = s.iso[i].stuck == StuckOpen
	}
	for e := range s.dev {
		s.dev[e].out = from.dev[e].out
	}
	c := naive(n, s)
	intact := map[[2]string]bool{} // negative stretches
	for _, x := range c.elements {
		if x.a[0] == 'n' && x.b[0] == 'n' {
			intact[[2]string{x.a[1:], x.b[1:]}] = true
		}
	}
	switches := map[[2]string]int{}
	for e := range n.entries {
		if i := n.entries[e].iso; i >= 0 && s.iso[i].stuck != StuckClosed {
			switches[[2]string{fmt.Sprintf("e%d", e), fmt.Sprintf("f%d", e)}] = int(i)
		}
	}
	section := &circuit{joints: map[string]string{}}
	var shorted []string
	for _, x := range c.elements {
		a, b := x.a[1:], x.b[1:]
		switch {
		case x.a[0] == 'p' && x.b[0] == 'n':
			if x.siemens > 0.5 {
				shorted = append(shorted, a)
			}
		case x.a[0] == 'p' && x.b[0] == 'p' && intact[[2]string{a, b}]:
			if _, isolates := switches[[2]string{a, b}]; !isolates {
				section.joints[section.root(a)] = section.root(b)
			}
		}
	}
	open := func(i int, at string) {
		for _, x := range shorted {
			if section.root(x) == section.root(at) && s.iso[i].stuck == Free {
				s.iso[i].open = true
			}
		}
	}
	for ends, i := range switches { // order does not show: each only opens its own
		open(i, ends[0])
		open(i, ends[1])
	}
	open(terminalA, "a")
	if n.ring {
		open(farEnd, "b")
	}
	c = naive(n, s)
	reached, fed := c.reach(), map[int32]bool{}
	for e := range n.entries {
		for _, at := range []string{fmt.Sprintf("e%d", e), c.beyond[int32(e)]} {
			if reached["p"+at] && reached["n"+at] {
				fed[int32(e)] = true
			}
		}
	}
	return fed
}

// Whatever is done to a loop that its supply can carry, in whatever order and however fast: once
// nothing is due any more, those are fed whom the settled rule feeds; and when all is
// repaired, all are.
func TestSettles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 9))
		l := randomLoop(r, 20)
		l.Driver = &pb.Driver{VoltageV: proto.Float64(28), CurrentLimitMa: new(300 + 1000*r.Float64())}
		l.Cable = &pb.Cable{OhmPerKm: new(1 + 10*r.Float64())}
		n, found := Compile("loops[0]", l, nil)
		if len(found) > 0 {
			t.Fatalf("%v", found)
		}
		s := n.NewState()
		log := &recorder{}
		now := time.Duration(0)
		step := func(d time.Duration) {
			for end := now + d; now < end; { // the panel looks every 3 s
				now = min(end, now.Truncate(3*time.Second)+3*time.Second)
				n.Advance(s, now, log)
				if now%(3*time.Second) == 0 {
					if !n.Continuity(s) {
						n.DriveFarEnd(s, now, true, 1, log)
					} else if s.Faults() == 0 {
						n.DriveFarEnd(s, now, false, 1, log)
					}
				}
			}
		}
		check := func() {
			step(2 * time.Minute)
			if next, due := n.Next(s); due {
				t.Fatalf("not at rest after two minutes: next at %v", next)
			}
			want := settled(n, s)
			for e := range n.entries {
				if n.entries[e].device && n.Fed(s, int32(e)) != want[int32(e)] {
					t.Fatalf("%s is fed: %v, by the rule %v; ring %v, faults %+v", n.Label(int32(e)), !want[int32(e)], want[int32(e)], n.ring, s.faults)
				}
			}
		}
		// Not both at once: beside a core broken alone a short draws its current through two
		// sections, and which of them counts as shorted is not for the rule to say.
		// Nor more than two such breaks, or an isolator stuck open beside them: a third could leave
		// a section between isolators that have no voltage to close with, which the rule takes for closed.
		shorts, single := r.IntN(3) > 0, 0
		var numbers []int32
		var stuck []int32
		for range 1 + r.IntN(6) {
			switch {
			case len(numbers) > 0 && r.IntN(3) == 0:
				k := r.IntN(len(numbers))
				n.Repair(s, now, numbers[k], 1, log)
				numbers = append(numbers[:k], numbers[k+1:]...)
			case r.IntN(5) == 0 && shorts && len(n.iso) > panelTerminals:
				e := n.iso[panelTerminals+r.IntN(len(n.iso)-panelTerminals)].entry
				n.Stick(s, now, e, Position(r.IntN(3)), 1, log)
				stuck = append(stuck, e)
			case r.IntN(6) == 0:
				if e := int32(r.IntN(n.Entries())); n.IsDevice(e) {
					n.TakeOut(s, now, e, r.IntN(3) > 0, 1, log)
				}
			default:
				f := randomFault(r, n)
				if f.Kind == Earth {
					f.Kind = Break
				}
				switch {
				case f.Kind == Short && shorts:
					f.Ohm = r.Float64()
				case f.Kind == Reversed && shorts:
				case f.Kind == Short || f.Kind == Reversed:
					f.Kind, f.Core = Break, Both
				case f.Kind == Break && (shorts || single == 2):
					f.Core = Both
				}
				if f.Kind == Break && f.Core != Both {
					single++
				}
				numbers = append(numbers, n.Place(s, now, f, 1, log))
			}
			step([]time.Duration{0, 2 * time.Millisecond, 60 * time.Millisecond, 250 * time.Millisecond, time.Second}[r.IntN(5)])
			if r.IntN(3) == 0 {
				check()
			}
		}
		check()
		if log.count > 4000 {
			t.Fatalf("%d changes: chatter", log.count)
		}
		for _, k := range numbers {
			n.Repair(s, now, k, 1, log)
		}
		for _, e := range stuck {
			n.Stick(s, now, e, Free, 1, log)
		}
		for e := range int32(n.Entries()) {
			n.TakeOut(s, now, e, false, 1, log)
		}
		check()
		for i := range s.iso {
			if s.iso[i].open != (i == farEnd) {
				t.Fatalf("isolator %d is open: %v, although all is repaired", i, s.iso[i].open)
			}
		}
		for e := range n.entries {
			if n.entries[e].device && !n.Fed(s, int32(e)) {
				t.Fatalf("%s is not fed although all is repaired", n.Label(int32(e)))
			}
		}
	})
}

// recorder counts what happens.
type recorder struct{ count uint64 }

func (r *recorder) Note(Change) uint64 {
	r.count++
	return r.count
}

// The survey, which places faults by the rule, and the loop in time agree on who is lost, run by
// run.
func TestSurvey(t *testing.T) {
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 11))
		l := randomLoop(r, 16)
		l.Driver = &pb.Driver{VoltageV: proto.Float64(28), CurrentLimitMa: proto.Float64(1000)}
		l.Cable = &pb.Cable{OhmPerKm: proto.Float64(10)}
		n := build(t, l)
		v := n.Survey()
		for run := range int32(n.Runs()) {
			for _, kind := range []FaultKind{Break, Short} {
				b := newBench(t, n)
				n.Place(b.s, 0, Fault{Kind: kind, Run: run, At: 0.5}, 1, b)
				b.run(3 * time.Second)
				b.look()
				b.run(time.Minute)
				var want []int32
				for e := range int32(n.Entries()) {
					if n.IsDevice(e) && !n.Fed(b.s, e) {
						want = append(want, e)
					}
				}
				if got := v.Lost(kind, run, nil); !slices.Equal(got, want) {
					t.Fatalf("seed %d, fault %d in run %d: the survey loses %v, the loop %v", seed, kind, run, got, want)
				}
			}
		}
	}
}
