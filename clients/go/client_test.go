package client

import (
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/service"
	"loopdrill.dev/loopdrill/sim/site"
)

const demo = "../../testdata/alder-quay"

// start runs a server on a loopback port and returns its address.
func start(t *testing.T, change func(*service.Limits)) string {
	t.Helper()
	limits := service.DefaultLimits()
	if change != nil {
		change(&limits)
	}
	server, err := service.New(service.Options{Limits: limits, Log: zap.NewNop(), Registry: prometheus.NewRegistry()})
	if err != nil {
		t.Fatal(err)
	}
	listener, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- server.Serve(listener) }()
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		server.Stop(ctx)
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	return listener.Addr().String()
}

func dial(t *testing.T, address string, options ...grpc.DialOption) *Client {
	t.Helper()
	c, err := Dial(address, options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func demoFiles(t *testing.T) *pb.SiteFiles {
	t.Helper()
	files, err := ReadFiles(demo)
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// noise makes loop 1 log an event at almost every visit.
func noise() *pb.Step {
	loop, rate := uint32(1), 0.9
	return &pb.Step{At: durationpb.New(0), Step: "noise", Kind: &pb.Step_LineErrors{LineErrors: &pb.LineErrorsStep{Loop: &loop, Rate: &rate}}}
}

// The client reads what the commands read.
func TestReadFiles(t *testing.T) {
	for _, path := range []string{demo, filepath.Join(demo, "site.yaml")} {
		bundle, err := site.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		files, err := ReadFiles(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(files.GetSite().GetContent()) != string(bundle.Site.Data) || files.GetSite().GetPath() != bundle.Site.Path ||
			string(files.GetMatrix().GetContent()) != string(bundle.Matrix.Data) || len(files.GetScenarios()) != len(bundle.Scenarios) || len(bundle.Scenarios) == 0 {
			t.Fatalf("%s: %d scenarios, want %d", path, len(files.GetScenarios()), len(bundle.Scenarios))
		}
		for i, s := range files.GetScenarios() {
			if s.GetPath() != bundle.Scenarios[i].Path {
				t.Errorf("scenario %d is %s, want %s", i, s.GetPath(), bundle.Scenarios[i].Path)
			}
		}
	}
	if _, err := ReadFiles(t.TempDir()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("an empty folder: %v", err)
	}
}

// A drill through the client, its fork and its snapshot have the digest of a local one.
func TestDrill(t *testing.T) {
	c, ctx, files := dial(t, start(t, nil)), t.Context(), demoFiles(t)
	d, err := c.CreateDrill(ctx, &pb.CreateDrillRequest{Files: files, DrillId: "pier", Seed: 9})
	if err != nil {
		t.Fatal(err)
	}
	level := 8.0
	step := &pb.Step{Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: "G-SD-HALL-NORTH", LevelPctPerM: &level}}}
	if _, err := d.AdvanceTo(ctx, 3*time.Second); err != nil {
		t.Fatal(err)
	}
	entered, err := d.Act(ctx, step)
	if err != nil || entered.GetAt().AsDuration() != 3*time.Second+1 {
		t.Fatalf("entered %v, %v", entered, err)
	}
	kept, err := d.Snapshot(ctx, "before")
	if err != nil {
		t.Fatal(err)
	}
	fork, err := d.Fork(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	again, err := c.ForkSnapshot(ctx, kept, "again")
	if err != nil {
		t.Fatal(err)
	}

	bundle, err := site.Open(demo)
	if err != nil {
		t.Fatal(err)
	}
	built, _ := site.Build(bundle)
	local := drill.NewAt(built.Plan(), 9, 0)
	act, _ := built.Plan().Resolve(entered, "step")
	if err := local.Do(act); err != nil {
		t.Fatal(err)
	}
	if err := local.RunUntil(time.Minute); err != nil {
		t.Fatal(err)
	}
	for _, one := range []*Drill{d, fork, again} {
		if _, err := one.AdvanceTo(ctx, time.Minute); err != nil {
			t.Fatal(err)
		}
		seen, err := one.Inspect(ctx)
		if err != nil || seen.GetDigest() != local.Digest() || !seen.GetInspection().GetPanel().GetFire() {
			t.Errorf("%s: digest %s, %v; want %s", one.Name, seen.GetDigest(), err, local.Digest())
		}
	}
	if err := d.Delete(ctx); err != nil {
		t.Fatal(err)
	}
	if err := d.Watch(ctx, 0, func(*pb.Event) error { return nil }); status.Code(err) != codes.NotFound {
		t.Errorf("a watch of what is deleted: %v", err)
	}
}

// A watch that lags goes on where it stopped: its caller sees every event once and in order.
func TestWatchResumesAfterALag(t *testing.T) {
	address := start(t, func(l *service.Limits) { l.WatchLag = 100 })
	// Windows of a fixed, small size: see the tests of the service.
	c, ctx := dial(t, address, grpc.WithInitialWindowSize(1<<16), grpc.WithInitialConnWindowSize(1<<20)), t.Context()
	d, err := c.CreateDrill(ctx, &pb.CreateDrillRequest{Files: demoFiles(t), DrillId: "", Seed: 0})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Act(ctx, noise()); err != nil {
		t.Fatal(err)
	}
	var n, next uint64 = 0, 1
	err = d.Watch(ctx, 0, func(e *pb.Event) error {
		if e.GetSequence() != next {
			t.Fatalf("event %d comes when %d is due", e.GetSequence(), next)
		}
		for until := time.Minute; n < 10_000; until += time.Minute { // while nobody reads the stream
			m, err := d.AdvanceTo(ctx, until)
			if err != nil {
				return err
			}
			n = m.GetEvents()
		}
		if next++; next > n {
			return ErrStop
		}
		return nil
	})
	if err != nil || next != n+1 {
		t.Errorf("after %d of %d events: %v", next-1, n, err)
	}
}

// A watch whose connection breaks goes on over the next one.
func TestWatchResumesAfterABrokenConnection(t *testing.T) {
	address := start(t, nil)
	var open net.Conn
	c := dial(t, address, grpc.WithContextDialer(func(ctx context.Context, to string) (net.Conn, error) {
		conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", to)
		open = conn
		return conn, err
	}))
	d, err := c.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: demoFiles(t), DrillId: "", Seed: 0})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.Act(t.Context(), noise()); err != nil {
		t.Fatal(err)
	}
	m, err := d.AdvanceTo(t.Context(), time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	next := uint64(1)
	err = d.Watch(t.Context(), 1, func(e *pb.Event) error {
		if e.GetSequence() != next {
			t.Fatalf("event %d comes when %d is due", e.GetSequence(), next)
		}
		if next == 100 {
			_ = open.Close()
		}
		if next++; next > m.GetEvents() {
			return ErrStop
		}
		return nil
	})
	if err != nil || next != m.GetEvents()+1 || next < 1000 {
		t.Errorf("after %d of %d events: %v", next-1, m.GetEvents(), err)
	}
	refused := errors.New("enough")
	if err := d.Watch(t.Context(), 5, func(*pb.Event) error { return refused }); !errors.Is(err, refused) {
		t.Errorf("the caller's error comes back as %v", err)
	}
}

// A job runs to its end with its progress; the server keeps nothing of it.
func TestRunJob(t *testing.T) {
	c, ctx, files := dial(t, start(t, nil)), t.Context(), demoFiles(t)
	var last, total uint64
	job, err := c.RunJob(ctx, files, &pb.Work{Kind: &pb.Work_Play{Play: &pb.PlayWork{}}}, func(done, whole uint64) {
		if done < last {
			t.Errorf("progress goes back from %d to %d", last, done)
		}
		last, total = done, whole
	})
	if err != nil || job.GetState() != pb.JobState_JOB_STATE_DONE || len(job.GetPlayReport().GetScenarios()) != len(files.GetScenarios()) {
		t.Fatalf("the job is %v, %v", job, err)
	}
	if n := uint64(len(files.GetScenarios())); last != n || total != n {
		t.Errorf("the last progress is %d of %d, want %d", last, total, n)
	}
	kept, err := c.Jobs.ListJobs(ctx, &pb.ListJobsRequest{})
	if err != nil || len(kept.GetJobs()) != 0 {
		t.Errorf("the server keeps %v, %v", kept, err)
	}
}

// When the caller has had enough, the job is cancelled and what it found comes back.
func TestRunJobIsCancelled(t *testing.T) {
	c, files := dial(t, start(t, nil)), demoFiles(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	job, err := c.RunJob(ctx, files, &pb.Work{Kind: &pb.Work_Verify{Verify: &pb.VerifyWork{}}}, func(done, _ uint64) {
		if done > 0 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) || job.GetState() != pb.JobState_JOB_STATE_CANCELLED || !job.GetVerifyReport().GetInterrupted() {
		t.Errorf("the job is %v, %v", job.GetState(), err)
	}
	kept, err := c.Jobs.ListJobs(t.Context(), &pb.ListJobsRequest{})
	if err != nil || len(kept.GetJobs()) != 0 {
		t.Errorf("the server keeps %v, %v", kept, err)
	}
}

// Errors are explained with file, line and column, and their reason can be asked for.
func TestExplain(t *testing.T) {
	c, files := dial(t, start(t, nil)), demoFiles(t)
	files.Site.Content = append(files.GetSite().GetContent(), "colour: red\n"...)
	_, err := c.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: files, DrillId: "", Seed: 0})
	text := Explain(err)
	if !strings.Contains(text, "site.yaml:") || !strings.Contains(text, "colour") || strings.Count(text, "\n") < 1 {
		t.Errorf("the explanation is %q", text)
	}
	if reason, metadata := Reason(err); reason != "SITE_REFUSED" || metadata["findings"] != "1" {
		t.Errorf("the reason is %q, %v", reason, metadata)
	}
	if got := Explain(errors.New("plain")); got != "plain" {
		t.Errorf("a plain error is explained as %q", got)
	}
	// A server that is not there is an error, not a wait.
	_, err = dial(t, "127.0.0.1:1").CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: files, DrillId: "", Seed: 0})
	if status.Code(err) != codes.Unavailable || !Unanswered(err) || Explain(err) != "no server answers" {
		t.Errorf("without a server: %v, explained as %q", err, Explain(err))
	}
	if stops, err := status.New(codes.Unavailable, "the server is stopping").WithDetails(&errdetails.ErrorInfo{Reason: "SERVER_STOPS"}); err != nil || Unanswered(stops.Err()) {
		t.Errorf("a server that stops counts as none, %v", err)
	}
}
