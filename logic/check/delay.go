package check

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// alarms tells whether a state is one of the evacuation.
func alarms(s term.State) bool { return s == term.Alert || s == term.Evacuate }

// warners tells, by output, whether it warns people: sounders, and what drives an announcement or a siren.
func (j *judge) warners() []bool {
	speaks := map[string]bool{}
	for _, e := range j.site.GetEquipment() {
		speaks[e.GetEquipment()] = e.GetAnnouncement() != nil || e.GetSiren() != nil
	}
	drives := j.driven()
	warners := make([]bool, len(j.World.Outputs))
	for i, o := range j.World.Outputs {
		warners[i] = o.Sounder || speaks[drives[o.Label]]
	}
	return warners
}

// callPoints finds call points that sound nothing at once: a person has already decided. By day and by
// night, with everything else at rest, the fire of each must operate something that warns people,
// without a delay.
func (j *judge) callPoints() {
	type late struct {
		labels []string
		pair   int
		mode   string
	}
	byPair := map[int]*late{}
	var order []int
	var silent []string
	silentPath := ""
	warners := j.warners()
	sounds := slices.Contains(warners, true)
	for p := range j.World.Points {
		if j.World.Points[p].Input != term.CallPoint || !sounds || len(j.Pairs) == 0 {
			continue
		}
		label := j.World.Points[p].Label
		for _, mode := range []int32{term.Day, term.Night} {
			delayed, at := j.alarmOf(int32(p), mode, warners)
			if at {
				continue
			}
			if delayed < 0 {
				silent = append(silent, label)
				if silentPath == "" {
					silentPath = j.pointPath(label)
				}
				break
			}
			if byPair[delayed] == nil {
				byPair[delayed] = &late{pair: delayed, mode: map[int32]string{term.Day: "by day", term.Night: "by night"}[mode]}
				order = append(order, delayed)
			}
			byPair[delayed].labels = append(byPair[delayed].labels, label)
			break
		}
	}
	target := j.rules.Of(rule.CallPointTarget)
	for _, i := range order {
		l, p := byPair[i], &j.Pairs[i]
		j.add(finding.Error("program.call-point-delayed", p.Path+".after", fmt.Sprintf("%s, the first sounder follows a call point after %v: %s", l.mode, p.After, finding.Sample(l.labels, 5)),
			fmt.Sprintf("a call point is to sound within %v of being pressed; give its cause an action without `after`", target.Duration())), target.Source())
	}
	if len(silent) > 0 {
		j.add(finding.Warn("program.call-point-silent", silentPath, fmt.Sprintf("a call point sounds nothing: %s", finding.Sample(silent, 5)),
			"nothing that warns people follows from its fire alone: give its zone or group a cause and an action"), commonPractice)
	}
}

// alarmOf returns whether a fire at a point alone warns at once, and else the pair that warns first, -1 for none.
func (j *judge) alarmOf(point, mode int32, warners []bool) (first int, atOnce bool) {
	is := func(f term.Fact) bool {
		return f.Kind == term.DeviceFire && f.Index == point || f.Kind == term.DeviceActive && f.Index == point ||
			f.Kind == term.PanelMode && f.Value == mode || f.Kind == term.ZoneConfirmed && int(f.Index) == j.World.Points[point].Zone
	}
	first = -1
	causes := make([]int8, len(j.Causes)) // 0: not asked yet
	for i := range j.Pairs {
		p := &j.Pairs[i]
		warns := p.State != term.Off && slices.ContainsFunc(j.Program.EffectOutputs(p.Effect), func(o int32) bool { return warners[o] })
		if !warns || first >= 0 && p.After >= j.Pairs[first].After {
			continue
		}
		if causes[p.Cause] == 0 {
			causes[p.Cause] = -1
			if j.Space.Eval(j.Causes[p.Cause], is) {
				causes[p.Cause] = 1
			}
		}
		if causes[p.Cause] < 0 || j.Space.Eval(p.unless, is) {
			continue
		}
		if p.After == 0 {
			return i, true
		}
		first = i
	}
	return first, false
}

// pointPath is the field path of a device.
func (j *judge) pointPath(label string) string { return j.paths[label] }

// delays finds delays above the limit: of one action, or adding up over outputs that causes read. Only
// what a fire brings about is held against it.
func (j *judge) delays() {
	limit := j.rules.Of(rule.DelayInAll)
	most := limit.Duration()
	behind := j.behind()
	before := j.chained(behind)
	zones := j.held()
	for i := range j.Pairs {
		p := &j.Pairs[i]
		if p.Action < 0 || p.After == 0 || !j.fromFire(p.Cause, behind) || j.reported(p, i) {
			continue
		}
		longest, zone := zones.of(j, p.Cause)
		total := before[p.Cause] + p.After + longest
		if total <= most {
			continue
		}
		what := ""
		if before[p.Cause] > 0 {
			what += fmt.Sprintf(", behind %v of outputs that its cause waits for", before[p.Cause])
		}
		if longest > 0 {
			what += fmt.Sprintf(", behind %v that zone %q may hold its signal back", longest, zone)
		}
		report := finding.Warn
		if alarms(p.State) && (j.rules.Has("en54") || j.rules.Has("bs5839-1")) {
			report = finding.Error
		}
		j.add(report("program.delay-too-long", p.Path+".after", fmt.Sprintf("cause %q waits %v%s; the limit is %v", j.cause(p.Cause), p.After, what, most),
			"shorten the delays, or write the limit "+limit.Name+" under rules.limits where it is agreed"), limit.Source())
	}
	j.phases(most, limit)
}

// reported tells whether the pair before is one of the same action and cause: they stand together, and one
// finding is enough.
func (j *judge) reported(p *Pair, i int) bool {
	return i > 0 && j.Pairs[i-1].Action == p.Action && j.Pairs[i-1].Cause == p.Cause
}

// phases holds the whole time of each phasing against the limit.
func (j *judge) phases(most time.Duration, limit rule.Limit) {
	for i, ph := range j.file.GetPhasings() {
		longest := time.Duration(0)
		for k := range j.Pairs {
			if p := &j.Pairs[k]; p.Action < 0 && p.Phasing == i {
				longest = max(longest, p.After)
			}
		}
		if longest > most {
			j.add(finding.Warn("program.delay-too-long", fmt.Sprintf("program.phasings[%d].step_time", i), fmt.Sprintf("the last floor of %q follows after %v; the limit is %v", ph.GetPhasing(), longest, most),
				"shorten step_time or let floors go together, or write the limit "+limit.Name+" under rules.limits where the fire strategy allows it"), limit.Source())
		}
	}
}

// driven is the equipment that each output drives, by label.
func (j *judge) driven() map[string]string {
	drives := map[string]string{}
	for _, l := range j.site.GetLoops() {
		for _, d := range l.GetDevices() {
			drives[d.GetLabel()] = d.GetRelayModule().GetDrives().GetEquipment() + d.GetControlModule().GetDrives().GetEquipment()
		}
	}
	for _, o := range j.site.GetPanel().GetOutputs() {
		drives[o.GetLabel()] = o.GetDrives().GetEquipment()
	}
	return drives
}

// behind lists the outputs that a fact waits for: the one whose command it is, or those that drive the equipment that it
// proves.
func (j *judge) behind() func(term.Fact) []int32 {
	proves, outputs := map[string]string{}, map[string][]int32{}
	for _, l := range j.site.GetLoops() {
		for _, d := range l.GetDevices() {
			proves[d.GetLabel()] = d.GetInputModule().GetProves().GetEquipment()
		}
	}
	drives := j.driven()
	for o := range j.World.Outputs {
		e := drives[j.World.Outputs[o].Label]
		outputs[e] = append(outputs[e], int32(o))
	}
	outputs[""] = nil
	return func(f term.Fact) []int32 {
		switch f.Kind {
		case term.OutputCommanded:
			return []int32{f.Index}
		case term.EquipmentProven:
			return outputs[j.World.Equipment[f.Index].ID]
		case term.DeviceActive:
			return outputs[proves[j.World.Points[f.Index].Label]]
		}
		return nil
	}
}

// fromFire tells whether a cause depends on a fire, or on an output.
func (j *judge) fromFire(cause int, behind func(term.Fact) []int32) bool {
	for _, f := range j.support(cause) {
		if f.Kind == term.DeviceFire || f.Kind == term.ZoneConfirmed || len(behind(f)) > 0 {
			return true
		}
	}
	return false
}

// chained is, by cause, the longest delay before it through outputs that it waits for. An output that feeds back on
// its own cause counts once.
func (j *judge) chained(behind func(term.Fact) []int32) []time.Duration {
	out := make([]time.Duration, len(j.Causes))
	reads := make([][]int32, len(j.Causes))
	for i := range j.Causes {
		for _, f := range j.support(i) {
			reads[i] = append(reads[i], behind(f)...)
		}
	}
	open, done := make([]bool, len(out)), make([]bool, len(out))
	var of func(cause int) time.Duration
	of = func(cause int) time.Duration {
		if open[cause] || done[cause] {
			return out[cause]
		}
		open[cause] = true
		for _, o := range reads[cause] {
			for k := range j.Pairs {
				if p := &j.Pairs[k]; p.State != term.Off && slices.Contains(j.Program.EffectOutputs(p.Effect), o) {
					out[cause] = max(out[cause], of(p.Cause)+p.After)
				}
			}
		}
		open[cause], done[cause] = false, true
		return out[cause]
	}
	for i := range out {
		of(i)
	}
	return out
}

// holds is how long each zone may hold a first signal back on purpose.
type holds []time.Duration

// held reads the times of detection: acknowledging and investigating, or verifying. The wait for a
// confirmation is no delay: without one there is no fire.
func (j *judge) held() holds {
	out := make(holds, len(j.World.Zones))
	for _, d := range j.file.GetDetection() {
		for z, id := range j.World.Zones {
			if id == d.GetZone() {
				out[z] = j.investigates(d)
			}
		}
	}
	return out
}

func (j *judge) investigates(d *pb.Detection) time.Duration {
	in := d.GetInvestigate()
	if in == nil {
		return 0
	}
	acknowledge, extra := j.rules.Duration(rule.AcknowledgeWithin), j.rules.Duration(rule.Investigation)
	if in.GetAcknowledgeWithin() != nil {
		acknowledge = in.GetAcknowledgeWithin().AsDuration()
	}
	if in.GetExtra() != nil {
		extra = in.GetExtra().AsDuration()
	}
	return acknowledge + extra
}

// of is the longest that a zone of a cause may hold its signal back, and the zone.
func (h holds) of(j *judge, cause int) (longest time.Duration, zone string) {
	for _, f := range j.support(cause) {
		z := -1
		switch f.Kind {
		case term.DeviceFire:
			z = j.World.Points[f.Index].Zone
		case term.ZoneConfirmed:
			z = int(f.Index)
		}
		if z >= 0 && h[z] > longest {
			longest, zone = h[z], j.World.Zones[z]
		}
	}
	return longest, zone
}
