package circuit

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// six is a circuit with six sounders of 30 mA, 20 m apart, on 1.5 mm2 (12.1 ohm/km), and isolators
// in those that are named.
func six(wiring string, isolators ...int) *pb.Circuit {
	var loads []*pb.Load
	for i := range 6 {
		l := sounder(20, 30)
		l.Isolator = slices.Contains(isolators, i)
		loads = append(loads, l)
	}
	if wiring == "ring" {
		return ring(12.1, 4700, 20, loads...)
	}
	return branch(12.1, 4700, loads...)
}

// Class X of NFPA 72 chapter 12: a short silences the section between two isolators and nothing
// else; an open nothing; a ground nothing, and two on opposite cores the section of the positive one,
// in which core the isolators are (rule H2). At rest every fault is trouble, and the circuit may be
// energised in spite of it.
func TestClassX(t *testing.T) {
	all := []int{0, 1, 2, 3, 4, 5}
	for _, c := range []struct {
		name      string
		isolators []int
		fault     func(s *State)
		verdict   Verdict
		works     []int
	}{
		{"healthy", []int{1, 3}, func(*State) {}, Normal, all},
		{"open", []int{1, 3}, func(s *State) { s.Break(3, Both) }, Open, all},
		{"open of one core", []int{1, 3}, func(s *State) { s.Break(3, Positive) }, Open, all},
		{"ground", []int{1, 3}, func(s *State) { s.SetEarth(3, Positive, 0) }, Earth, all},
		{"short before the first isolator", []int{1, 3}, func(s *State) { s.SetShort(0, 0) }, Short, []int{1, 2, 3, 4, 5}},
		{"short between the two", []int{1, 3}, func(s *State) { s.SetShort(2, 0) }, Short, []int{0, 1, 3, 4, 5}},
		{"short in the return", []int{1, 3}, func(s *State) { s.SetShort(6, 0) }, Short, []int{0, 1, 2, 3}},
		{"short beside a load with an isolator in each neighbour", []int{2, 3}, func(s *State) { s.SetShort(3, 0) }, Short, all},
		{"an isolator in every load", all, func(s *State) { s.SetShort(4, 0) }, Short, all},
		{"shorts of two sections", []int{1, 3, 4}, func(s *State) { s.SetShort(0, 0); s.SetShort(6, 0) }, Short, nil},
		{"shorts of two neighbouring sections", []int{1, 3}, func(s *State) { s.SetShort(0, 0); s.SetShort(3, 0) }, Short, []int{3, 4, 5}},
		{"short and open elsewhere", []int{1, 3}, func(s *State) { s.SetShort(2, 0); s.Break(5, Both) }, Short, []int{0, 1, 5}},
		{"short and open between it and the return", []int{1, 3}, func(s *State) { s.SetShort(0, 0); s.Break(4, Both) }, Short, []int{4, 5}},
		{"short beyond an open of its own section", []int{1, 4}, func(s *State) { s.SetShort(4, 0); s.Break(2, Both) }, Open, []int{0, 1, 4, 5}},
		{"short of 20 ohm", []int{1, 3}, func(s *State) { s.SetShort(2, 20) }, Short, []int{0, 1, 3, 4, 5}}, // 1 A beside 0.18 A
		{"short of 1 kohm", []int{1, 3}, func(s *State) { s.SetShort(2, 1000) }, Short, all},                // 20 mA beside 180 mA
		{"grounds on opposite cores of one section", []int{1, 3}, func(s *State) { s.SetEarth(2, Positive, 0); s.SetEarth(3, Negative, 0) }, Short, []int{0, 1, 3, 4, 5}},
		{"grounds on opposite cores of two sections", []int{1, 3}, func(s *State) { s.SetEarth(0, Negative, 0); s.SetEarth(3, Positive, 0) }, Short, []int{0, 1, 3, 4, 5}},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, six("ring", c.isolators...))
			if class := b.c.Class(); class != "x" {
				t.Errorf("class %s", class)
			}
			c.fault(b.s)
			r := b.rest()
			if r.Verdict != c.verdict || !b.c.MayEnergise(r.Verdict) {
				t.Errorf("reads %v, may be energised %v; want %v", r.Verdict, b.c.MayEnergise(r.Verdict), c.verdict)
			}
			o := b.active(startNFPA)
			if !slices.Equal(b.works(), c.works) {
				t.Errorf("work: %v, want %v (%+v, %+v)", b.works(), c.works, o, b.w.feed)
			}
			if o.Collapsed || o.MicroA > 2*b.c.RatedMicroA() {
				t.Errorf("the supply is asked for %+v", o)
			}
		})
	}
}

// On a branch an isolator saves what lies before it in an alarm, and the circuit is held off if it
// reads shorted at rest: its class is B (common practice; only class X promises more).
func TestIsolatorsOnBranch(t *testing.T) {
	b := newBench(t, six("branch", 1, 3))
	b.s.SetShort(3, 0)
	if r := b.rest(); r.Verdict != Short || b.c.MayEnergise(r.Verdict) || b.c.Class() != "b" {
		t.Errorf("%+v, class %s", r, b.c.Class())
	}
	b.active(24)
	if got := b.works(); !slices.Equal(got, []int{0, 1}) {
		t.Errorf("work: %v", got)
	}
}

// What one fault loses is found by placing each short and each break, and is what the circuit says
// of itself.
func TestWhatOneFaultLoses(t *testing.T) {
	for _, c := range []struct {
		circuit *pb.Circuit
		class   string
	}{
		{six("branch"), "b"}, {six("branch", 2), "b"}, {six("ring"), "a"}, {six("ring", 2), "x"}, {six("ring", 0, 1, 4), "x"}, {six("ring", 0, 1, 2, 3, 4, 5), "x"}, {six("ring", 5), "x"},
	} {
		b := newBench(t, c.circuit)
		most := map[string]int{}
		for run := range b.c.runs {
			for _, fault := range []string{"short", "break"} {
				b.c.Heal(b.s)
				if fault == "short" {
					b.s.SetShort(run, 0)
				} else {
					b.s.Break(run, Both)
				}
				works := 0
				if b.c.MayEnergise(b.rest().Verdict) {
					b.active(24)
					works = len(b.works())
				}
				most[fault] = max(most[fault], b.c.Len()-works)
			}
		}
		if most["short"] != b.c.LostToShort() || most["break"] != b.c.LostToBreak() || b.c.Class() != c.class {
			t.Errorf("%v: class %s, loses at most %d and %d; by trying %v", c.circuit, b.c.Class(), b.c.LostToShort(), b.c.LostToBreak(), most)
		}
	}
}

// Random dead shorts and breaks on rings with isolators, against the rule worked out by walking the
// cable from either end (NFPA 72 chapter 12; rule H5): a walk goes on to the next section unless
// it would reach a short there, and ends at a break. Works whatever a walk reaches.
func TestIsolatorsAgainstWalk(t *testing.T) {
	random := rand.New(rand.NewPCG(12, 72))
	n := dice(random.IntN)
	lost := 0
	for range 2000 {
		var loads []*pb.Load
		for range 1 + n(9) {
			l := sounder(n.pick(1, 20), 30)
			l.Isolator = n(2) == 0
			loads = append(loads, l)
		}
		loads[n(len(loads))].Isolator = true
		b := newBench(t, ring(12.1, 4700, 20, loads...))
		short, broken := make([]bool, len(b.c.runs)), make([]bool, len(b.c.runs))
		for range n(5) {
			if run := n(len(b.c.runs)); n(2) == 0 && !broken[run] {
				short[run] = true
				b.s.SetShort(run, 0)
			} else if !short[run] { // in the middle both are one place
				broken[run] = true
				b.s.Break(run, Both)
			}
		}
		b.active(24)
		reached := make([]bool, len(loads))
		walk(loads, short, broken, func(load int) { reached[load] = true })
		slices.Reverse(loads)
		slices.Reverse(short)
		slices.Reverse(broken)
		walk(loads, short, broken, func(load int) { reached[len(loads)-1-load] = true })
		var want []int
		for i := range reached {
			if reached[i] {
				want = append(want, i)
			}
		}
		lost += len(loads) - len(want)
		if got := b.works(); !slices.Equal(got, want) {
			t.Fatalf("isolators %s, shorts %v, breaks %v from the return on: work %v, by walking %v (%+v)", marks(loads), short, broken, got, want, b.w.feed)
		}
	}
	if lost < 1000 {
		t.Errorf("only %d loads were ever lost", lost)
	}
}

// walk visits the loads that are fed from the first end.
func walk(loads []*pb.Load, short, broken []bool, fed func(load int)) {
	for from := 0; from < len(short); {
		end := from // of the section: the run whose load has an isolator, or the last
		for end < len(loads) && !loads[end].GetIsolator() {
			end++
		}
		for run := from; run <= end && !broken[run]; run++ {
			if short[run] {
				return
			}
		}
		for run := from; run <= end; run++ {
			if broken[run] {
				return
			}
			if run < len(loads) {
				fed(run)
			}
		}
		from = end + 1
	}
}

func marks(loads []*pb.Load) (text string) {
	for _, l := range loads {
		text += fmt.Sprint(l.GetIsolator(), " ")
	}
	return text
}

// A short at the end of a long way takes less than the loads near the module do, and the isolator
// before it stands at 18 V: isolators know it by what it leaves of the voltage at its place (24 V over
// 36 ohm: 0.66 A beside 1 A).
func TestShortFarAway(t *testing.T) {
	loads := []*pb.Load{sounder(1, 1000), sounder(50, 10), sounder(300, 10)}
	for _, l := range loads {
		l.Isolator = true
	}
	b := newBench(t, ring(90, 4700, 400, loads...))
	b.s.SetShort(2, 0)
	o := b.active(24)
	if got := b.works(); !slices.Equal(got, []int{0, 1, 2}) || o.MicroA > 1_020_000+1 {
		t.Errorf("work: %v (%+v)", got, o)
	}
}

// A short of so many ohms that it leaves the isolators beside it their voltage is suffered as long as the circuit takes
// at most twice its rated current; above that a section is cut off, as isolators that watch their current do
// (rule I6, common practice). Six sounders of 30 mA are rated 180 mA, and 24 V over the ohms come on top.
func TestShortAboveTwiceTheRatedCurrent(t *testing.T) {
	for ohm, all := range map[float64]bool{140: true, 120: false} { // order does not show: independent checks
		b := newBench(t, six("ring", 1, 3))
		b.s.SetShort(2, ohm)
		o := b.active(24)
		if got := b.works(); (len(got) == 6) != all || o.MicroA > 360_000 {
			t.Errorf("%g ohm: %v work, at %d uA", ohm, got, o.MicroA)
		}
	}
}

// A ring of 500 loads of both kinds, an isolator in every third: a short or two grounds take the two
// loads of one section that have none, wherever they are. With so many loads the search for their
// pieces must not be thrown by those that are cut off.
func TestManySections(t *testing.T) {
	var light, heavy []*pb.Load
	for i := range 500 {
		l, h := powered(1, 0.008), powered(1, 0.05)
		if i%2 == 0 {
			l, h = sounder(1, 0.4), sounder(1, 1)
		}
		l.Isolator, h.Isolator = i%3 == 0, i%3 == 0
		light, heavy = append(light, l), append(heavy, h)
	}
	for _, c := range []struct {
		loads []*pb.Load
		runs  []int
	}{{light, []int{2, 101, 250, 401, 497}}, {heavy, []int{100, 250}}} { // the heavy ones need both ends
		b := newBench(t, ring(12.1, 4700, 1, c.loads...))
		for _, run := range c.runs {
			b.c.Heal(b.s)
			b.s.SetShort(run, 0)
			b.active(24)
			short := b.works()
			b.c.Heal(b.s)
			b.s.SetEarth(run, Positive, 0)
			b.s.SetEarth((run+300)%500, Negative, 0)
			b.active(24)
			if grounds := b.works(); len(short) != 498 || !slices.Equal(short, grounds) {
				t.Errorf("run %d: %d loads work with a short, %d with grounds", run, len(short), len(grounds))
			}
		}
	}
}
