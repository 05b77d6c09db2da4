package wire

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"
)

// A solve allocates nothing, nor does a change of the loads or a whole short and its repair once
// the slices have grown.
func TestAllocations(t *testing.T) {
	l := plan{ring: true, devices: 250, run: 4, built: []int{50, 100, 150, 200}}.loop()
	for name, n := range map[string]*Network{"constant current": build(t, l), "constant power": build(t, l).ConstantPower()} { // order does not show: independent checks
		s, now := n.NewState(), time.Duration(0)
		n.refresh(s)
		if got := testing.AllocsPerRun(50, func() { n.solve(s) }); got != 0 {
			t.Errorf("%s: %v allocations per solve", name, got)
		}
		cycle := func() {
			id := n.Place(s, now, Fault{Kind: Short, Run: 60, At: 0.5}, 1, silent{})
			n.SetLoads(s, now, 3, true, false, 1, silent{})
			now += 3 * time.Second
			n.Advance(s, now, silent{})
			n.DriveFarEnd(s, now, true, 1, silent{})
			now += time.Minute
			n.Advance(s, now, silent{})
			n.Repair(s, now, id, 1, silent{})
			now += time.Minute
			n.Advance(s, now, silent{})
			n.DriveFarEnd(s, now, false, 1, silent{})
			n.SetLoads(s, now, 3, false, false, 1, silent{})
		}
		cycle()
		if got := testing.AllocsPerRun(10, cycle); got != 0 {
			t.Errorf("%s: %v allocations per short and repair", name, got)
		}
	}
}

// The work of a fault is counted: a healthy loop costs no solve, a short a few per isolator.
func TestSolvesCounted(t *testing.T) {
	var all []int
	for a := 1; a <= 250; a++ {
		all = append(all, a)
	}
	n := build(t, plan{ring: true, devices: 250, run: 4, built: all}.loop())
	b := newBench(t, n)
	for e := range int32(250) {
		n.SetLoads(b.s, 0, e, true, false, 1, b)
	}
	if b.s.Solves() != 0 {
		t.Errorf("a healthy loop took %d solves", b.s.Solves())
	}
	b.at(Fault{Kind: Short}, 100)
	for range 4 {
		b.run(b.s.now + 10*time.Second)
		b.look()
	}
	b.run(b.s.now + time.Minute)
	if got := b.lost(); got != "" || b.s.Solves() == 0 || b.s.Solves() > 250*6 {
		t.Errorf("lost %q after %d solves", got, b.s.Solves())
	}
}

// benchLoop is a branch of devices without isolators: the ladder that ngspice gets too. However many
// devices, it is the same electrical problem, divided more finely: 1500 m of 1.5 mm2 and 250 mA, of
// which the far end is left with some 23 V.
func benchLoop(t testing.TB, devices int) *Network {
	l := plan{devices: min(devices, 250), run: 1500 / float64(devices)}.loop()
	n := build(t, l)
	for len(n.entries) < devices { // a ladder longer than addresses allow, for the slope of the cost
		e := n.entries[len(n.entries)-1]
		e.parent = int32(len(n.entries) - 1)
		n.entries, n.runs, n.order = append(n.entries, e), append(n.runs, n.runs[0]), append(n.order, e.parent+1)
		n.last = e.parent + 1
	}
	for e := range n.entries {
		n.entries[e].standby = 0.25 / float64(devices)
	}
	return n
}

// BenchmarkSolve is one solve for changed loads, by size and kind of load.
func BenchmarkSolve(b *testing.B) {
	for _, devices := range []int{100, 250, 1000, 10_000} {
		n := benchLoop(b, devices)
		for name, n := range map[string]*Network{"current": n, "power": n.ConstantPower()} { // order does not show: independent benchmarks
			b.Run(fmt.Sprintf("%s/%d", name, devices), func(b *testing.B) {
				s := n.NewState()
				n.refresh(s)
				b.ReportAllocs()
				for b.Loop() {
					n.solve(s)
				}
			})
		}
	}
}

// BenchmarkSlope is how the cost of a solve grows from 100 to 10,000 devices: the slope of the straight line
// through the logarithms, of medians, sizes turn by turn in one run.
func BenchmarkSlope(b *testing.B) {
	sizes := []int{100, 316, 1000, 3162, 10_000}
	for _, power := range []bool{false, true} {
		b.Run(map[bool]string{false: "current", true: "power"}[power], func(b *testing.B) {
			var networks []*Network
			var states []*State
			for _, devices := range sizes {
				n := benchLoop(b, devices)
				if power {
					n = n.ConstantPower()
				}
				s := n.NewState()
				n.refresh(s)
				networks, states = append(networks, n), append(states, s)
			}
			const turns = 15
			medians := make([][turns]float64, len(sizes))
			for b.Loop() {
				for turn := range turns {
					for i, n := range networks {
						rounds := 2 * sizes[len(sizes)-1] / sizes[i]
						start := time.Now()
						for range rounds {
							n.solve(states[i])
						}
						medians[i][turn] = float64(time.Since(start).Nanoseconds()) / float64(rounds)
					}
				}
			}
			var x, y, xx, xy float64
			for i := range sizes {
				took := medians[i]
				slices.Sort(took[:])
				lx, ly := math.Log(float64(sizes[i])), math.Log(took[turns/2])
				x, y, xx, xy = x+lx, y+ly, xx+lx*lx, xy+lx*ly
			}
			count := float64(len(sizes))
			b.ReportMetric((count*xy-x*y)/(count*xx-x*x), "slope")
		})
	}
}

// BenchmarkAssemble is what a change of the wiring costs besides.
func BenchmarkAssemble(b *testing.B) {
	n := benchLoop(b, 250)
	s := n.NewState()
	for b.Loop() {
		n.assemble(s)
	}
}

// BenchmarkSpice is the same ladder of 250 devices, both conductors, in ngspice and here, turn by
// turn in one run: nanoseconds per operating point there, per solve here, and the median of the
// ratios. ngspice works in one batch process, and the time of a process with one point is taken
// off, so that reading the netlist does not count. On both sides every point has a changed load.
func BenchmarkSpice(b *testing.B) {
	for _, power := range []bool{false, true} {
		b.Run(map[bool]string{false: "current", true: "power"}[power], func(b *testing.B) {
			n := benchLoop(b, 250)
			if power {
				n = n.ConstantPower()
			}
			s := n.NewState()
			n.refresh(s)
			c := naive(n, s)
			const points = 500
			theirs := func(points int) time.Duration {
				out := bytes.NewBufferString("ladder\n")
				c.netlist(out, "k", n, &s.work.driver)
				fmt.Fprintf(out, "%sIsb kpe0 kne0 0\n.control\n", tight)
				for i := range points {
					fmt.Fprintf(out, "alter isb = %du\nop\ndestroy all\n", i)
				}
				out.WriteString("quit\n.endc\n.end\n")
				start := time.Now()
				spice(b, out.Bytes())
				return time.Since(start)
			}
			ours := func(points int) time.Duration {
				start := time.Now()
				for i := range points {
					s.work.want[0] = n.entries[0].standby + float64(i)*1e-6
					n.solve(s)
				}
				return time.Since(start)
			}
			const most = 5
			var there, here, ratio [most]float64
			for b.Loop() {
				for i := range most {
					there[i] = float64((theirs(points) - theirs(1)).Nanoseconds()) / (points - 1)
					here[i] = float64(ours(20*points).Nanoseconds()) / (20 * points)
					ratio[i] = there[i] / here[i]
				}
			}
			slices.Sort(there[:])
			slices.Sort(here[:])
			slices.Sort(ratio[:])
			b.ReportMetric(there[most/2], "ns/point")
			b.ReportMetric(here[most/2], "ns/solve")
			b.ReportMetric(ratio[most/2], "ratio")
		})
	}
}
