package check

import (
	"fmt"
	"math"
	"time"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Calculate computes the figures of a site that loop.Compile accepts.
func Calculate(site *pb.Site, in *loop.Installation) *pb.Calculations {
	out := &pb.Calculations{Limits: map[string]float64{}}
	for l := range in.Loops {
		out.Loops = append(out.Loops, loopFigures(site.GetLoops()[l], &in.Loops[l], in.Visits(l)))
	}
	for o := range in.Outputs {
		if in.Outputs[o].Circuit != nil && in.Outputs[o].Supply >= 0 {
			out.Circuits = append(out.Circuits, circuitFigures(site, in, o))
		}
	}
	for i := range in.Power.Len() {
		if i != in.Power.Panel() || site.GetPanel().GetSupply() != nil {
			out.Supplies = append(out.Supplies, supplyFigures(site, in, i))
		}
	}
	for _, l := range rule.Of(site.GetRules()).InForce() {
		out.Limits[l.Name] = l.Value
	}
	return out
}

func parts(micro int64) float64 { return float64(micro) / 1e6 }

func loopFigures(m *pb.Loop, l *loop.Loop, visits wire.Visits) *pb.LoopCalculation {
	n, f := l.Wire, l.Wire.Figures()
	class, _ := n.Class()
	c := &pb.LoopCalculation{
		Loop: l.Number, Wiring: m.GetWiring(), RequiredClass: m.GetRequiredClass(), AchievedClass: class,
		LengthM: float64(f.Millimetres) / 1e3, ResistanceOhm: parts(f.LoopMicroOhm), CapacitanceUf: parts(f.Picofarads),
		RestMa: float64(f.RestMicroAmp) / 1e3, AlarmMa: float64(f.AlarmMicroAmp) / 1e3, LimitMa: float64(f.LimitMicroAmp) / 1e3, DriverV: parts(f.DriverMicroVolt),
		ShortShownOhm: parts(f.ShownMicroOhm),
		OneEndRest:    lowest(n, f.OneEndRest), OneEndAlarm: lowest(n, f.OneEndAlarm),
	}
	if n.Ring() {
		c.BothEndsRest, c.BothEndsAlarm = lowest(n, f.BothEndsRest), lowest(n, f.BothEndsAlarm)
	}
	for e := range int32(n.Entries()) {
		if n.IsDevice(e) {
			c.DeviceCount++
		}
		if n.HasIsolator(e) {
			c.IsolatorCount++
		}
	}
	c.RoundS = Round(l).Seconds()
	for _, fault := range losses(n) {
		count := &c.LostToShortCount
		if fault.what == "break" {
			count = &c.LostToBreakCount
		}
		*count = max(*count, int32(len(fault.lost)))
	}
	worst := time.Duration(0)
	for _, r := range sampleRuns(m, n) {
		if blind := n.Blind(r, visits); blind > worst {
			worst, c.BlindBefore = blind, label(n, r)
		}
	}
	c.BlindS = worst.Seconds()
	return c
}

// sampleRuns are the runs whose short is tried for the time without devices: the first and the last of
// each section between isolators, because a dead short anywhere in a section opens the same
// isolators.
func sampleRuns(m *pb.Loop, n *wire.Network) []int32 {
	of, count := runSections(m, n)
	var list []int32
	first, last := make([]int32, count), make([]int32, count)
	for s := range first {
		first[s] = -1
	}
	for r, s := range of {
		if last[s] = int32(r); first[s] < 0 {
			first[s] = int32(r)
		}
	}
	for s := range first {
		switch {
		case first[s] < 0: // nothing behind the last isolator
		case first[s] == last[s]:
			list = append(list, first[s])
		default:
			list = append(list, first[s], last[s])
		}
	}
	return list
}

// Round is how long one round of polling takes with every device answering; the visit to an unused
// address, where asked for, is answered by nobody.
func Round(l *loop.Loop) time.Duration {
	cfg := l.Line.Config()
	round := time.Duration(len(cfg.Devices)) * cfg.PollSlot
	if l.Probes() {
		round += cfg.NoReplySlot
	}
	return round
}

func label(n *wire.Network, run int32) string {
	if n.Ring() && run == n.Return() {
		return "return"
	}
	return n.Label(run)
}

// lowest is nil on a loop without a device.
func lowest(n *wire.Network, l wire.Lowest) *pb.LowestVoltage {
	if l.Entry < 0 {
		return nil
	}
	return &pb.LowestVoltage{LowestV: parts(l.MicroVolt), Device: n.Label(l.Entry), Collapsed: l.Collapsed}
}

func circuitFigures(site *pb.Site, in *loop.Installation, output int) *pb.CircuitCalculation {
	o := &in.Outputs[output]
	m, _ := circuitAt(site, in, output)
	start := in.Power.EndMicroV(int(o.Supply))
	end := endOfLine(o.Circuit, start)
	c := &pb.CircuitCalculation{
		Output: o.Label, Address: o.Address, Supply: in.Power.ID(int(o.Supply)), Wiring: "branch",
		LengthM: o.Circuit.Metres(), ResistanceOhm: float64(o.Circuit.LoopMilliOhm()) / 1e3, StartV: parts(start), CurrentMa: float64(o.Circuit.RatedMicroA()) / 1e3,
		RequiredClass: m.GetRequiredClass(), AchievedClass: o.Circuit.Class(), IsolatorCount: int32(o.Circuit.Isolators()),
		LostToShortCount: int32(o.Circuit.LostToShort()), LostToBreakCount: int32(o.Circuit.LostToBreak()),
		EndOfLineV: parts(end.MicroV), EndOfLineDropV: parts(end.DropMicroV), EndOfLineMarginV: parts(end.MarginMicroV),
	}
	if o.Circuit.Ring() {
		c.Wiring = "ring"
	}
	for i, d := range drops(o.Circuit, start) {
		c.Loads = append(c.Loads, &pb.LoadCalculation{Load: m.GetLoads()[i].GetLabel(), VoltageV: parts(d.MicroV), DropV: parts(d.DropMicroV),
			LeastV: parts(o.Circuit.LeastMicroV(i)), MarginV: parts(d.MarginMicroV)})
	}
	cable := m.GetCable()
	if cable == nil && o.Point >= 0 {
		cable = site.GetLoops()[in.Points[o.Point].Loop].GetCable()
	}
	if perMetre, err := wire.OhmPerMetre(cable); err == nil {
		amps := parts(o.Circuit.RatedMicroA())
		budget := parts(end.MarginMicroV+end.DropMicroV) - float64(amps*o.Circuit.IsolatorOhm())
		longest := circuit.Lump{BudgetV: max(budget, 0), Amps: amps, OhmPerUnitLength: perMetre}.Longest()
		if !math.IsInf(longest, 0) && !math.IsNaN(longest) {
			c.LongestM = &longest
		}
	}
	return c
}

func supplyFigures(site *pb.Site, in *loop.Installation, i int) *pb.SupplyCalculation {
	circuits := circuitsMicroA(in, i)
	need := in.Power.Need(i, circuits)
	c := &pb.SupplyCalculation{
		Supply: in.Power.ID(i), StandbyMa: float64(need.StandbyMicroA) / 1e3, CircuitsMa: float64(circuits) / 1e3, AlarmMa: float64(need.AlarmMicroA) / 1e3,
	}
	if i == in.Power.Panel() {
		c.LimitA, c.FuseA = site.GetPanel().GetSupply().CurrentLimitA, site.GetPanel().GetSupply().FuseA
	} else {
		c.LimitA, c.FuseA = site.GetSupplies()[i].CurrentLimitA, site.GetSupplies()[i].FuseA
	}
	for _, z := range in.Power.Sizings(i, circuits) {
		b := &pb.BatteryCalculation{
			Method: z.Method, Clause: z.Clause, Formula: formula(z), StandbyH: z.StandbyTime.Hours(), AlarmMin: z.AlarmTime.Minutes(),
			MarginPercent: float64(z.MarginPercent), HighRatePercent: float64(z.HighRatePercent),
			StandbyAh: parts(z.StandbyMicroAh), AlarmAh: parts(z.AlarmMicroAh), RequiredAh: parts(z.RequiredMicroAh),
		}
		if z.FittedMicroAh > 0 {
			fitted := parts(z.FittedMicroAh)
			b.FittedAh = &fitted
		}
		c.Batteries = append(c.Batteries, b)
	}
	return c
}

// formula writes a battery calculation with its figures.
func formula(z power.Sizing) string {
	high := ""
	if z.Method != "nfpa72" {
		high = fmt.Sprintf("%g x ", float64(z.HighRatePercent)/100)
	}
	return fmt.Sprintf("%g x (%g h x %.4g A + %s%g min x %.4g A)", float64(z.MarginPercent)/100, z.StandbyTime.Hours(), parts(z.Need.StandbyMicroA), high, z.AlarmTime.Minutes(), parts(z.Need.AlarmMicroA))
}
