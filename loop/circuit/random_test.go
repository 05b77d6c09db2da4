package circuit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// dice draws random circuits and faults; n returns 0 to below - 1.
type dice func(below int) int

func (n dice) pick(values ...float64) float64 { return values[n(len(values))] }

// circuit draws a circuit of sizes that occur, with loads of every kind. shortest is the length of
// its shortest runs: an ordinary matrix solver needs them not to be 0 m.
func (n dice) circuit(shortest float64) *pb.Circuit {
	var loads []*pb.Load
	least := 0
	if shortest > 0 {
		least = 1 // without loads the only run has no length
	}
	for range least + n(12) {
		length := n.pick(shortest, 1, 3, 12, 40, 150)
		if n(4) == 0 {
			loads = append(loads, powered(length, n.pick(0.2, 0.8, 3.2)))
		} else {
			loads = append(loads, sounder(length, n.pick(0.5, 5, 32, 90, 250)))
		}
	}
	if n(2) == 0 {
		for _, l := range loads {
			l.Isolator = n(3) == 0
		}
	}
	ohmPerKm, endOfLine := n.pick(4.61, 12.1, 36, 90), n.pick(1000, 4700, 10_000)
	if n(2) == 0 {
		return branch(ohmPerKm, endOfLine, loads...)
	}
	return ring(ohmPerKm, endOfLine, n.pick(shortest, 8, 60), loads...)
}

// faults draws a few faults, often none of a kind.
func (n dice) faults(s *State) {
	for range n(4) {
		run, core := n(len(s.runs)), Core(n(3))
		switch n(6) {
		case 0:
			s.Break(run, core)
		case 1:
			s.SetSeries(run, core, n.pick(0.5, 20, 100, 5000))
		case 2:
			s.SetShort(run, n.pick(0, 1, 50, 680, 3000, 20_000))
		case 3:
			s.SetEarth(run, core, n.pick(0, 10, 1000, 50_000))
		case 4:
			switch n(3) {
			case 0:
				s.RemoveResistor()
			case 1:
				s.SetResistor(n.pick(470, 2200, 4700, 9000, 22_000))
			default:
				s.SetSecond(n.pick(680, 4700, 10_000))
			}
		default:
			if len(s.reversed) > 0 {
				s.SetReversed(n(len(s.reversed)), true)
			}
		}
	}
}

// Dense elimination of the same network, with the loads on the pieces that were found: the same
// voltage at every core that a source reaches. balance checks that those pieces make currents that
// add up, and checkPieces that each load is on the piece where its voltage is: together, that it is
// a solution of the circuit with its diodes.
func TestDense(t *testing.T) {
	collapsed, solved := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		n := dice(func(below int) int { return rapid.IntRange(0, below-1).Draw(t, "n") })
		k := n.circuit(0.5)
		c, _ := Compile(k, Options{Path: "circuit", LeastV: leastNFPA})
		b := &bench{c: c, s: c.NewState(), t: t}
		n.faults(b.s)
		b.rest()
		compareDense(t, b)
		if b.active(n.pick(16.5, 20.4, 24, 28)).Collapsed {
			collapsed++
			return
		}
		solved++
		compareDense(t, b)
	})
	t.Logf("%d solved, %d collapsed", solved, collapsed)
	if solved < 10*collapsed {
		t.Errorf("%d circuits collapsed, %d were solved: too few to mean anything", collapsed, solved)
	}
}

func compareDense(t reporter, b *bench) {
	t.Helper()
	checkPieces(t, b)
	w := &b.w
	want := w.dense()
	live := w.live()
	for i := 1; i < len(w.rungs); i++ {
		for core, got := range w.rungs[i].volts {
			if !live[2*i+core] {
				continue
			}
			if d := math.Abs(got - want[2*i+core]); d > 1e-6 && d > 1e-6*math.Abs(got) {
				t.Errorf("level %d core %d: %.9f V, by dense elimination %.9f V", i, core, got, want[2*i+core])
			}
		}
	}
}

// checkPieces checks the current of every load against its characteristic.
func checkPieces(t reporter, b *bench) {
	t.Helper()
	for i := range b.c.loads {
		l, r := &b.c.loads[i], &b.w.rungs[2*i+2]
		v := b.w.across(i)
		amps := r.draw + r.slope*v
		if b.s.reversed[i] {
			v, amps = -v, -amps
		}
		if math.Abs(amps-l.ampsAt(v)) > 1e-9 {
			t.Errorf("load %d: %g A at %g V, its characteristic has %g A", i, amps, v, l.ampsAt(v))
		}
	}
}

// node is the row of a core at a level; the earth has the last row.
func node(level, core int) int { return 2*level + core }

// each calls f for every conductance between two nodes.
func (w *Work) each(f func(a, b int, g float64)) {
	earth := 2 * len(w.rungs)
	for i := 1; i < len(w.rungs); i++ {
		r := &w.rungs[i]
		for core := range 2 {
			f(node(i-1, core), node(i, core), r.along[core])
			f(node(i, core), earth, r.earth[core])
		}
		f(node(i, 0), node(i, 1), r.across+r.slope)
	}
}

// held reports whether a node is the source's.
func (w *Work) held(a int) bool { return a < 2 || (w.both && a/2 == len(w.rungs)-1) }

// dense solves the whole network at once, the earth as a node like any other.
func (w *Work) dense() []float64 {
	size := 2*len(w.rungs) + 1
	m, rhs := mat.NewDense(size, size, nil), mat.NewVecDense(size, nil)
	add := func(a, b int, v float64) { m.Set(a, b, m.At(a, b)+v) }
	w.each(func(a, b int, g float64) {
		add(a, a, g)
		add(b, b, g)
		add(a, b, -g)
		add(b, a, -g)
	})
	for i := 1; i < len(w.rungs); i++ {
		rhs.SetVec(node(i, 0), -w.rungs[i].draw)
		rhs.SetVec(node(i, 1), w.rungs[i].draw)
	}
	live := w.live() // what nothing reaches is set to 0 V: it would make the matrix singular
	for a := range size {
		if w.held(a) || !live[a] {
			for b := range size {
				m.Set(a, b, 0)
			}
			m.Set(a, a, 1)
			rhs.SetVec(a, 0)
			if w.held(a) && a%2 == 0 {
				rhs.SetVec(a, w.volts)
			}
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(m, rhs); err != nil {
		if condition := mat.Condition(0); !errors.As(err, &condition) {
			panic(err)
		}
	}
	return x.RawVector().Data
}

// live tells which nodes a source reaches.
func (w *Work) live() []bool {
	size := 2*len(w.rungs) + 1
	live := make([]bool, size)
	for a := range live {
		live[a] = w.held(a)
	}
	for range size {
		w.each(func(a, b int, g float64) {
			if g != 0 && live[a] != live[b] {
				live[a], live[b] = true, true
			}
		})
	}
	return live
}

// Reading and voltages do not depend on what the working storage served before, and a solve
// allocates nothing.
func TestWorkIsOnlyStorage(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	n := dice(random.IntN)
	var shared Work
	for range 200 {
		c, _ := Compile(n.circuit(0), Options{Path: "circuit", LeastV: leastEN})
		s := c.NewState()
		n.faults(s)
		var own Work
		if got, want := c.Rest(s, &shared), c.Rest(s, &own); got != want {
			t.Fatalf("rest: %+v, with storage of its own %+v", got, want)
		}
		got, want := c.Active(s, &shared, 24_000_000), c.Active(s, &own, 24_000_000)
		if got != want {
			t.Fatalf("active: %+v, with storage of its own %+v", got, want)
		}
		if allocs := testing.AllocsPerRun(3, func() { c.Rest(s, &own); c.Active(s, &own, 24_000_000) }); allocs != 0 {
			t.Fatalf("%g allocations a solve", allocs)
		}
	}
}

// With constant currents there is always a solution, and on a healthy circuit no voltage falls when
// the supply's rises.
func TestMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := dice(func(below int) int { return rapid.IntRange(0, below-1).Draw(t, "n") })
		k := n.circuit(0)
		for _, l := range k.GetLoads() {
			if a := appliance(l); a.PowerW != nil {
				a.PowerW, a.CurrentMa = nil, new(20.0)
			}
			l.Isolator = false // one that closes puts more load on the cable
		}
		c, _ := Compile(k, Options{Path: "circuit", LeastV: leastNFPA})
		b := &bench{c: c, s: c.NewState(), t: t}
		healthy := n(2) == 0
		if !healthy {
			n.faults(b.s)
		}
		var before []int64
		for volts := 2.0; volts < 30; volts += 3.3 {
			if b.active(volts).Collapsed {
				t.Fatalf("collapsed at %g V with constant currents alone: there is always a solution", volts)
			}
			for i, v := range before {
				if healthy && b.w.microV[i] < v-1 {
					t.Errorf("load %d: %d uV at %g V, %d uV at less", i, b.w.microV[i], volts, v)
				}
			}
			before = append(before[:0], b.w.microV...)
		}
	})
}
