package wire

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.6g, want %.6g +- %g", what, got, want, tolerance)
	}
}

// IEC 60228, plain annealed copper at 20 C: every size, classes 1, 2 and 5 (ohm/km as the standard's
// table 1, 2 and 3 list them; two-core loop is twice that).
func TestMetricSizes(t *testing.T) {
	for _, row := range []struct{ mm2, class1, class5, loop float64 }{
		{0.5, 36.0, 39.0, 72.0}, {0.75, 24.5, 26.0, 49.0}, {1, 18.1, 19.5, 36.2}, {1.5, 12.1, 13.3, 24.2},
		{2.5, 7.41, 7.98, 14.82}, {4, 4.61, 4.95, 9.22}, {6, 3.08, 3.30, 6.16},
	} {
		for class, want := range map[uint32]float64{0: row.class1, 1: row.class1, 2: row.class1, 5: row.class5} { // order does not show: independent checks
			k := &pb.Cable{ConductorMm2: &row.mm2}
			if class > 0 {
				k.Class = new(class)
			}
			c, why := conduct(k)
			if why != "" {
				t.Fatal(why)
			}
			near(t, "ohm/km", c.ohmPerM*1000, want, 1e-9)
		}
		n := build(t, plan{ring: true, run: 1000, mm2: row.mm2}.loop())
		near(t, "loop ohm of 1 km", float64(n.Figures().LoopMicroOhm)/1e6, row.loop, 1e-6)
	}
}

// NEC chapter 9 table 8, uncoated copper, ohm per 1000 ft at 75 C, solid and stranded; the conversion
// to 20 C by the table's own note; diameters and areas by the formula of ASTM B258.
func TestGauges(t *testing.T) {
	for _, row := range []struct {
		awg                       uint32
		solid, stranded, at20     float64
		diameter, published, area float64
	}{
		{18, 7.77, 7.95, 6.390, 1.0237, 1.024, 0.8230},
		{16, 4.89, 4.99, 4.021, 1.2908, 1.291, 1.3087},
		{14, 3.07, 3.14, 2.525, 1.6277, 1.628, 2.0809},
		{12, 1.93, 1.98, 1.587, 2.0525, 2.053, 3.3088},
		{10, 1.21, 1.24, 0.995, 2.5882, 2.588, 5.2612}, // worked step by step at bit1024.com: 2.588 mm, 5.261 mm2
	} {
		kft := func(stranded bool, c float64) float64 {
			r, ok := gaugeOhmPerM(row.awg, stranded, c)
			if !ok {
				t.Fatalf("%d AWG is not in the table", row.awg)
			}
			return r * metresPerKft
		}
		near(t, "solid at 75 C", kft(false, 75), row.solid, 1e-9)
		near(t, "stranded at 75 C", kft(true, 75), row.stranded, 1e-9)
		near(t, "solid at 20 C", kft(false, 20), row.at20, 0.0005)
		for _, g := range b258 {
			if g.awg != row.awg {
				continue
			}
			near(t, "diameter", g.diameterMm, row.diameter, 1e-9)
			near(t, "diameter as published", g.diameterMm, row.published, 0.0005)
			near(t, "diameter by the formula", g.diameterMm, 25.4*0.005*math.Pow(92, (36-float64(row.awg))/39), 0.00006)
			near(t, "area", math.Pi/4*g.diameterMm*g.diameterMm, row.area, 0.0003)
		}
	}
}

// Worked examples of training pages:
//   - http://electrician2.com/weltrain05/lpage135.html: 16 AWG stranded at 4.99 ohm/kft, 100 ft one
//     way, 4 A, 24 V: 3.992 V, 16.63 %;
//   - http://www.electricianmath.com/neccalculations/conductorresistance.htm: 18 AWG at 6.505
//     ohm/kft, 400 ft of single conductor: 2.602 ohm;
//   - http://electricianpracticetests.com/national-electrical-code-questions/voltage-drop-calculations-1-nec-code-questions/:
//     12 AWG at 2.0 ohm/kft, 100 ft one way, 8 A: 3.2 V; 10 AWG at 1.2 ohm/kft, 50 ft one way, 16 A: 1.92 V.
func TestPublishedDrops(t *testing.T) {
	r, _ := gaugeOhmPerM(16, true, 75)
	drop := 4 * 2 * r * 100 * 0.3048
	near(t, "16 AWG, drop", drop, 3.992, 0.0005)
	near(t, "16 AWG, per cent", drop/24*100, 16.63, 0.01)
	perKm := 6.505 / 0.3048
	c, _ := conduct(&pb.Cable{OhmPerKm: &perKm})
	near(t, "18 AWG, one conductor", c.ohmPerM*400*0.3048, 2.602, 1e-9)
	perKm = 2.0 / 0.3048
	c, _ = conduct(&pb.Cable{OhmPerKm: &perKm})
	near(t, "12 AWG, drop", c.ohmPerM*2*100*0.3048*8, 3.2, 1e-9)
	perKm = 1.2 / 0.3048
	c, _ = conduct(&pb.Cable{OhmPerKm: &perKm})
	near(t, "10 AWG, drop", c.ohmPerM*2*50*0.3048*16, 1.92, 1e-9)
}

// Temperature: R20 = Rt x 254.5/(234.5+t) (standard form, from memory), within 0.4 % of the published
// factors 250/(230+t): 0.980 at 25 C, 0.893 at 50 C, 0.833 at 70 C.
func TestTemperature(t *testing.T) {
	for c, factor := range map[float64]float64{5: 1.064, 25: 0.980, 40: 0.926, 50: 0.893, 60: 0.862, 70: 0.833, 75: 0.820} { // order does not show: independent checks
		near(t, "factor to 20 C", 1/copper(c), factor, 0.004*factor)
	}
	near(t, "factor at 20 C", copper(20), 1, 0)
}

func TestCableRefused(t *testing.T) {
	for _, k := range []*pb.Cable{
		{}, {ConductorMm2: new(1.4)}, {ConductorAwg: proto.Uint32(17)}, {ConductorAwg: proto.Uint32(16), ConductorMm2: new(1.5)},
		{OhmPerKm: proto.Float64(-1)}, {OhmPerKm: new(math.NaN())}, {ConductorMm2: proto.Float64(1), TemperatureC: proto.Float64(-300)},
		{ConductorMm2: proto.Float64(1), CapacitancePfPerM: proto.Float64(-1)},
	} {
		if _, why := conduct(k); why == "" {
			t.Errorf("%v is accepted", k)
		}
	}
}
