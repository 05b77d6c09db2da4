package drill

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// jointOhm is the resistance of a bad joint of which nothing is said (common practice).
const jointOhm = 100

// cable resolves a fault of a run of cable, which is named by the point where it ends.
func (r *resolver) cable(kind ActKind, key string, step *pb.CableStep, otherwise float64) {
	r.act.Kind, r.act.Where, r.act.Ohm = kind, 0.5, otherwise
	if step.At != nil {
		r.act.Where = step.GetAt()
	}
	if step.Ohm != nil {
		r.act.Ohm = step.GetOhm()
	}
	if step.Ohm != nil && kind == ActBreak {
		r.add(finding.Refuse("scenario.ohm-unused", r.path+"."+key+".ohm", "a break has no resistance", "take it out, or use joint: a joint of many ohms is a bad connection"))
	}
	switch step.GetCore() {
	case "positive":
		r.act.Core = uint8(wire.Positive)
	case "negative":
		r.act.Core = uint8(wire.Negative)
	case "":
		if kind == ActEarth {
			r.add(finding.Refuse("scenario.core-missing", r.path+"."+key, "the earth names no core", "write core: positive or core: negative; one earth of each core together is a short"))
		}
	}
	if step.GetCore() != "" && kind == ActShort {
		r.add(finding.Refuse("scenario.core-unused", r.path+"."+key+".core", "a short lies between both cores", "take core out"))
	}
	r.run(key, step)
}

// run finds the loop and the run that a step names.
func (r *resolver) run(key string, step *pb.CableStep) {
	if step.GetBefore() == "return" {
		r.act.Index = r.loop(key+".loop", step.GetLoop())
		if r.act.Index < 0 {
			return
		}
		n := r.plan.In.Loops[r.act.Index].Wire
		if r.act.Run = n.Return(); !n.Ring() {
			r.add(finding.Refuse("scenario.no-return", r.path+"."+key+".before", fmt.Sprintf("loop %d has no return cable", step.GetLoop()), "it is a branch: name the device at the end of the run"))
		}
		return
	}
	r.act.Index, r.act.Run = r.entry(key+".before", step.GetBefore())
	if step.Loop != nil && r.act.Index >= 0 && r.plan.In.Loops[r.act.Index].Number != step.GetLoop() {
		r.add(finding.Refuse("scenario.other-loop", r.path+"."+key+".loop", fmt.Sprintf("%q is on loop %d", step.GetBefore(), r.plan.In.Loops[r.act.Index].Number), "loop is needed with before: return only"))
	}
}

// entry finds an entry of some loop's wire by label or loop/address, isolators on their own included.
func (r *resolver) entry(path, ref string) (loop, entry int32) {
	if p, ok := r.plan.In.Point(ref); ok {
		return r.plan.In.Points[p].Loop, r.plan.In.Points[p].Entry
	}
	for l := range r.plan.In.Loops {
		if e, ok := r.plan.In.Loops[l].Wire.ByLabel(ref); ok {
			return int32(l), e
		}
	}
	r.add(finding.Dangling(r.path+"."+path, "device or isolator", ref, append(r.plan.PointNames(), "return")))
	return -1, -1
}

// isolator resolves an isolator that does not move.
func (r *resolver) isolator(step *pb.IsolatorStuckStep) {
	r.act.Kind, r.act.On = ActIsolatorStuck, step.GetPosition() == "open"
	r.act.Index, r.act.Run = r.entry("isolator_stuck.device", step.GetDevice())
	if r.act.Index >= 0 && !r.plan.In.Loops[r.act.Index].Wire.HasIsolator(r.act.Run) {
		r.add(finding.Refuse("scenario.no-isolator", r.path+".isolator_stuck.device", fmt.Sprintf("%q has no isolator", step.GetDevice()), "name an isolator on its own, or a device with `isolator: true`"))
	}
}
