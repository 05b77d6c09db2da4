package circuit

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/figure"
	"loopdrill.dev/loopdrill/proto/rule"
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
	isolatorOhm    = 0.1  // of a closed isolator, in the positive core
	isolatorOpensV = 10.0 // below
	overloadTimes  = 2.0  // the circuit's rated current, above which a section is cut off
	feltA          = 1e-3 // a fault that draws less is not why a voltage is low
	leastOhm       = 1e-6 // of any piece of cable
	leastFaultOhm  = 1e-3 // of a short or an earth: two pieces of metal that touch

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
		{Key: "circuit.wiring", Value: "branch", Source: commonPractice},
		{Key: "circuit.supervision voltage", Value: fmt.Sprintf("%g V, reversed", SupervisionV), Source: commonPractice},
		{Key: "circuit.supervision source", Value: fmt.Sprintf("%d ohm", SupervisionOhm), Source: commonPractice},
		{Key: "circuit.open above", Value: fmt.Sprintf("%g x end_of_line_ohm", openAbove), Source: commonPractice},
		{Key: "circuit.short below", Value: fmt.Sprintf("%g x end_of_line_ohm", shortBelow), Source: commonPractice},
		{Key: "circuit.earth fault below", Value: fmt.Sprintf("%d ohm", earthBelowOhm), Source: commonPractice},
		{Key: "circuit.short of 0 ohm", Value: fmt.Sprintf("%g ohm", leastFaultOhm), Source: commonPractice},
		{Key: "circuit.isolator", Value: fmt.Sprintf("%g ohm closed; opens below %g V, or above %g x the circuit's rated current", isolatorOhm, isolatorOpensV, overloadTimes), Source: commonPractice},
		{Key: "loads.diode", Value: fmt.Sprintf("%g V", diodeV), Source: commonPractice},
		{Key: "loads.knee", Value: fmt.Sprintf("%g x min_voltage_v", kneeShare), Source: commonPractice},
		{Key: "loads.min_voltage_v", Value: "limit " + rule.LoadVoltage, Source: "rule pack"},
		{Key: "contact.volts_v, contact.amps_a", Value: fmt.Sprintf("%g V, %g A d.c. resistive; %g A a.c.", ratingV, ratingA, ratingACA), Source: commonPractice},
		{Key: "contact derating for coils", Value: fmt.Sprintf("%g", inductive), Source: commonPractice},
		{Key: "contact mains above", Value: fmt.Sprintf("%g V", extraLowV), Source: commonPractice},
		{Key: "contact contactor above", Value: fmt.Sprintf("%g mA", directMA), Source: commonPractice},
		{Key: "equipment.coil_v", Value: fmt.Sprintf("%g V", coilV), Source: commonPractice},
	}
}
