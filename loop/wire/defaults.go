package wire

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/figure"
)

// Defaults lists the electrical defaults of a loop that change a result. None is a standard's.
func Defaults() []figure.Default {
	const source = "common practice"
	ma := func(amps float64) string { return fmt.Sprintf("%g mA", float64(amps*1000)) }
	v := func(micro int64) string { return fmt.Sprintf("%g V", float64(micro)/1e6) }
	return []figure.Default{
		{Key: "loops.driver.current_limit_ma", Value: ma(defaultLimit), Source: source},
		{Key: "loops.driver.source_ohm", Value: "0 ohm", Source: source},
		{Key: "driver folds back", Value: fmt.Sprintf("below %s, to %g of its limit", v(foldback), foldbackShare), Source: source},
		{Key: "an overload of the driver is raised after", Value: fmt.Sprintf("%v in its limit; or at once if it comes into it, or a device loses its voltage, three times within %v", OverloadTime, TripTime), Source: source},
		{Key: "cable.class", Value: "1", Source: source},
		{Key: "cable.temperature_c", Value: fmt.Sprintf("%g C", defaultTemperatureC), Source: "IEC 60228 states its values at 20 C"},
		{Key: "cable.capacitance_pf_per_m", Value: fmt.Sprintf("%g pF/m", defaultPicofarads), Source: source},
		{Key: "device_types.standby_ma", Value: ma(defaultStandby), Source: source},
		{Key: "device_types.indicator_ma", Value: ma(defaultIndicator), Source: source},
		{Key: "indicators lit at once", Value: fmt.Sprint(indicatorsAtOnce), Source: source},
		{Key: "loop_sounder.current_ma", Value: ma(defaultSounder), Source: source},
		{Key: "device_types.drop_out_v", Value: v(defaultDropOut), Source: source},
		{Key: "device_types.pick_up_v", Value: v(defaultPickUp), Source: source},
		{Key: "hold-up of a device", Value: HoldUp.String(), Source: source},
		{Key: "restart of a device", Value: RestartTime.String(), Source: source},
		{Key: "device_types.isolator_opens_v", Value: v(defaultOpens), Source: source},
		{Key: "device_types.isolator_ohm", Value: fmt.Sprintf("%g ohm", defaultIsolator), Source: source},
		{Key: "an isolator opens after", Value: OpenTime.String(), Source: source},
		{Key: "an isolator tests and closes after", Value: CloseTime.String(), Source: source},
		{Key: "a bad joint of which a step says nothing", Value: fmt.Sprintf("%d ohm", JointOhm), Source: source},
		{Key: "a core counts as broken above", Value: fmt.Sprintf("%g ohm", brokenOhm), Source: source},
	}
}
