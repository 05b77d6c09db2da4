package wire

import "fmt"

// Default is a figure that applies where a file gives none.
type Default struct {
	Key    string // field, as in the file, or what it is where no field sets it
	Value  string // with its unit
	Source string
}

// Defaults lists the electrical defaults of a loop that change a result. None is a standard's.
func Defaults() []Default {
	const source = "common practice"
	ma := func(amps float64) string { return fmt.Sprintf("%g mA", float64(amps*1000)) }
	v := func(micro int64) string { return fmt.Sprintf("%g V", float64(micro)/1e6) }
	return []Default{
		{"loops.driver.current_limit_ma", ma(defaultLimit), source},
		{"loops.driver.source_ohm", "0 ohm", source},
		{"driver folds back", fmt.Sprintf("below %s, to %g of its limit", v(foldback), foldbackShare), source},
		{"cable.temperature_c", fmt.Sprintf("%g C", defaultTemperatureC), "IEC 60228 states its values at 20 C"},
		{"cable.capacitance_pf_per_m", fmt.Sprintf("%g pF/m", defaultPicofarads), source},
		{"device_types.standby_ma", ma(defaultStandby), source},
		{"device_types.indicator_ma", ma(defaultIndicator), source},
		{"indicators lit at once", fmt.Sprint(indicatorsAtOnce), source},
		{"loop_sounder.current_ma", ma(defaultSounder), source},
		{"device_types.drop_out_v", v(defaultDropOut), source},
		{"device_types.pick_up_v", v(defaultPickUp), source},
		{"hold-up of a device", HoldUp.String(), source},
		{"restart of a device", RestartTime.String(), source},
		{"device_types.isolator_opens_v", v(defaultOpens), source},
		{"device_types.isolator_ohm", fmt.Sprintf("%g ohm", defaultIsolator), source},
		{"an isolator opens after", OpenTime.String(), source},
		{"an isolator tests and closes after", CloseTime.String(), source},
		{"a core counts as broken above", fmt.Sprintf("%g ohm", brokenOhm), source},
	}
}
