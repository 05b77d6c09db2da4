package power

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/loop/figure"
)

const (
	commonPractice = "common practice"
	fromMemory     = ", from memory"
)

// Figures of the model. Defaults lists each with its source.
const (
	defaultEdition = 2022 // of nfpa72
	nominalV       = 24.0
	endCellV       = 1.75 // end of discharge
	lowCellV       = 1.85 // lowest before low battery
	lowPercent     = 25   // of the charge: low battery at or below
	fuseTime       = time.Second
	rateHours      = 20 // at which capacity is rated
	highRateNum    = 7  // a current above C/20 counts 7/4
	highRateDen    = 4
	firstPercent   = 80 // charged in firstHours, the rest in restHours
	firstHours     = 24
	restHours      = 48
)

// Delays are the times from a fault to its indication.
type Delays struct {
	Mains   time.Duration // mains lost
	Charger time.Duration // charger failed
	Battery time.Duration // battery disconnected
	Low     time.Duration // battery low
	Output  time.Duration // output lost
}

// PackDelays are the longest that a rule pack, the file's first one, permits: EN 54-4 5.4 and BS
// 5839-1 12 (from memory), with 100 s for the output (EN 54-2 8.1, from memory); NFPA 72: 200 s.
func PackDelays(pack string) Delays {
	if pack == "nfpa72" {
		const trouble = 200 * time.Second
		return Delays{Mains: trouble, Charger: trouble, Battery: trouble, Low: trouble, Output: trouble}
	}
	return Delays{Mains: 30 * time.Minute, Charger: 30 * time.Minute, Battery: 15 * time.Minute, Low: 30 * time.Minute, Output: 100 * time.Second}
}

// Defaults lists the figures of the package that change a result.
func Defaults() []figure.Default {
	return []figure.Default{
		{Key: "panel.supply.voltage_v", Value: fmt.Sprintf("%g V", nominalV), Source: commonPractice},
		{Key: "panel.supply.end_voltage_v", Value: "20.4 V (nfpa72), 21 V (en54, bs5839-1)", Source: "0.85 x 24 V, NFPA 72 10.3; 1.75 V a cell, " + commonPractice},
		{Key: "supplies.end_voltage_v", Value: "20.4 V (nfpa72), 21 V (en54, bs5839-1)", Source: "0.85 x 24 V, NFPA 72 10.3; 1.75 V a cell, " + commonPractice},
		{Key: "supply voltage until low battery", Value: fmt.Sprintf("%g V a cell", lowCellV), Source: commonPractice},
		{Key: "supply low battery", Value: fmt.Sprintf("%d %% of the charge", lowPercent), Source: commonPractice},
		{Key: "supply current above C/20", Value: fmt.Sprintf("counts %d/%d", highRateNum, highRateDen), Source: "BS 5839-1, annex on battery capacity: D = 1.75"},
		{Key: "supply recharge", Value: fmt.Sprintf("%d %% in %d h, the rest in %d h", firstPercent, firstHours, restHours), Source: "EN 54-4 5.3" + fromMemory},
		{Key: "supply fuse blows after", Value: fuseTime.String(), Source: commonPractice},
		{Key: "supply mains fault after", Value: "30m (en54, bs5839-1), 200s (nfpa72)", Source: "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{Key: "supply charger fault after", Value: "30m (en54, bs5839-1), 200s (nfpa72)", Source: "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{Key: "supply battery fault after", Value: "15m (en54, bs5839-1), 200s (nfpa72)", Source: "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{Key: "supply low battery fault after", Value: "30m (en54, bs5839-1), 200s (nfpa72)", Source: "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{Key: "supply output fault after", Value: "100s (en54, bs5839-1), 200s (nfpa72)", Source: "EN 54-2 8.1" + fromMemory + "; NFPA 72 chapter 10"},
	}
}
