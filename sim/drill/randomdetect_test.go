package drill

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// detection draws how some zones decide, with times so short that detectors are reset, dropped and
// decided on anew within a run.
func (g *randomSite) detection() (all []*pb.Detection) {
	seconds := func(values ...float64) *durationpb.Duration {
		return durationpb.New(time.Duration(pick(g.Rand, values...) * float64(time.Second)))
	}
	for _, zone := range g.zones {
		if g.chance(0.5) {
			continue
		}
		d := &pb.Detection{Zone: zone, Confirm: pick(g.Rand, "none", "same-or-other", "other")}
		if len(g.zones) > 1 && g.chance(0.2) {
			d.Confirm = "other-zone"
		}
		if d.GetConfirm() != "none" {
			d.FirstSignal = pick(g.Rand, "nothing", "prealarm", "fire")
		}
		if d.GetConfirm() == "same-or-other" {
			d.ReadyAfter = seconds(0.02, 0.7, 2)
		}
		if d.GetConfirm() != "none" && d.GetFirstSignal() != "fire" {
			d.Within = seconds(2.5, 5, 20)
		}
		if g.chance(0.3) {
			d.Verification = &pb.Verification{Restart: seconds(0.02, 0.5, 3), Window: seconds(0.4, 2, 10)}
		}
		if d.GetFirstSignal() != "fire" && (d.GetConfirm() == "none" || d.GetConfirm() == "same-or-other") && g.chance(0.5) {
			d.Investigate = &pb.Investigate{AcknowledgeWithin: seconds(0.5, 3), Extra: seconds(0, 1, 10), Given: pick(g.Rand, "", "panel.mode == 'day'", "!panel.fault")}
		}
		all = append(all, d)
	}
	return all
}
