package circuit

import (
	"math"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Ends of drop calculations, volts: NFPA 72 10.3 and UL 464; 18 V is common practice.
const (
	startNFPA = 20.4
	leastNFPA = 16.0
	leastEN   = 18.0
)

// Tolerances, absolute and relative apart, one for each quantity.
const (
	tolerancePublishedV = 0.0005 // worked examples printed to four decimals
	toleranceMicroV     = 1      // what the package rounds to
	toleranceBalanceA   = 1e-9   // current in and out of a node, relative to what flows there
	toleranceBalanceW   = 1e-9   // power in and out, relative
	toleranceNothingW   = 1e-9   // where nothing flows: the last bit of the volts over a dead short
)

const metresPerFoot = 0.3048 // exact, by definition of the foot

// sounder and flashing are loads of constant current and constant power after cable of a length.
func sounder(cableM, currentMA float64) *pb.Load {
	return &pb.Load{CableM: &cableM, Kind: &pb.Load_Sounder{Sounder: &pb.Appliance{CurrentMa: &currentMA}}}
}

func powered(cableM, watts float64) *pb.Load {
	return &pb.Load{CableM: &cableM, Kind: &pb.Load_Beacon{Beacon: &pb.Appliance{PowerW: &watts}}}
}

// branch is a branch of cable with the resistance of one core given.
func branch(ohmPerKm, endOfLine float64, loads ...*pb.Load) *pb.Circuit {
	return &pb.Circuit{EndOfLineOhm: &endOfLine, Cable: &pb.Cable{OhmPerKm: &ohmPerKm}, Loads: loads}
}

func ring(ohmPerKm, endOfLine, returnM float64, loads ...*pb.Load) *pb.Circuit {
	k := branch(ohmPerKm, endOfLine, loads...)
	k.Wiring, k.ReturnCableM = "ring", &returnM
	return k
}

// reporter is what testing and rapid have in common.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}

func compile(t reporter, k *pb.Circuit) *Circuit {
	t.Helper()
	c, found := Compile(k, Options{Path: "circuit", LeastV: leastNFPA})
	if len(found) > 0 {
		t.Fatalf("compile: %v", found)
	}
	return c
}

// bench is one circuit with its state and a solver whose every result is checked for balance.
type bench struct {
	c *Circuit
	s *State
	w Work
	t reporter
}

func newBench(t reporter, k *pb.Circuit) *bench {
	c := compile(t, k)
	return &bench{c: c, s: c.NewState(), t: t}
}

func (b *bench) rest() Reading {
	b.t.Helper()
	r := b.c.Rest(b.s, &b.w)
	b.balance()
	return r
}

func (b *bench) active(supplyV float64) Outcome {
	b.t.Helper()
	o := b.c.Active(b.s, &b.w, micro(supplyV))
	if !o.Collapsed {
		b.balance()
	}
	return o
}

// works lists the loads that work.
func (b *bench) works() []int {
	var list []int
	for i := range b.c.loads {
		if b.c.Works(b.s, &b.w, i) {
			list = append(list, i)
		}
	}
	return list
}

// balance checks conservation on the network as it was laid: at every core of every level the
// currents add up to nothing, and what the source delivers is what the cable and the rest turn to
// heat.
func (b *bench) balance() {
	b.t.Helper()
	w := &b.w
	last := len(w.rungs) - 1
	earthV := w.earthPotential()
	heat := 0.0
	for k := 1; k <= last; k++ {
		r := &w.rungs[k]
		between := r.volts[0] - r.volts[1]
		for core := range r.volts {
			drop := w.rungs[k-1].volts[core] - r.volts[core]
			heat += drop * drop * r.along[core]
			if k == last && w.both {
				continue // held by the source
			}
			sum, flow := r.along[core]*drop, math.Abs(r.along[core]*drop)
			if k < last {
				next := &w.rungs[k+1]
				out := next.along[core] * (r.volts[core] - next.volts[core])
				sum -= out
				flow += math.Abs(out)
			}
			across := (r.across+r.slope)*between + r.draw
			if core == 1 {
				across = -across
			}
			sum -= across
			if w.earths >= 2 {
				leak := r.earth[core] * (r.volts[core] - earthV)
				sum -= leak
				flow += math.Abs(leak)
				heat += leak * (r.volts[core] - earthV)
			}
			// A core at tens of volts behind a conductance of g has currents right to g x the last
			// bit of the volts: short pieces of cable have large g.
			rounding := 64 * 0x1p-52 * math.Abs(w.volts) * (r.along[core] + r.across + math.Abs(r.slope) + r.earth[core])
			if k < last {
				rounding += 64 * 0x1p-52 * math.Abs(w.volts) * w.rungs[k+1].along[core]
			}
			if math.Abs(sum) > toleranceBalanceA*(flow+math.Abs(across))+rounding {
				b.t.Errorf("level %d core %d: %g A left over of %g A", k, core, sum, flow)
			}
		}
		heat += between * (between*(r.across+r.slope) + r.draw)
	}
	if in := w.volts * w.sourceAmps(); math.Abs(in-heat) > toleranceBalanceW*math.Max(in, heat)+toleranceNothingW {
		b.t.Errorf("%g W in, %g W out", in, heat)
	}
}

// earthPotential is where the earth stands: where its currents add up to nothing.
func (w *Work) earthPotential() float64 {
	held, sum := 0.0, 0.0
	for i := range w.rungs {
		for k, g := range w.rungs[i].earth {
			held += g
			sum += g * w.rungs[i].volts[k]
		}
	}
	if held == 0 {
		return 0
	}
	return sum / held
}

func near(t reporter, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v (within %g)", what, got, want, tolerance)
	}
}

// ampsAt is the load's current at a voltage in its own direction.
func (l *load) ampsAt(v float64) float64 {
	p := piece{on: l.on(v), volts: v}
	draw, slope := l.line(p)
	return draw + float64(slope*v)
}
