package circuit

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/figure"
)

// commonPractice marks figures that no standard gives.
const commonPractice = "common practice"

// Figures of the model. Defaults lists each with its source.
const (
	SupervisionV   = 24.0 // open-circuit voltage at rest, reversed
	SupervisionOhm = 1000 // behind it
	openAbove      = 1.5  // of the end-of-line resistor
	shortBelow     = 0.5
	diodeV         = 0.7 // forward voltage of a load's series diode
	kneeShare      = 0.5 // of a load's least voltage: below it the current falls in proportion
	earthBelowOhm  = 20_000
	leastOhm       = 1e-6 // of any piece of cable
	leastFaultOhm  = 1e-3 // of a short or an earth: two pieces of metal that touch
	defaultJoint   = 100  // ohms of a bad joint

	startNFPA = 20.4 // volts at the terminals in a drop calculation
	startEN   = 21.0
	leastNFPA = 16.0 // volts at a load
	leastEN   = 18.0

	ratingV   = 30.0 // contact without a written rating
	ratingA   = 2.0
	inductive = 0.4   // share of the resistive rating for d.c. coils
	extraLowV = 60.0  // above: mains, taken as a.c.
	directMA  = 500.0 // a coil above this is a contactor, not an interposing relay
	coilV     = 24.0  // of equipment that gives none
	ratingACA = 0.5   // contact without a written rating, on mains
)

// Defaults lists the figures of the package that change a result.
func Defaults() []figure.Default {
	return []figure.Default{
		{Key: "circuit.supervision voltage", Value: fmt.Sprintf("%g V, reversed", SupervisionV), Source: commonPractice},
		{Key: "circuit.supervision source", Value: fmt.Sprintf("%d ohm", SupervisionOhm), Source: commonPractice},
		{Key: "circuit.open above", Value: fmt.Sprintf("%g x end_of_line_ohm", openAbove), Source: commonPractice},
		{Key: "circuit.short below", Value: fmt.Sprintf("%g x end_of_line_ohm", shortBelow), Source: commonPractice},
		{Key: "circuit.earth fault below", Value: fmt.Sprintf("%d ohm", earthBelowOhm), Source: commonPractice},
		{Key: "circuit.short of 0 ohm", Value: fmt.Sprintf("%g ohm", leastFaultOhm), Source: commonPractice},
		{Key: "circuit.joint", Value: fmt.Sprintf("%d ohm", defaultJoint), Source: commonPractice},
		{Key: "loads.diode", Value: fmt.Sprintf("%g V", diodeV), Source: commonPractice},
		{Key: "loads.knee", Value: fmt.Sprintf("%g x min_voltage_v", kneeShare), Source: commonPractice},
		{Key: "loads.min_voltage_v", Value: fmt.Sprintf("%g V (nfpa72), %g V (en54, bs5839-1)", leastNFPA, leastEN), Source: "16 V: UL 464, UL 1971; 18 V: " + commonPractice},
		{Key: "start voltage", Value: fmt.Sprintf("%g V (nfpa72), %g V (en54, bs5839-1)", startNFPA, startEN), Source: "0.85 x 24 V, NFPA 72 10.3; 1.75 V a cell, " + commonPractice},
		{Key: "contact.volts_v, contact.amps_a", Value: fmt.Sprintf("%g V, %g A d.c. resistive; %g A a.c.", ratingV, ratingA, ratingACA), Source: commonPractice},
		{Key: "contact derating for coils", Value: fmt.Sprintf("%g", inductive), Source: commonPractice},
		{Key: "contact mains above", Value: fmt.Sprintf("%g V", extraLowV), Source: commonPractice},
		{Key: "contact contactor above", Value: fmt.Sprintf("%g mA", directMA), Source: commonPractice},
		{Key: "equipment.coil_v", Value: fmt.Sprintf("%g V", coilV), Source: commonPractice},
	}
}

// Voltages are the two ends of a drop calculation under one rule pack.
type Voltages struct {
	StartV float64 // at the module's terminals
	LeastV float64 // at a load
}

// PackVoltages gives the voltages of a rule pack: the file's first one.
func PackVoltages(pack string) Voltages {
	if pack == "nfpa72" {
		return Voltages{StartV: startNFPA, LeastV: leastNFPA}
	}
	return Voltages{StartV: startEN, LeastV: leastEN}
}
