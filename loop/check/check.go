package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

const commonPractice = "common practice"

// Check judges a site that neither loop.Compile nor Names refuses. in is its installation.
func Check(site *pb.Site, in *loop.Installation) []*pb.Finding {
	j := &judge{site: site, in: in, rules: rule.Of(site.GetRules())}
	for l := range in.Loops {
		j.loop(l)
	}
	j.areas()
	j.circuits()
	j.supplies()
	j.contacts()
	j.undriven()
	j.proofs()
	j.inputs()
	return j.found
}

// judge collects findings about one site.
type judge struct {
	site  *pb.Site
	in    *loop.Installation
	rules *rule.Set
	found []*pb.Finding
}

// pack tells whether a rule pack applies.
func (j *judge) pack(name string) bool { return j.rules.Has(name) }

// add puts the clause to a finding and keeps it.
func (j *judge) add(f *pb.Finding, clause string) {
	f.Clause = clause
	j.found = append(j.found, f)
}

// note makes a finding that is only worth knowing.
func note(code, path, title, detail string) *pb.Finding {
	f := finding.Warn(code, path, title, detail)
	f.Severity = pb.Severity_SEVERITY_NOTE
	return f
}

// replaceable tells how to raise a limit that a data sheet or an agreement replaces.
func replaceable(l rule.Limit) string {
	return fmt.Sprintf("where a data sheet or an agreement says otherwise write the limit %s under rules.limits", l.Name)
}

// loop judges one loop.
func (j *judge) loop(l int) {
	lp := &j.in.Loops[l]
	path, figures := fmt.Sprintf("loops[%d]", l), lp.Wire.Figures()
	j.class(path, l)
	j.spurs(path, l)
	j.over(path, rule.LoopResistance, figures.LoopMicroOhm, fmt.Sprintf("loop %d has %%.4g ohm, both cores and closed isolators", lp.Number),
		"use a larger conductor or a shorter way")
	j.over(path, rule.LoopCapacitance, figures.Picofarads, fmt.Sprintf("the cable of loop %d has %%.4g uF", lp.Number), "use a cable of lower capacitance, or less of it")
	j.over(path, rule.LoopLength, figures.Millimetres*1000, fmt.Sprintf("loop %d has %%.6g m of cable", lp.Number), "divide it over two loops")
	j.current(path, lp.Number, figures)
	j.power(path, lp, figures)
	j.voltage(path, lp, figures)
	j.spacing(path, l)
	j.faults(path, l)
}

// over warns of a figure, in millionths, above a limit. The title has one place for the figure.
func (j *judge) over(path, name string, micro int64, title, detail string) {
	limit := j.rules.Of(name)
	if micro > limit.Micro() {
		j.add(finding.Warn("wiring."+plain(name), path, fmt.Sprintf(title+"; the limit is %g", float64(micro)/1e6, limit.Value), detail+"; "+replaceable(limit)), limit.Source())
	}
}

// plain is the word of a limit in a code.
func plain(name string) string {
	switch name {
	case rule.LoopResistance:
		return "resistance"
	case rule.LoopCapacitance:
		return "capacitance"
	}
	return "length"
}

// class compares the class that the wiring achieves with the one that is asked for.
func (j *judge) class(path string, l int) {
	lp, required := &j.in.Loops[l], j.site.GetLoops()[l].GetRequiredClass()
	if required == "" {
		return
	}
	achieved, run := lp.Wire.Class()
	if rank(achieved) >= rank(required) || j.spursBreak(l, achieved, run) {
		return
	}
	detail := "a loop without a device is not judged further"
	switch {
	case run >= 0 && achieved == "b":
		detail = fmt.Sprintf("a break %s loses devices: come back to the panel, and leave no device on a spur", before(lp.Wire, run))
	case run >= 0:
		detail = fmt.Sprintf("a short %s loses every device: put isolators between sections", before(lp.Wire, run))
	}
	j.add(finding.Error("wiring.class", path+".required_class",
		fmt.Sprintf("loop %d is to be class %s, and its wiring is class %s", lp.Number, required, achieved), detail), j.rules.Clause(rule.PathwayClass))
}

// rank orders the pathway classes.
func rank(class string) int {
	const ranks = "bax"
	for i := range ranks {
		if ranks[i:i+1] == class {
			return i
		}
	}
	return 0
}

// before names a run of cable by what stands at its end.
func before(n *wire.Network, run int32) string {
	if n.Ring() && run == n.Return() {
		return "in the return cable"
	}
	return fmt.Sprintf("before %q", n.Label(run))
}

// runPath is the field path of a run of cable.
func runPath(path string, n *wire.Network, run int32) string {
	if n.Ring() && run == n.Return() {
		return path + ".return_cable_m"
	}
	return fmt.Sprintf("%s.devices[%d].cable_m", path, run)
}

// spursBreak tells whether it is a ring's spurs that keep it from its class: each is found by itself.
func (j *judge) spursBreak(l int, achieved string, run int32) bool {
	n := j.in.Loops[l].Wire
	return achieved == "b" && n.Ring() && run >= 0 && run != n.Return() && n.OnSpur(run)
}

// spurs finds each tee on a ring of class a or x: one break there loses what hangs on it. Where that
// is a device it is the reason why the class is not achieved.
func (j *judge) spurs(path string, l int) {
	m := j.site.GetLoops()[l]
	if class := m.GetRequiredClass(); m.GetWiring() != "ring" || class != "a" && class != "x" {
		return
	}
	report, detail := finding.Warn, "one break of the spur loses it: bring the ring to it and back"
	if achieved, run := j.in.Loops[l].Wire.Class(); j.spursBreak(l, achieved, run) {
		report, detail = finding.Error, "one break of the spur loses it, so that the wiring is class b: bring the ring to it and back"
	}
	for i, d := range m.GetDevices() {
		if d.SpurFrom != nil {
			j.add(report("wiring.spur-on-ring", fmt.Sprintf("%s.devices[%d].spur_from", path, i),
				fmt.Sprintf("%q hangs on a spur of a class %s ring", d.GetLabel(), m.GetRequiredClass()), detail), j.rules.Clause(rule.PathwayClass))
		}
	}
}

// current compares the current in alarm with what the driver gives.
func (j *judge) current(path string, number uint32, f wire.Figures) {
	if f.AlarmMicroAmp > f.LimitMicroAmp {
		j.add(finding.Error("wiring.current", path+".driver.current_limit_ma",
			fmt.Sprintf("loop %d takes %.4g mA in alarm and its driver gives %.4g mA", number, float64(f.AlarmMicroAmp)/1e3, float64(f.LimitMicroAmp)/1e3),
			"the line would collapse in a fire: move devices or loop sounders to another loop; power_w counts as its current at the driver's voltage, and takes more at a lower one"), commonPractice)
	}
}

// power notes that the current in alarm of a loop with sounders of constant power is not what its driver
// gives: they take more the lower their voltage is.
func (j *judge) power(path string, lp *loop.Loop, f wire.Figures) {
	if !lp.Wire.ConstantlyPowered() || f.OneEndAlarm.Collapsed {
		return
	}
	j.add(note("wiring.power", path, fmt.Sprintf("loop %d takes %.4g mA in alarm with its constant power at the driver's voltage", lp.Number, float64(f.AlarmMicroAmp)/1e3),
		fmt.Sprintf("fed from one end, with the drop in the cable, the driver gives %.4g mA", float64(f.OneEndAlarm.MicroAmp)/1e3)), commonPractice)
}

// voltage finds the lowest of the voltages at rest and in alarm, fed from one end and from both. A
// line that collapses because the driver gives too little has been reported with its current.
func (j *judge) voltage(path string, lp *loop.Loop, f wire.Figures) {
	limit := j.rules.Of(rule.DeviceVoltage)
	feeds := []struct {
		when string
		wire.Lowest
	}{
		{"at rest, fed from both ends", f.BothEndsRest}, {"at rest, fed from one end", f.OneEndRest},
		{"in alarm, fed from both ends", f.BothEndsAlarm}, {"in alarm, fed from one end", f.OneEndAlarm},
	}
	for i, feed := range feeds {
		both := i%2 == 0
		switch {
		case both && !lp.Wire.Ring() || feed.Entry < 0 || feed.Collapsed && f.AlarmMicroAmp > f.LimitMicroAmp:
		case feed.Collapsed:
			j.add(finding.Error("wiring.collapse", path+".driver", fmt.Sprintf("the driver of loop %d cannot hold the line %s", lp.Number, feed.when),
				"use a larger conductor, a shorter way or fewer loads"), commonPractice)
			return
		case feed.MicroVolt < limit.Micro():
			j.add(finding.Error("wiring.voltage", fmt.Sprintf("%s.devices[%d]", path, feed.Entry),
				fmt.Sprintf("%q has %.4g V %s; a device needs %g V", lp.Wire.Label(feed.Entry), float64(feed.MicroVolt)/1e6, feed.when, limit.Value),
				"use a larger conductor, a shorter way or fewer loads; "+replaceable(limit)), limit.Source())
			return
		}
	}
}
