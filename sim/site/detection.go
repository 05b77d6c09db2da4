package site

import (
	"fmt"
	"strconv"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/loop/figure"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// detectionDefaults lists what is in force in the detection of zones where the file gives none,
// of each only where it has something to act on.
func detectionDefaults(m *pb.Site) (out []Default) {
	const pack, fromMemory = "rule pack", "half of what is allowed at most: EN 54-2 7.12.1, NFPA 72 23.8.5.4, from memory"
	for _, d := range []struct {
		figure.Default
		state func(*pb.Detection) (applies, given bool)
	}{
		{figure.Default{Key: "program.detection.within", Value: "limit " + rule.FirstSignalDrops, Source: pack}, func(d *pb.Detection) (bool, bool) {
			return d.GetConfirm() != "" && d.GetConfirm() != "none" && d.GetFirstSignal() != "fire", d.GetWithin() != nil
		}},
		{figure.Default{Key: "program.detection.detectors", Value: strconv.Itoa(logic.DefaultDetectors), Source: "common practice"}, func(d *pb.Detection) (bool, bool) {
			return d.GetConfirm() == "other", d.Detectors != nil
		}},
		{figure.Default{Key: "program.detection.ready_after", Value: logic.DefaultReadyAfter.String(), Source: fromMemory}, func(d *pb.Detection) (bool, bool) {
			return d.GetConfirm() == "same-or-other", d.GetReadyAfter() != nil
		}},
		{figure.Default{Key: "program.detection.verification.restart", Value: logic.DefaultRestart.String(), Source: fromMemory}, func(d *pb.Detection) (bool, bool) {
			return d.GetVerification() != nil, d.GetVerification().GetRestart() != nil
		}},
		{figure.Default{Key: "program.detection.verification.window", Value: "limit " + rule.VerificationWait, Source: pack}, func(d *pb.Detection) (bool, bool) {
			return d.GetVerification() != nil, d.GetVerification().GetWindow() != nil
		}},
		{figure.Default{Key: "program.detection.investigate.acknowledge_within", Value: "limit " + rule.AcknowledgeWithin, Source: pack}, func(d *pb.Detection) (bool, bool) {
			return d.GetInvestigate() != nil, d.GetInvestigate().GetAcknowledgeWithin() != nil
		}},
		{figure.Default{Key: "program.detection.investigate.extra", Value: "limit " + rule.Investigation, Source: pack}, func(d *pb.Detection) (bool, bool) {
			return d.GetInvestigate() != nil, d.GetInvestigate().GetExtra() != nil
		}},
	} {
		missing, all := 0, 0
		for _, entry := range m.GetProgram().GetDetection() {
			applies, given := d.state(entry)
			if applies {
				all++
			}
			if applies && !given {
				missing++
			}
		}
		if missing > 0 {
			out = append(out, Default{d.Default, fmt.Sprintf("not given in %d of %d", missing, all)})
		}
	}
	return out
}
