package power

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Need is what a battery has to carry.
type Need struct {
	StandbyMicroA int64
	AlarmMicroA   int64 // the whole current in alarm, standby included
}

// Sizing is one battery calculation. Capacities are at the 20 h rate.
type Sizing struct {
	Method          string // rule pack whose formula it is
	Clause          string
	Need            Need
	StandbyTime     time.Duration
	AlarmTime       time.Duration
	MarginPercent   int64 // 125 for x 1.25
	HighRatePercent int64 // D of BS 5839-1: 175 or 100
	StandbyMicroAh  int64 // before the margin
	AlarmMicroAh    int64 // before the margin, with D
	RequiredMicroAh int64
	FittedMicroAh   int64 // 0: none written
}

// Parts of the formulas; their times and margins are the rules'.
const (
	ordinaryRate    = 100
	microAhPerPart  = 3600 * 100 * 100 // microampere-seconds x percent x percent in a microampere-hour
	secondsInAnHour = 3600
)

// NFPA72 sizes by NFPA 72 10.6.7: standby, then a time in alarm, a longer one with speech; plus a
// margin that the edition sets.
func NFPA72(n Need, rules *rule.Set, voice bool) Sizing {
	alarm := rule.BatteryAlarm
	if voice {
		alarm = rule.BatteryVoice
	}
	z := Sizing{Method: "nfpa72", Clause: "NFPA 72 10.6.7", Need: n, HighRatePercent: ordinaryRate}
	z.take(rules, "nfpa72", alarm)
	z.sum()
	return z
}

// BS5839 sizes by the annex of BS 5839-1: 1.25 x (T1 x I1 + D x I2 x 0.5 h). D is 1.75, or 1 if I2
// is at most C/20 of the battery. That is circular, since D decides the battery: it is taken as 1.75
// until a battery is written that satisfies it.
func BS5839(n Need, rules *rule.Set, fittedMicroAh int64) Sizing {
	z := Sizing{Method: "bs5839-1", Clause: "BS 5839-1, annex on battery capacity", Need: n, FittedMicroAh: fittedMicroAh, HighRatePercent: ordinaryRate}
	z.take(rules, "bs5839-1", rule.BatteryAlarm)
	if n.AlarmMicroA > fittedMicroAh/rateHours {
		z.HighRatePercent = percent(rules, "bs5839-1", rule.BatteryHighRate)
	}
	z.sum()
	return z
}

// take reads the times and the margin of a pack's formula.
func (z *Sizing) take(rules *rule.Set, pack, alarm string) {
	standby, _ := rules.For(pack, rule.BatteryStandby)
	inAlarm, _ := rules.For(pack, alarm)
	z.StandbyTime, z.AlarmTime, z.MarginPercent = standby.Duration(), inAlarm.Duration(), percent(rules, pack, rule.BatteryMargin)
}

func percent(rules *rule.Set, pack, name string) int64 {
	l, _ := rules.For(pack, name)
	return l.Micro() / 1e6
}

// sum works the formula out. Rounding is up: no battery passes that is short of a microampere-hour.
func (z *Sizing) sum() {
	standby := z.Need.StandbyMicroA * int64(z.StandbyTime/time.Second)
	alarm := z.Need.AlarmMicroA * int64(z.AlarmTime/time.Second) * z.HighRatePercent // x percent
	z.StandbyMicroAh = up(standby, secondsInAnHour)
	z.AlarmMicroAh = up(alarm, secondsInAnHour*100)
	z.RequiredMicroAh = up((standby*100+alarm)*z.MarginPercent, microAhPerPart)
}

// up divides and rounds up; neither is negative.
func up(a, b int64) int64 { return (a + b - 1) / b }

// Enough reports whether the battery written is as large as required.
func (z *Sizing) Enough() bool { return z.FittedMicroAh >= z.RequiredMicroAh }

// Need is what supply i has to carry, with the current of its output circuits all active.
func (p *Power) Need(i int, circuitsMicroA int64) Need {
	f := &p.supplies[i]
	return Need{StandbyMicroA: f.standby, AlarmMicroA: f.standby + f.alarm + circuitsMicroA}
}

// Sizings calculates supply i by each of the site's rule packs; en54 has no formula of its own and
// uses that of bs5839-1.
func (p *Power) Sizings(i int, circuitsMicroA int64) []Sizing {
	f, n := &p.supplies[i], p.Need(i, circuitsMicroA)
	var list []Sizing
	for _, pack := range p.rules.Packs() {
		z := BS5839(n, p.rules, f.microAh)
		if pack == "nfpa72" {
			z = NFPA72(n, p.rules, f.voice)
			z.FittedMicroAh = f.microAh
		}
		if !slices.ContainsFunc(list, func(o Sizing) bool { return o.Method == z.Method }) {
			list = append(list, z)
		}
	}
	return list
}

// Check reports what supply i cannot carry, with its output circuits all active.
func (p *Power) Check(i int, circuitsMicroA int64) []*pb.Finding {
	f := &p.supplies[i]
	var found []*pb.Finding
	alarm := p.Need(i, circuitsMicroA).AlarmMicroA
	if f.limit > 0 && alarm > f.limit {
		found = append(found, finding.Error("supply.overload", f.path+".current_limit_a",
			fmt.Sprintf("%s gives %g A and is asked for %g A in alarm", f.id, amps(f.limit), amps(alarm)),
			"move circuits to another supply, or use a larger one"))
	}
	if f.fuse > 0 && alarm > f.fuse {
		found = append(found, finding.Error("supply.fuse", f.path+".fuse_a",
			fmt.Sprintf("the fuse of %s is %g A and the current in alarm %g A", f.id, amps(f.fuse), amps(alarm)),
			"it would blow in an alarm: move circuits to another supply, or use a larger fuse if supply and cable allow it"))
	}
	if f.microAh == 0 {
		return append(found, finding.Warn("supply.no-battery", f.path+".battery_ah", f.id+" has no battery",
			"without mains everything that it feeds is lost: write battery_ah"))
	}
	for _, z := range p.Sizings(i, circuitsMicroA) {
		if z.Enough() {
			continue
		}
		small := finding.Error("supply.battery-small", f.path+".battery_ah",
			fmt.Sprintf("the battery of %s has %g Ah and needs %g Ah", f.id, amps(z.FittedMicroAh), amps(z.RequiredMicroAh)),
			fmt.Sprintf("%v at %g A and %v at %g A, times %g: fit a larger battery, and a charger that can fill it",
				z.StandbyTime, amps(z.Need.StandbyMicroA), z.AlarmTime, amps(z.Need.AlarmMicroA), float64(z.MarginPercent)/100))
		small.Clause = z.Clause
		found = append(found, small)
	}
	return found
}

// amps writes millionths as a figure for people.
func amps(micro int64) float64 { return float64(micro) / 1e6 }
