package check

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// mostMicroA bounds the current of a supply's circuits: far above any supply, and low enough for
// a battery formula in whole microampere-seconds.
const mostMicroA = 5_000_000_000

// circuitsMicroA is the current of a supply's output circuits with all loads on, microamperes.
func circuitsMicroA(in *loop.Installation, supply int) int64 {
	sum := int64(0)
	for i := range in.Outputs {
		if o := &in.Outputs[i]; o.Circuit != nil && int(o.Supply) == supply {
			sum = min(sum+min(o.Circuit.RatedMicroA(), mostMicroA), mostMicroA)
		}
	}
	return sum
}

// circuitAt returns the message and the field path of an output's circuit.
func circuitAt(site *pb.Site, in *loop.Installation, output int) (*pb.Circuit, string) {
	o := &in.Outputs[output]
	if o.Point < 0 {
		return panelOutput(site, in, output).GetCircuit(), o.Path + ".circuit"
	}
	p := &in.Points[o.Point]
	return site.GetLoops()[p.Loop].GetDevices()[p.Entry].GetControlModule().GetCircuit(), o.Path + ".control_module.circuit"
}

// panelOutput is the message of an output on the panel, which come after those of the devices.
func panelOutput(site *pb.Site, in *loop.Installation, output int) *pb.PanelOutput {
	list := site.GetPanel().GetOutputs()
	return list[len(list)-(len(in.Outputs)-output)]
}

// drops are the voltages at the loads by the point-to-point method, of a ring fed from its worse
// end: of each load the lower.
func drops(c *circuit.Circuit, startMicroV int64) []circuit.Drop {
	start := float64(startMicroV) / 1e6
	list := c.PointToPoint(start, circuit.FromFirst)
	if !c.Ring() {
		return list
	}
	for i, d := range c.PointToPoint(start, circuit.FromReturn) {
		if d.MicroV < list[i].MicroV {
			list[i] = d
		}
	}
	return list
}

// endOfLine is the other method, of a ring from its worse end.
func endOfLine(c *circuit.Circuit, startMicroV int64) circuit.Drop {
	start := float64(startMicroV) / 1e6
	end := c.EndOfLine(start, circuit.FromFirst)
	if c.Ring() {
		if other := c.EndOfLine(start, circuit.FromReturn); other.MicroV < end.MicroV {
			return other
		}
	}
	return end
}

// circuits judges the class of every circuit, and the voltage at every load with all loads on and the
// supply at its lowest.
func (j *judge) circuits() {
	for i := range j.in.Outputs {
		o := &j.in.Outputs[i]
		if o.Circuit == nil {
			continue
		}
		m, path := circuitAt(j.site, j.in, i)
		j.circuitClass(path, o, m.GetRequiredClass())
		if o.Supply < 0 {
			continue
		}
		start := j.in.Power.EndMicroV(int(o.Supply))
		for k, d := range drops(o.Circuit, start) {
			if d.MarginMicroV >= 0 {
				continue
			}
			has, takes := fmt.Sprintf("%.4g V", float64(d.MicroV)/1e6), "takes"
			if d.MicroV <= 0 { // the calculation goes on where the circuit cannot
				has, takes = "no voltage", "would take"
			}
			j.add(finding.Error("circuit.voltage", fmt.Sprintf("%s.loads[%d]", path, k),
				fmt.Sprintf("%q has %s with all loads on and needs %.4g V", m.GetLoads()[k].GetLabel(), has, float64(o.Circuit.LeastMicroV(k))/1e6),
				fmt.Sprintf("%s ends at %.4g V and the cable %s %.4g V: use a larger conductor or a shorter way, or divide the loads over two circuits",
					j.in.Power.ID(int(o.Supply)), float64(start)/1e6, takes, float64(d.DropMicroV)/1e6)), j.leastClause())
		}
	}
}

// circuitClass compares the class that a circuit's wiring achieves with the one that is asked for.
func (j *judge) circuitClass(path string, o *loop.Output, required string) {
	achieved := o.Circuit.Class()
	if !o.Circuit.Ring() && o.Circuit.Isolators() > 0 {
		j.add(note("circuit.isolators-on-branch", path+".loads", fmt.Sprintf("the circuit of %q is a branch with isolators", o.Label),
			"they keep what lies before a short that comes in an alarm; one that is there before holds the whole circuit off: come back to the module for class x"), j.rules.Clause(rule.PathwayClass))
	}
	if required == "" || rank(achieved) >= rank(required) {
		return
	}
	detail := "a break silences the loads beyond it: come back to the module"
	switch {
	case o.Circuit.Len() == 0:
		detail = "a circuit without a load is not judged further"
	case o.Circuit.Ring():
		detail = "a short anywhere holds the whole circuit off: put isolators into loads"
	}
	j.add(finding.Error("circuit.class", path+".required_class",
		fmt.Sprintf("the circuit of %q is to be class %s, and its wiring is class %s", o.Label, required, achieved), detail), j.rules.Clause(rule.PathwayClass))
}

// leastClause is where the voltages of a drop calculation come from.
func (j *judge) leastClause() string {
	return j.rules.Source(rule.StartVoltage) + "; " + j.rules.Source(rule.LoadVoltage)
}

// supplies judges current, fuse and battery of every supply, and whether the panel hears of its
// faults.
func (j *judge) supplies() {
	for i := range j.site.GetSupplies() {
		s := j.site.GetSupplies()[i]
		j.carries(i)
		if s.StandbyMa == nil {
			j.noStandby(i)
		}
		j.watched(i)
	}
	i, s := j.in.Power.Panel(), j.site.GetPanel().GetSupply()
	if s == nil {
		if circuitsMicroA(j.in, i) > 0 {
			j.add(note("supply.panel-unwritten", "panel", "the panel feeds output circuits, and panel.supply is not written",
				"write its figures: without them neither its battery nor its limit can be judged"), commonPractice)
		}
		return
	}
	j.carries(i)
	if s.StandbyMa == nil {
		j.noStandby(i)
	}
	j.panelLoad(i, s)
}

// carries asks package power what a supply cannot carry.
func (j *judge) carries(i int) {
	for _, f := range j.in.Power.Check(i, circuitsMicroA(j.in, i)) {
		clause := f.GetClause()
		if clause == "" {
			clause = commonPractice
		}
		j.add(f, clause)
	}
}

// noStandby: a battery calculation without the current at rest says nothing.
func (j *judge) noStandby(i int) {
	j.add(finding.Warn("supply.standby-unwritten", j.in.Power.Path(i), fmt.Sprintf("the current at rest of %s is not written, and counts as nothing", j.in.Power.ID(i)),
		"write standby_ma: the current at rest of everything that the supply feeds"), j.sizingClause(i))
}

func (j *judge) sizingClause(i int) string {
	var clauses []string
	for _, z := range j.in.Power.Sizings(i, 0) {
		clauses = append(clauses, z.Clause)
	}
	return strings.Join(clauses, "; ")
}

// panelLoad: the panel feeds the loops, and its figures must count them. A loop's current is taken
// as it is at the driver.
func (j *judge) panelLoad(i int, s *pb.PanelSupply) {
	var rest, alarm int64
	for l := range j.in.Loops {
		f := j.in.Loops[l].Wire.Figures()
		rest, alarm = rest+f.RestMicroAmp, alarm+f.AlarmMicroAmp
	}
	if s.StandbyMa != nil && j.in.Power.StandbyMicroA(i) < rest {
		j.add(finding.Warn("supply.standby-low", "panel.supply.standby_ma",
			fmt.Sprintf("the panel's supply is said to feed %.4g mA at rest, and the loops alone take %.4g mA", float64(j.in.Power.StandbyMicroA(i))/1e3, float64(rest)/1e3),
			"standby_ma is everything that the supply feeds at rest, the loops among it"), j.sizingClause(i))
	}
	if more := alarm - rest; j.in.Power.AlarmMicroA(i) < more {
		j.add(finding.Warn("supply.alarm-low", "panel.supply.alarm_ma",
			fmt.Sprintf("the panel's supply is said to feed %.4g mA more in alarm beside its circuits, and the loops alone take %.4g mA more",
				float64(j.in.Power.AlarmMicroA(i))/1e3, float64(more)/1e3),
			"alarm_ma is the further current in alarm, indicators and sounders of the loops among it; the battery is sized by it"), j.sizingClause(i))
	}
}

// watched: a fault of an external supply that no input watches is not indicated.
func (j *judge) watched(i int) {
	words := power.SignalNames()
	seen := make([]bool, len(words))
	for k := range j.in.Points {
		if p := &j.in.Points[k]; int(p.WatchesSupply) == i {
			seen[p.WatchesSignal] = true
		}
	}
	if seen[power.Fault] {
		return
	}
	var unseen []string
	for k := int(power.Fault) + 1; k < len(words); k++ {
		if !seen[k] {
			unseen = append(unseen, words[k])
		}
	}
	title := fmt.Sprintf("no input watches %s", j.in.Power.ID(i))
	switch {
	case len(unseen) == 0:
		return
	case len(unseen) < len(words)-1:
		title += ": " + strings.Join(unseen, ", ")
	}
	clause := j.rules.Source(rule.MainsFault)
	j.add(finding.Warn("supply.unwatched", j.in.Power.Path(i)+".supply", title,
		"the panel never hears of it: bring the supply's fault contact to an input module with `watches: {supply, signal: fault}`"), clause)
}
