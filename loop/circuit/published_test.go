package circuit

import (
	"math/rand/v2"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// perKm turns ohms per 1000 ft into ohms per kilometre.
func perKm(perKft float64) float64 { return perKft / metresPerFoot }

// Voltage drop by both methods. Inputs of the first two: an instructor's article,
// firetech.com/my-voltage-drop-problem; the answers, and the third and fourth, are computed from
// the formulas V[k] = V[k-1] - R[k] I and V = V0 - I x 2 L r of NFPA 72 drop calculations. Cable:
// NEC chapter 9 table 8, 75 C and 20 C. The solver has to agree with the recursion.
func TestDropMethods(t *testing.T) {
	three := func(kft, amps1, amps2, amps3, spacingFt, firstFt float64) *pb.Circuit {
		return branch(perKm(kft), 4700,
			sounder(firstFt*metresPerFoot, 1000*amps1), sounder(spacingFt*metresPerFoot, 1000*amps2), sounder(spacingFt*metresPerFoot, 1000*amps3))
	}
	watts := branch(perKm(7.77), 4700,
		powered(100*metresPerFoot, 3.2), powered(100*metresPerFoot, 3.2), powered(100*metresPerFoot, 3.2))
	var ten []*pb.Load
	for range 10 {
		ten = append(ten, sounder(30*metresPerFoot, 100))
	}
	for _, c := range []struct {
		name      string
		circuit   *pb.Circuit
		want      []float64 // of the last len(want) loads
		endOfLine float64   // 0: none stated
	}{
		{"14 AWG at 75 C", three(3.07, 0.75, 1.05, 0.75, 50, 25), []float64{20.0086, 19.4560, 19.2257}, 18.4429},
		{"14 AWG at 20 C", three(2.525, 0.75, 1.05, 0.75, 50, 25), []float64{20.0781, 19.6236, 19.4342}, 18.7903},
		{"constant power", watts, []float64{19.6221, 19.0977, 18.8337}, 0},
		{"constant current", three(7.77, 0.2, 0.2, 0.2, 100, 100), []float64{19.4676, 18.8460, 18.5352}, 0},
		{"ten appliances", branch(perKm(3.07), 4700, ten...), []float64{19.3869}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, c.circuit)
			drops := b.c.PointToPoint(startNFPA, FromFirst)
			if o := b.active(startNFPA); o.Collapsed {
				t.Fatal("collapsed")
			}
			for i, want := range c.want {
				load := len(drops) - len(c.want) + i
				near(t, "point to point", float64(drops[load].MicroV)/1e6, want, tolerancePublishedV)
				near(t, "solved", float64(b.w.MicroV(load))/1e6, want, tolerancePublishedV)
			}
			for i := range drops {
				near(t, "solver against recursion", float64(b.w.MicroV(i)), float64(drops[i].MicroV), toleranceMicroV)
			}
			lumped := b.c.EndOfLine(startNFPA, FromFirst)
			if c.endOfLine > 0 {
				near(t, "end of line", float64(lumped.MicroV)/1e6, c.endOfLine, tolerancePublishedV)
			}
			if last := drops[len(drops)-1].MicroV; lumped.MicroV > last {
				t.Errorf("end of line %d uV is above point to point %d uV: it must be the more pessimistic", lumped.MicroV, last)
			}
		})
	}
}

// Currents of constant power at the voltages of the table above: I = P / V, computed.
func TestConstantPowerCurrents(t *testing.T) {
	b := newBench(t, branch(perKm(7.77), 4700,
		powered(100*metresPerFoot, 3.2), powered(100*metresPerFoot, 3.2), powered(100*metresPerFoot, 3.2)))
	o := b.active(startNFPA)
	for i, want := range []float64{0.16308, 0.16756, 0.16991} {
		near(t, "amperes", b.c.loads[i].ampsAt(float64(b.w.MicroV(i))/1e6), want, 0.00001)
	}
	near(t, "from the supply", float64(o.MicroA)/1e6, 0.16308+0.16756+0.16991, 0.00002)
}

// By the end-of-line method no load is better off than point to point from the same end, whatever the
// loads are, how low their voltage is and where isolators stand; and where every load has its least
// voltage the solver agrees with the recursion.
func TestEndOfLineIsThePessimist(t *testing.T) {
	random := rand.New(rand.NewPCG(10, 72))
	n := dice(random.IntN)
	tooLow, agreed := 0, 0
	for range 5000 {
		b := newBench(t, n.circuit(0.5))
		for _, from := range []End{FromFirst, FromReturn} {
			if from == FromReturn && !b.c.Ring() {
				continue
			}
			lump, enough := b.c.EndOfLine(startNFPA, from), true
			drops := b.c.PointToPoint(startNFPA, from)
			for i, d := range drops {
				enough = enough && d.MarginMicroV >= 0
				if lump.MicroV > d.MicroV+1 { // each is rounded
					t.Fatalf("load %d has %d uV point to point, %d uV by the end-of-line method", i, d.MicroV, lump.MicroV)
				}
			}
			if !enough {
				tooLow++
				continue
			}
			if b.c.Ring() && from == FromFirst {
				b.s.Break(b.c.Runs()-1, Both)
			} else if b.c.Ring() {
				b.s.Break(0, Both)
			}
			b.active(startNFPA)
			for i, d := range drops {
				agreed++
				near(t, "solver against recursion", float64(b.w.MicroV(i)), float64(d.MicroV), toleranceMicroV)
			}
			b.c.Heal(b.s)
		}
	}
	if min(tooLow, agreed) < 500 {
		t.Errorf("%d circuits too low, %d voltages compared: too few to mean anything", tooLow, agreed)
	}
}

// By hand: two loads of 100 mA after 50 m each of 10 ohm/km drop 2 x 1 ohm x 0.2 A = 0.4 V by the
// end-of-line method. Every load must have its least voltage there, so the highest of them counts, wherever
// the load stands (common practice).
func TestEndOfLineMargin(t *testing.T) {
	for _, least := range [][2]float64{{16, 18}, {18, 16}} {
		loads := []*pb.Load{sounder(50, 100), sounder(50, 100)}
		for i := range loads {
			loads[i].GetSounder().MinVoltageV = &least[i]
		}
		drop := newBench(t, branch(10, 4700, loads...)).c.EndOfLine(startNFPA, FromFirst)
		near(t, "end of line", float64(drop.MicroV)/1e6, 20, toleranceMicroV/1e6)
		near(t, "margin", float64(drop.MarginMicroV)/1e6, 2, toleranceMicroV/1e6)
	}
}

// Longest run for a budget of 4.4 V (20.4 V less 16 V), L = V / (2 I r): computed.
func TestLongestRun(t *testing.T) {
	for _, c := range []struct{ amps, perKft, feet float64 }{{2, 1.98, 555.6}, {1, 3.14, 700.6}, {1.5, 3.14, 467.1}} {
		lump := Lump{BudgetV: startNFPA - leastNFPA, Amps: c.amps, OhmPerUnitLength: c.perKft / 1000}
		near(t, "feet", lump.Longest(), c.feet, 0.1)
	}
}

// A supervised line of 24 V behind 1 kohm, cable loop of 7.26 ohm (300 m of 12.1 ohm/km), resistor
// 4.7 kohm: normal, with 680 ohm across the resistor, shorted at the far end, open. Computed from
// Ohm's law.
func TestSupervisionReadings(t *testing.T) {
	line := branch(12.1, 4700, sounder(300, 20), sounder(0, 20))
	for _, c := range []struct {
		name     string
		fault    func(b *bench)
		milliA   float64
		volts    float64
		verdict  Verdict
		readOhm  float64
		energise bool
	}{
		{"normal", func(*bench) {}, 4.205, 19.795, Normal, 4707.26, true},
		{"680 ohm across the resistor", func(b *bench) { b.s.SetSecond(680) }, 14.988, 9.012, Short, 601.31, false},
		{"short at the far end", func(b *bench) { b.s.SetShort(1, 0) }, 23.827, 0.173, Short, 7.26, false},
		{"open", func(b *bench) { b.s.Break(0, Both) }, 0, 24, Open, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, line)
			c.fault(b)
			r := b.rest()
			near(t, "milliamperes", float64(r.MicroA)/1e3, c.milliA, 0.0005)
			near(t, "volts", float64(r.MicroV)/1e6, c.volts, 0.0005)
			if c.readOhm > 0 {
				near(t, "ohms", float64(r.MilliOhm)/1e3, c.readOhm, 0.01)
			}
			if r.Verdict != c.verdict || b.c.MayEnergise(r.Verdict) != c.energise {
				t.Errorf("reads %v, may be energised %v; want %v, %v", r.Verdict, b.c.MayEnergise(r.Verdict), c.verdict, c.energise)
			}
		})
	}
}
