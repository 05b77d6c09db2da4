package power

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/loop/figure"
	"loopdrill.dev/loopdrill/proto/rule"
)

const (
	commonPractice = "common practice"
	fromMemory     = ", from memory"
)

// Figures of the model. Defaults lists each with its source.
const (
	nominalV     = 24.0
	lowCellV     = 1.85 // lowest before low battery
	lowPercent   = 25   // of the charge: low battery at or below
	fuseTime     = time.Second
	rateHours    = 20 // at which capacity is rated
	highRateNum  = 7  // a current above C/20 counts 7/4
	highRateDen  = 4
	firstPercent = 80 // charged in firstHours, the rest in restHours
	firstHours   = 24
	restHours    = 48
)

// Delays are the times from a fault to its indication.
type Delays struct {
	Mains   time.Duration // mains lost
	Charger time.Duration // charger failed
	Battery time.Duration // battery disconnected
	Low     time.Duration // battery low
	Output  time.Duration // output lost
}

// PackDelays are the longest that the rules of the site permit.
func PackDelays(rules *rule.Set) Delays {
	return Delays{
		Mains: rules.Duration(rule.MainsFault), Charger: rules.Duration(rule.ChargerFault), Battery: rules.Duration(rule.BatteryFault),
		Low: rules.Duration(rule.LowBatteryFault), Output: rules.Duration(rule.FaultTime),
	}
}

// Defaults lists the figures of the package that change a result.
func Defaults() []figure.Default {
	return []figure.Default{
		{Key: "panel.supply.voltage_v", Value: fmt.Sprintf("%g V", nominalV), Source: commonPractice},
		{Key: "panel.supply.end_voltage_v", Value: "limit " + rule.StartVoltage, Source: "rule pack; " + commonPractice + ": in proportion to its cells"},
		{Key: "supplies.end_voltage_v", Value: "limit " + rule.StartVoltage, Source: "rule pack; " + commonPractice + ": in proportion to its cells"},
		{Key: "supply voltage until low battery", Value: fmt.Sprintf("%g V a cell", lowCellV), Source: commonPractice},
		{Key: "supply low battery", Value: fmt.Sprintf("%d %% of the charge", lowPercent), Source: commonPractice},
		{Key: "supply current above C/20", Value: fmt.Sprintf("counts %d/%d", highRateNum, highRateDen), Source: "BS 5839-1, annex on battery capacity: D = 1.75"},
		{Key: "supply recharge", Value: fmt.Sprintf("%d %% in %d h, the rest in %d h", firstPercent, firstHours, restHours), Source: "EN 54-4 5.3" + fromMemory},
		{Key: "supply fuse blows after", Value: fuseTime.String(), Source: commonPractice},
	}
}
