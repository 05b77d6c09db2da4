package service

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A drill begins at the moment of the week that is asked for, and the panel's calendar goes on from
// there: the demo's days begin at 7 h and its nights at 22 h. Where nothing is asked for it is Monday,
// midnight; a moment for a panel without a calendar is refused.
func TestDrillBegins(t *testing.T) {
	r := newRig(t, nil)
	for _, c := range []struct {
		begins        *pb.Begins
		before, after string
	}{
		{nil, "night", "night"},
		{&pb.Begins{Day: "sun", At: durationpb.New(21*time.Hour + 59*time.Minute + 30*time.Second)}, "day", "night"},
		{&pb.Begins{Day: "wed", At: durationpb.New(6*time.Hour + 59*time.Minute + 30*time.Second)}, "night", "day"},
	} {
		name := r.createAt(demoFiles(t), 0, c.begins)
		r.advance(name, 20*time.Second)
		before := r.inspect(name).GetInspection().GetPanel().GetMode()
		r.advance(name, 40*time.Second)
		after := r.inspect(name).GetInspection().GetPanel().GetMode()
		if before != c.before || after != c.after {
			t.Errorf("begun at %v: %s, then %s; want %s, then %s", c.begins, before, after, c.before, c.after)
		}
	}
	_, err := r.drills.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: kioskFiles(), Begins: &pb.Begins{Day: "mon"}})
	want(t, err, codes.InvalidArgument, "BEGINS_UNUSED", "", "")
	if _, err := r.drills.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: demoFiles(t), Begins: &pb.Begins{Day: "monday"}}); err == nil {
		t.Error("a day that is none is accepted")
	}
}

// What an event says of its subject beside the text for people: programs read the state of an output,
// the input and the signal of equipment.
func TestEventDetail(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	r.act(name, smoke("HALL-SD", time.Second))
	last := r.advance(name, 30*time.Second).GetEvents()
	seen := map[string]bool{}
	for _, e := range r.events(r.watch(name, 1), last) {
		if e.GetDetail() != "" {
			seen[e.GetKind()+" "+e.GetSubject()+" "+e.GetDetail()] = true
		}
		if e.GetOn() {
			seen[e.GetKind()+" "+e.GetSubject()+" "+e.GetDetail()+" on"] = true
		}
	}
	for _, want := range []string{"output-operated HALL-SOUNDER evacuate", "equipment fan running", "signal fan running", "equipment-done fan start",
		"condition  fire on", "buzzer   on", "cause hall-fire  on", "active-read HALL-SD  on", "input HALL-SD  on", "equipment fan running"} {
		if !seen[want] {
			t.Errorf("no event says %q: %v", want, seen)
		}
	}
}
