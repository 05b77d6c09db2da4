package power

import (
	"fmt"
	"time"
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

// Default is a figure that applies where a file gives none.
type Default struct {
	Key    string
	Value  string // with its unit
	Source string
}

// Defaults lists the figures of the package that change a result.
func Defaults() []Default {
	return []Default{
		{"panel.supply.voltage_v", fmt.Sprintf("%g V", nominalV), commonPractice},
		{"panel.supply.end_voltage_v", "21 V (1.75 V a cell)", commonPractice},
		{"supplies.end_voltage_v", "20.4 V (nfpa72), 21 V (en54, bs5839-1)", "0.85 x 24 V, NFPA 72 10.3; 1.75 V a cell, " + commonPractice},
		{"supply voltage until low battery", fmt.Sprintf("%g V a cell", lowCellV), commonPractice},
		{"supply low battery", fmt.Sprintf("%d %% of the charge", lowPercent), commonPractice},
		{"supply current above C/20", fmt.Sprintf("counts %d/%d", highRateNum, highRateDen), "BS 5839-1, annex on battery capacity: D = 1.75"},
		{"supply recharge", fmt.Sprintf("%d %% in %d h, the rest in %d h", firstPercent, firstHours, restHours), "EN 54-4 5.3" + fromMemory},
		{"supply fuse blows after", fuseTime.String(), commonPractice},
		{"supply mains fault after", "30m (en54, bs5839-1), 200s (nfpa72)", "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{"supply charger fault after", "30m (en54, bs5839-1), 200s (nfpa72)", "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{"supply battery fault after", "15m (en54, bs5839-1), 200s (nfpa72)", "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{"supply low battery fault after", "30m (en54, bs5839-1), 200s (nfpa72)", "EN 54-4 5.4, BS 5839-1 12" + fromMemory + "; NFPA 72 chapter 10"},
		{"supply output fault after", "100s (en54, bs5839-1), 200s (nfpa72)", "EN 54-2 8.1" + fromMemory + "; NFPA 72 chapter 10"},
	}
}
