package circuit

import "fmt"

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

// Default is a figure that applies where a file gives none.
type Default struct {
	Key    string
	Value  string // with its unit
	Source string
}

// Defaults lists the figures of the package that change a result.
func Defaults() []Default {
	return []Default{
		{"circuit.supervision voltage", fmt.Sprintf("%g V, reversed", SupervisionV), commonPractice},
		{"circuit.supervision source", fmt.Sprintf("%d ohm", SupervisionOhm), commonPractice},
		{"circuit.open above", fmt.Sprintf("%g x end_of_line_ohm", openAbove), commonPractice},
		{"circuit.short below", fmt.Sprintf("%g x end_of_line_ohm", shortBelow), commonPractice},
		{"circuit.earth fault below", fmt.Sprintf("%d ohm", earthBelowOhm), commonPractice},
		{"circuit.short of 0 ohm", fmt.Sprintf("%g ohm", leastFaultOhm), commonPractice},
		{"circuit.joint", fmt.Sprintf("%d ohm", defaultJoint), commonPractice},
		{"loads.diode", fmt.Sprintf("%g V", diodeV), commonPractice},
		{"loads.knee", fmt.Sprintf("%g x min_voltage_v", kneeShare), commonPractice},
		{"loads.min_voltage_v", fmt.Sprintf("%g V (nfpa72), %g V (en54, bs5839-1)", leastNFPA, leastEN), "16 V: UL 464, UL 1971; 18 V: " + commonPractice},
		{"start voltage", fmt.Sprintf("%g V (nfpa72), %g V (en54, bs5839-1)", startNFPA, startEN), "0.85 x 24 V, NFPA 72 10.3; 1.75 V a cell, " + commonPractice},
		{"contact.volts_v, contact.amps_a", fmt.Sprintf("%g V, %g A d.c. resistive; %g A a.c.", ratingV, ratingA, ratingACA), commonPractice},
		{"contact derating for coils", fmt.Sprintf("%g", inductive), commonPractice},
		{"contact mains above", fmt.Sprintf("%g V", extraLowV), commonPractice},
		{"contact contactor above", fmt.Sprintf("%g mA", directMA), commonPractice},
		{"equipment.coil_v", fmt.Sprintf("%g V", coilV), commonPractice},
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
