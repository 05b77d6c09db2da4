package wire

import (
	"fmt"
	"math"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// metresPerKft is 1000 ft of 0.3048 m.
const metresPerKft = 304.8

// Defaults of a cable.
const (
	defaultTemperatureC = 20.0
	defaultPicofarads   = 120.0 // per metre, core to core: common practice for fire-resistant cable
)

// metric is a row of IEC 60228: plain annealed copper, greatest d.c. resistance of one conductor at
// 20 C, ohms per kilometre.
type metric struct{ mm2, solid, flexible float64 }

// iec60228 holds classes 1 and 2 (solid, stranded: the same figures) and class 5 (flexible).
var iec60228 = [...]metric{
	{0.5, 36.0, 39.0},
	{0.75, 24.5, 26.0},
	{1.0, 18.1, 19.5},
	{1.5, 12.1, 13.3},
	{2.5, 7.41, 7.98},
	{4, 4.61, 4.95},
	{6, 3.08, 3.30},
}

// gauge is a size of ASTM B258 with its resistance from NEC chapter 9 table 8: uncoated copper, one
// conductor at 75 C, ohms per 1000 ft. The diameter is 0.005 in x 92^((36-n)/39), computed once.
type gauge struct {
	awg               uint32
	diameterMm        float64
	solid75, strand75 float64
}

var b258 = [...]gauge{
	{18, 1.0237, 7.77, 7.95},
	{16, 1.2908, 4.89, 4.99},
	{14, 1.6277, 3.07, 3.14},
	{12, 2.0525, 1.93, 1.98},
	{10, 2.5882, 1.21, 1.24},
}

// ResistanceRemedy says how a cable gets a resistance: with a size of the tables above, or its own.
func ResistanceRemedy() string {
	var mm2, awg []string
	for _, row := range iec60228 {
		mm2 = append(mm2, fmt.Sprintf("%g", row.mm2))
	}
	for _, row := range b258 {
		awg = append(awg, fmt.Sprint(row.awg))
	}
	return fmt.Sprintf("give exactly one of conductor_mm2 (%s), conductor_awg (%s) and ohm_per_km", strings.Join(mm2, ", "), strings.Join(awg, ", "))
}

// conductor is what the solver needs to know of a cable.
type conductor struct {
	ohmPerM   float64 // of one core, at its temperature
	faradPerM float64 // core to core
}

// conduct reads a cable; ok is false where the table does not hold the size or nothing, or more
// than one thing, says what the conductor is, with the reason in why.
func conduct(k *pb.Cable) (c conductor, why string) {
	t := defaultTemperatureC
	if k.TemperatureC != nil {
		t = k.GetTemperatureC()
	}
	given := 0
	for _, set := range []bool{k.ConductorMm2 != nil, k.ConductorAwg != nil, k.OhmPerKm != nil} {
		if set {
			given++
		}
	}
	if given != 1 {
		return c, "the cable needs exactly one of conductor_mm2, conductor_awg and ohm_per_km"
	}
	var perM float64
	ok := true
	switch {
	case k.ConductorMm2 != nil:
		perM, ok = metricOhmPerM(k.GetConductorMm2(), k.GetClass() == 5, t)
		why = fmt.Sprintf("%g mm2 is no size of the table of IEC 60228", k.GetConductorMm2())
	case k.ConductorAwg != nil:
		perM, ok = gaugeOhmPerM(k.GetConductorAwg(), k.GetStranded(), t)
		why = fmt.Sprintf("%d AWG is no size of the table of ASTM B258", k.GetConductorAwg())
	default:
		perM = float64(k.GetOhmPerKm() / 1000 * copper(t))
		why = fmt.Sprintf("%g ohm/km is no resistance", k.GetOhmPerKm())
	}
	if !ok || !(perM > 0) || math.IsInf(perM, 0) {
		return c, why
	}
	pf := defaultPicofarads
	if k.CapacitancePfPerM != nil {
		pf = k.GetCapacitancePfPerM()
	}
	if !(pf >= 0) || math.IsInf(pf, 0) {
		return c, fmt.Sprintf("%g pF/m is no capacitance", pf)
	}
	return conductor{ohmPerM: perM, faradPerM: pf / 1e12}, ""
}

// copper is the resistance of copper at t degrees Celsius over that at 20: (234.5 + t) / 254.5
// (IEC 60228 gives the inverse for correction to 20 C; from memory).
func copper(t float64) float64 { return (234.5 + t) / 254.5 }

// metricOhmPerM is the resistance of one core, ohms per metre, at t degrees Celsius.
func metricOhmPerM(mm2 float64, flexible bool, t float64) (float64, bool) {
	for _, row := range iec60228 {
		if row.mm2 == mm2 {
			r := row.solid
			if flexible {
				r = row.flexible
			}
			return float64(r / 1000 * copper(t)), true
		}
	}
	return 0, false
}

// gaugeOhmPerM is the resistance of one core, ohms per metre, at t degrees Celsius:
// R75 x (1 + 0.00323 (t - 75)) (note of NEC chapter 9 table 8; from memory).
func gaugeOhmPerM(awg uint32, stranded bool, t float64) (float64, bool) {
	for _, row := range b258 {
		if row.awg == awg {
			r := row.solid75
			if stranded {
				r = row.strand75
			}
			return float64(r / metresPerKft * (1 + float64(0.00323*(t-75)))), true
		}
	}
	return 0, false
}
