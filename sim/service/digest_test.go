package service

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/panel"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

// course is a scenario of the demo, and the digest of its log without any service.
type course struct {
	file   string
	script *pb.Scenario
	end    time.Duration
	digest string
}

// courses reads those scenarios of the demo whose file names begin so, and runs them locally.
func courses(t *testing.T, plan *drill.Plan, prefixes ...string) []course {
	t.Helper()
	var out []course
	for _, prefix := range prefixes {
		paths, err := filepath.Glob(filepath.Join("..", "..", "testdata", "alder-quay", "scenarios", prefix+"*.scenario.yaml"))
		if err != nil || len(paths) != 1 {
			t.Fatalf("scenario %s: %v, %v", prefix, paths, err)
		}
		data, err := os.ReadFile(paths[0])
		if err != nil {
			t.Fatal(err)
		}
		script, _, findings := site.DefaultLimits().LoadScenario(site.File{Path: paths[0], Data: data})
		if refuses(findings) {
			t.Fatal(findings)
		}
		c := course{file: strings.TrimSuffix(filepath.Base(paths[0]), ".scenario.yaml"), script: script}
		begins := time.Duration(0)
		if b := script.GetBegins(); b != nil {
			begins = panel.InWeek(b.GetDay(), b.GetAt().AsDuration())
		}
		d := drill.NewAt(plan, script.GetSeed(), begins)
		for _, step := range script.GetSteps() {
			act, findings := plan.Resolve(step, "step")
			if len(findings) > 0 {
				t.Fatal(findings)
			}
			if err := d.Do(act); err != nil {
				t.Fatal(err)
			}
			c.end = max(c.end, act.At+30*time.Second)
		}
		if err := d.RunUntil(c.end); err != nil {
			t.Fatal(err)
		}
		c.digest = d.Digest()
		out = append(out, c)
	}
	return out
}

// The same site, seed and acts give the same digest as a drill without a service, whichever way
// the drill gets to its end.
func TestDigestIsThatOfALocalDrill(t *testing.T) {
	files := demoFiles(t)
	r := newRig(t, nil)
	all := courses(t, planOf(t, files), "01", "09", "13", "18")
	for name, run := range map[string]func(string, time.Duration) string{
		"at once":        func(name string, end time.Duration) string { r.advance(name, end); return name },
		"piece by piece": r.piecewise,
		"free":           r.free,
		"forked":         r.forked,
		"from snapshot":  r.fromSnapshot,
	} {
		for _, c := range all {
			t.Run(name+"/"+c.file, func(t *testing.T) {
				drill := r.createAt(files, c.script.GetSeed(), c.script.GetBegins())
				for _, step := range c.script.GetSteps() {
					r.act(drill, step)
				}
				end := run(drill, c.end)
				got := r.inspect(end)
				if got.GetDigest() != c.digest {
					t.Errorf("digest %s, want that of the local drill, %s (%d events)", got.GetDigest(), c.digest, got.GetDrill().GetEvents())
				}
				if at := got.GetDrill().GetInstant().AsDuration(); at != c.end {
					t.Errorf("the drill stands at %v, want %v", at, c.end)
				}
			})
		}
	}
}

// piecewise goes by instants, then by durations, then to the end.
func (r *rig) piecewise(name string, end time.Duration) string {
	r.t.Helper()
	for _, step := range []*pb.AdvanceDrillRequest{
		{Distance: &pb.AdvanceDrillRequest_Instants{Instants: 1}},
		{Distance: &pb.AdvanceDrillRequest_Instants{Instants: 7}},
		{Distance: &pb.AdvanceDrillRequest_By{By: durationpb.New(777777777)}},
		{Distance: &pb.AdvanceDrillRequest_By{By: durationpb.New(1)}},
		{Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(end)}},
		{Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(end / 2)}}, // executed already: nothing
	} {
		step.Name = name
		if _, err := r.drills.AdvanceDrill(r.t.Context(), step); err != nil {
			r.t.Fatal(err)
		}
	}
	return name
}

// free lets the drill run by itself, as fast as it can.
func (r *rig) free(name string, end time.Duration) string {
	r.t.Helper()
	stream := r.watch(name, 1)
	r.awaitState(stream, pb.DrillState_DRILL_STATE_PAUSED)
	if _, err := r.drills.RunDrill(r.t.Context(), &pb.RunDrillRequest{Name: name, Until: durationpb.New(end)}); err != nil {
		r.t.Fatal(err)
	}
	r.awaitPause(stream, end)
	return name
}

// awaitPause waits until a drill that was run to that instant is there and paused.
func (r *rig) awaitPause(stream pb.DrillService_WatchDrillClient, end time.Duration) {
	r.t.Helper()
	for {
		d := r.awaitState(stream, pb.DrillState_DRILL_STATE_PAUSED)
		if d.GetInstant().AsDuration() == end {
			return
		}
	}
}

// forked forks in the middle, spoils the original, and takes the fork to the end.
func (r *rig) forked(name string, end time.Duration) string {
	r.t.Helper()
	r.advance(name, end/3)
	fork, err := r.drills.ForkDrill(r.t.Context(), &pb.ForkDrillRequest{Source: name})
	if err != nil {
		r.t.Fatal(err)
	}
	r.act(name, smoke("G-SD-RECEPTION", end/3+time.Second))
	r.advance(name, end)
	if _, err := r.drills.DeleteDrill(r.t.Context(), &pb.DeleteDrillRequest{Name: name}); err != nil {
		r.t.Fatal(err)
	}
	r.advance(fork.GetDrill().GetName(), end)
	return fork.GetDrill().GetName()
}

// fromSnapshot keeps the middle, takes the original to the end, and forks from what was kept.
func (r *rig) fromSnapshot(name string, end time.Duration) string {
	r.t.Helper()
	r.advance(name, end/2)
	kept, err := r.drills.CreateSnapshot(r.t.Context(), &pb.CreateSnapshotRequest{Parent: name, SnapshotId: "middle"})
	if err != nil {
		r.t.Fatal(err)
	}
	r.advance(name, end)
	fork, err := r.drills.ForkDrill(r.t.Context(), &pb.ForkDrillRequest{Source: kept.GetSnapshot().GetName()})
	if err != nil {
		r.t.Fatal(err)
	}
	if got := fork.GetDrill(); got.GetForkedFrom() != name+"/snapshots/middle" || got.GetInstant().AsDuration() != end/2 {
		r.t.Errorf("the fork is %v", got)
	}
	r.advance(fork.GetDrill().GetName(), end)
	return fork.GetDrill().GetName()
}

// An act without a time acts at once, and the answer says when: entered with that time in a
// local drill it gives the same log.
func TestActsAtOnceCanBeReplayed(t *testing.T) {
	files := demoFiles(t)
	r := newRig(t, nil)
	name := r.create("live", files, 3)
	var entered []*pb.Step
	now := func(step *pb.Step) {
		step.At = nil
		entered = append(entered, r.act(name, step))
	}
	now(smoke("G-SD-HALL-NORTH", 0))
	r.advance(name, 30*time.Second)
	now(&pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	now(&pb.Step{Kind: &pb.Step_Acknowledge{Acknowledge: &pb.AcknowledgeStep{}}})
	r.advance(name, 60*time.Second)

	for i, at := range []time.Duration{0, 30*time.Second + 1, 30*time.Second + 1} {
		if got := entered[i].GetAt().AsDuration(); got != at {
			t.Errorf("act %d is at %v, want %v", i, got, at)
		}
	}
	plan := planOf(t, files)
	d := drill.NewAt(plan, 3, 0)
	for _, step := range entered {
		act, _ := plan.Resolve(step, "step")
		if err := d.Do(act); err != nil {
			t.Fatal(err)
		}
	}
	if err := d.RunUntil(60 * time.Second); err != nil {
		t.Fatal(err)
	}
	if got := r.inspect(name).GetDigest(); got != d.Digest() {
		t.Errorf("digest %s, replayed %s", got, d.Digest())
	}
}

// What lies behind cannot be changed.
func TestActsBeforeThePresentAreRefused(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 0)
	r.advance(name, 10*time.Second)
	_, err := r.drills.Act(t.Context(), &pb.ActRequest{Name: name, Step: smoke("HALL-SD", 10*time.Second)})
	want(t, err, codes.FailedPrecondition, "INSTANT_EXECUTED", "name", name)
}
