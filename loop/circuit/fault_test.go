package circuit

import (
	"fmt"
	"slices"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// four is a circuit with four sounders of 30 mA, 20 m apart, on 1.5 mm2 (12.1 ohm/km).
func four(wiring string) *pb.Circuit {
	loads := []*pb.Load{sounder(20, 30), sounder(20, 30), sounder(20, 30), sounder(20, 30)}
	if wiring == "ring" {
		return ring(12.1, 4700, 20, loads...)
	}
	return branch(12.1, 4700, loads...)
}

// What each fault does at rest and in alarm, class by class: NFPA 72 chapter 12 (a branch is class
// B, a ring class A). Open in standby: trouble; open in alarm: silent beyond it on class B, all
// operate on class A. Ground: the circuit still operates; one on each leg is a short. Short in
// standby: trouble, and the circuit is held off. Rest: training sites on reversed-polarity
// supervision (douglaskrantz.com) and common practice.
func TestFaults(t *testing.T) {
	all := []int{0, 1, 2, 3}
	for _, c := range []struct {
		name    string
		wiring  string
		fault   func(s *State)
		verdict Verdict
		earth   bool
		works   []int // if it is energised in spite of everything
	}{
		{"healthy", "branch", func(*State) {}, Normal, false, all},
		{"healthy", "ring", func(*State) {}, Normal, false, all},
		{"break before the third", "branch", func(s *State) { s.Break(2, Both) }, Open, false, []int{0, 1}},
		{"break before the third", "ring", func(s *State) { s.Break(2, Both) }, Open, false, all},
		{"one core broken", "branch", func(s *State) { s.Break(2, Negative) }, Open, false, []int{0, 1}},
		{"one core broken", "ring", func(s *State) { s.Break(2, Negative) }, Open, false, all},
		{"a core broken here, the other there", "branch", func(s *State) { s.Break(2, Negative); s.Break(1, Positive) }, Open, false, []int{0}},
		{"a core broken here, the other there", "ring", func(s *State) { s.Break(3, Negative); s.Break(1, Positive) }, Open, false, all},
		{"two breaks", "ring", func(s *State) { s.Break(1, Both); s.Break(3, Both) }, Open, false, []int{0, 3}},
		{"break of the return", "ring", func(s *State) { s.Break(4, Both) }, Open, false, all},
		{"break before the first", "branch", func(s *State) { s.Break(0, Both) }, Open, false, nil},
		{"earth", "branch", func(s *State) { s.SetEarth(1, Positive, 0) }, Earth, true, all},
		{"earth", "ring", func(s *State) { s.SetEarth(1, Negative, 0) }, Earth, true, all},
		{"weak earth", "branch", func(s *State) { s.SetEarth(1, Positive, 100_000) }, Normal, false, all},
		{"two earths, one core", "branch", func(s *State) { s.SetEarth(1, Positive, 0); s.SetEarth(3, Positive, 0) }, Earth, true, all},
		{"earth on each core", "branch", func(s *State) { s.SetEarth(1, Positive, 0); s.SetEarth(3, Negative, 0) }, Short, true, nil},
		{"earth on each core", "ring", func(s *State) { s.SetEarth(1, Positive, 0); s.SetEarth(3, Negative, 0) }, Short, true, nil},
		{"weak earth on each core", "branch", func(s *State) { s.SetEarth(1, Positive, 3000); s.SetEarth(3, Negative, 6000) }, Earth, true, all}, // 9 kohm beside 4.7: 3.1
		{"an earth and a break", "branch", func(s *State) { s.SetEarth(1, Positive, 0); s.Break(3, Both) }, Open, true, []int{0, 1, 2}},
		{"short", "branch", func(s *State) { s.SetShort(2, 0) }, Short, false, nil},
		{"short", "ring", func(s *State) { s.SetShort(2, 0) }, Short, false, nil},
		{"leak of 10 kohm", "branch", func(s *State) { s.SetShort(2, 10_000) }, Normal, false, all},
		{"resistor missing", "branch", func(s *State) { s.RemoveResistor() }, Open, false, all},
		{"resistor missing", "ring", func(s *State) { s.RemoveResistor() }, Open, false, all},
		{"resistor of 10 kohm", "branch", func(s *State) { s.SetResistor(10_000) }, Open, false, all},
		{"resistor of 6.8 kohm", "branch", func(s *State) { s.SetResistor(6_800) }, Normal, false, all},
		{"resistor of 7.2 kohm", "branch", func(s *State) { s.SetResistor(7_200) }, Open, false, all},
		{"resistor of 2.2 kohm", "branch", func(s *State) { s.SetResistor(2_200) }, Short, false, all},
		{"earth of 19 kohm", "branch", func(s *State) { s.SetEarth(1, Negative, 19_000) }, Earth, true, all},
		{"earth of 21 kohm", "branch", func(s *State) { s.SetEarth(1, Negative, 21_000) }, Normal, false, all},
		{"two earths of 30 kohm", "branch", func(s *State) { s.SetEarth(1, Negative, 30_000); s.SetEarth(2, Negative, 30_000) }, Earth, true, all},
		{"resistor of 1 kohm", "branch", func(s *State) { s.SetResistor(1_000) }, Short, false, all},
		// Two equal resistors are half of one, and the cable's 1.9 ohm lift that over the window's edge.
		{"second resistor", "branch", func(s *State) { s.SetSecond(4_700) }, Normal, false, all},
		{"second resistor, smaller", "branch", func(s *State) { s.SetSecond(4_600) }, Short, false, all},
		{"joint of 100 ohm", "branch", func(s *State) { s.SetSeries(3, Positive, 100) }, Normal, false, all},
		{"sounder reversed", "branch", func(s *State) { s.SetReversed(1, true) }, Short, false, []int{0, 2, 3}},
		{"sounder reversed", "ring", func(s *State) { s.SetReversed(1, true) }, Short, false, []int{0, 2, 3}},
		{"reversed beyond a break", "branch", func(s *State) { s.SetReversed(3, true); s.Break(1, Both) }, Open, false, []int{0}},
	} {
		t.Run(fmt.Sprintf("%s, %s", c.wiring, c.name), func(t *testing.T) {
			b := newBench(t, four(c.wiring))
			c.fault(b.s)
			r := b.rest()
			if r.Verdict != c.verdict {
				t.Errorf("reads %v (%d milliohm), want %v", r.Verdict, r.MilliOhm, c.verdict)
			}
			if b.s.EarthFault() != c.earth {
				t.Errorf("earth fault %v, want %v", !c.earth, c.earth)
			}
			supply := startNFPA
			o := b.active(supply)
			if !slices.Equal(b.works(), c.works) {
				t.Errorf("work: %v, want %v (%+v)", b.works(), c.works, o)
			}
		})
	}
}

// A reversed appliance that takes little reads as what it reads: 1 mA beside 4.7 kohm is about
// 3.8 kohm, and nobody notices until it stays dark in an alarm.
func TestReversedUnnoticed(t *testing.T) {
	b := newBench(t, branch(12.1, 4700, sounder(20, 1), sounder(20, 30)))
	b.s.SetReversed(0, true)
	r := b.rest()
	if r.Verdict != Normal {
		t.Errorf("reads %v, want normal", r.Verdict)
	}
	near(t, "ohms", float64(r.MilliOhm)/1e3, 3765, 3) // (24 V - 1 V) / (1 + 1/4.7) = 18.96 V; 5.035 mA: Ohm's law
	b.active(startNFPA)
	if got := b.works(); !slices.Equal(got, []int{1}) {
		t.Errorf("work: %v, want only the second", got)
	}
}

// A reversed sounder of 30 mA draws along its rising piece, 30 mA / (8 V - 0.7 V) from 0.7 V on:
// (24 - V) / 1 kohm = V / 4.7 kohm + 4.1096 mS x (V - 0.7) gives V = 5.050 V and 18.95 mA, which
// read as 266 ohm. Ohm's law, cable apart.
func TestReversedReading(t *testing.T) {
	b := newBench(t, branch(12.1, 4700, sounder(0, 30)))
	b.s.SetReversed(0, true)
	r := b.rest()
	near(t, "volts", float64(r.MicroV)/1e6, 5.0498, 0.0005)
	near(t, "milliamperes", float64(r.MicroA)/1e3, 18.950, 0.0005)
	near(t, "ohms", float64(r.MilliOhm)/1e3, 266.48, 0.05)
}

// A branch too long for its loads: the far one is below 16 V and does not work, the near one does.
func TestBelowLeastVoltage(t *testing.T) {
	b := newBench(t, branch(21, 4700, sounder(100, 500), sounder(100, 500)))
	b.active(startNFPA)
	// 2 x 2.1 ohm a run: 20.4 - 4.2 - 2.1 = 14.1 V at the far one, 16.2 V at the near one.
	if !slices.Equal(b.works(), []int{0}) || b.w.MicroV(0) != 16_200_000 || b.w.MicroV(1) != 14_100_000 {
		t.Errorf("work: %v at %d and %d uV", b.works(), b.w.MicroV(0), b.w.MicroV(1))
	}
	drops := b.c.PointToPoint(startNFPA, FromFirst)
	if drops[1].MarginMicroV != -1_900_000 || drops[1].DropMicroV != 6_300_000 || drops[0].MarginMicroV != 200_000 {
		t.Errorf("drops: %+v", drops)
	}
}

// A ring is calculated from either end, and every load stands higher when both feed it.
func TestRingFromEitherEnd(t *testing.T) {
	b := newBench(t, ring(12.1, 4700, 10, sounder(30, 300), sounder(100, 300)))
	b.active(24)
	forth, back := b.c.PointToPoint(24, FromFirst), b.c.PointToPoint(24, FromReturn)
	// Forth: 0.726 x 0.6, then 2.42 x 0.3. Back: 0.242 x 0.6, then 2.42 x 0.3. Ohm's law.
	for i, want := range []int64{23_564_400, 22_838_400} {
		if forth[i].MicroV != want {
			t.Errorf("forth, load %d: %d uV, want %d", i, forth[i].MicroV, want)
		}
	}
	for i, want := range []int64{23_128_800, 23_854_800} {
		if back[i].MicroV != want {
			t.Errorf("back, load %d: %d uV, want %d", i, back[i].MicroV, want)
		}
	}
	for i := range forth {
		if b.w.MicroV(i) <= max(forth[i].MicroV, back[i].MicroV) {
			t.Errorf("load %d: %d uV from both ends, %d and %d from one", i, b.w.MicroV(i), forth[i].MicroV, back[i].MicroV)
		}
	}
	// The solver agrees with both recursions when one end is broken off.
	b.s.Break(2, Both)
	b.active(24)
	near(t, "broken return", float64(b.w.MicroV(1)), float64(forth[1].MicroV), toleranceMicroV)
	b.c.Heal(b.s)
	b.s.Break(0, Both)
	b.active(24)
	near(t, "broken first run", float64(b.w.MicroV(0)), float64(back[0].MicroV), toleranceMicroV)
}

// Repair leaves nothing behind, and a copy is independent.
func TestRepairAndCopy(t *testing.T) {
	b := newBench(t, four("ring"))
	healthy := b.rest()
	var fork State
	fork.CopyFrom(b.s)
	b.s.Break(1, Both)
	b.s.SetShort(2, 5)
	b.s.SetEarth(0, Both, 10)
	b.s.SetSecond(100)
	b.s.SetReversed(3, true)
	if got := b.c.Rest(&fork, &b.w); got != healthy {
		t.Errorf("the copy reads %+v, want %+v", got, healthy)
	}
	b.c.Heal(b.s)
	if got := b.rest(); got != healthy {
		t.Errorf("repaired it reads %+v, want %+v", got, healthy)
	}
	b.s.SetSeries(0, Negative, 500)
	b.s.SetShort(4, 0)
	b.s.RemoveResistor()
	b.s.SetReversed(2, true)
	b.c.Heal(b.s)
	if got := b.rest(); got != healthy {
		t.Errorf("healed it reads %+v, want %+v", got, healthy)
	}
}
