package check

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// detections holds the times that zones take before they decide against the limits.
func (j *judge) detections() {
	for i, d := range j.file.GetDetection() {
		path := fmt.Sprintf("program.detection[%d]", i)
		if in := d.GetInvestigate(); in != nil && j.rules.Has("nfpa72") {
			j.within(path+".investigate.acknowledge_within", d.GetZone()+" gives to acknowledge", in.GetAcknowledgeWithin(), rule.AcknowledgeWithin)
			j.within(path+".investigate.extra", d.GetZone()+" gives to investigate", in.GetExtra(), rule.Investigation)
		}
		if in := d.GetInvestigate(); in != nil && !j.rules.Has("nfpa72") {
			j.heldTooLong(path+".investigate", d)
		}
		j.within(path+".within", d.GetZone()+" keeps a first signal for", d.GetWithin(), rule.FirstSignalDrops)
		if v := d.GetVerification(); v != nil {
			j.within(path+".verification.restart", d.GetZone()+" takes to verify", v.GetRestart(), rule.VerificationAdds)
		}
		j.within(path+".ready_after", d.GetZone()+" takes until a detector can confirm", d.GetReadyAfter(), rule.ReadyToConfirm)
	}
	limit := j.rules.Of(rule.FaultSoundsAgain)
	if d := j.site.GetPanel().GetFaultSoundsAgain(); d != nil && d.AsDuration() > limit.Duration() {
		j.add(finding.Warn("panel.fault-forgotten", "panel.fault_sounds_again", fmt.Sprintf("a silenced fault sounds again after %v; the limit is %v", d.AsDuration(), limit.Duration()),
			"shorten it: a fault that nobody hears stays"), limit.Source())
	}
}

// heldTooLong warns of an investigation that by itself takes longer than outputs may be delayed in all, under rules
// that give it no limit of its own.
func (j *judge) heldTooLong(path string, d *pb.Detection) {
	limit := j.rules.Of(rule.DelayInAll)
	if held := j.investigates(d); held > limit.Duration() {
		j.add(finding.Warn("program.delay-too-long", path, fmt.Sprintf("zone %s may hold a fire back for %v; the limit is %v", d.GetZone(), held, limit.Duration()),
			"shorten the times, or write the limit "+limit.Name+" under rules.limits where it is agreed"), limit.Source())
	}
}

// within warns of a time that a file writes and a limit does not allow.
func (j *judge) within(path, what string, given *durationpb.Duration, name string) {
	limit := j.rules.Of(name)
	if given == nil || given.AsDuration() <= limit.Duration() {
		return
	}
	j.add(finding.Warn("program.detection-too-long", path, fmt.Sprintf("zone %s %v; the limit is %v", what, given.AsDuration().Round(time.Millisecond), limit.Duration()),
		"shorten it, or write the limit "+name+" under rules.limits where it is agreed"), limit.Source())
}
