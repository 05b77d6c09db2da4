package drill

import (
	"strings"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// What the log says of a fire that is not taken holds for a device that is disabled and for one whose
// zone is (rule D5).
func TestFireNotTaken(t *testing.T) {
	t.Parallel()
	for _, subject := range []*pb.SubjectStep{{Subject: &pb.SubjectStep_Zone{Zone: "z"}}, {Subject: &pb.SubjectStep_Device{Device: "CP"}}} {
		b := newBench(t, circuitSite())
		b.do(time.Second, &pb.Step{Kind: &pb.Step_Disable{Disable: subject}})
		b.do(2*time.Second, press())
		b.run(10 * time.Second)
		b.want("!panel.fire")
		if said := b.latest(b.log.Len()); strings.Count(said, "CP: fire not taken, it or its zone is disabled") != 1 {
			t.Errorf("%v disabled:\n%s", subject, said)
		}
	}
}
