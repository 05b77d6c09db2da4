package service

import (
	"context"
	"net"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

// kiosk is a small invented site: smoke sounds the bell sounder and starts the fan, whose run is
// proven by an input.
const kiosk = `site: kiosk
title: Kiosk at the pier
rules: {packs: [nfpa72]}
targets: {detector: 8s, call_point: 6s}
places: [{place: hall}]
zones: [{zone: hall}]
equipment:
  - {equipment: fan, fan: {run_up: 5s}}
loops:
  - loop: 1
    wiring: branch
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    devices:
      - {address: 1, label: HALL-SD, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 2, label: HALL-CP, place: hall, zone: hall, cable_m: 5, call_point: {}}
      - {address: 3, label: HALL-SOUNDER, place: hall, cable_m: 5, loop_sounder: {current_ma: 5}}
      - {address: 4, label: FAN-START, place: hall, cable_m: 5,
         relay_module: {contact: {at_rest: open, on_loop_loss: stays}, drives: {equipment: fan, input: start}}}
      - {address: 5, label: FAN-RUNS, place: hall, cable_m: 5, input_module: {input: technical, proves: {equipment: fan, signal: running}}}
panel:
  outputs:
    - {label: BELL, relay: {at_rest: open}}
program:
  causes:
    - {cause: hall-fire, when: "zone('hall').fire"}
  effects:
    - {effect: sound, outputs: [HALL-SOUNDER], silenceable: true}
    - {effect: exhaust, outputs: [FAN-START, BELL]}
  actions:
    - {causes: [hall-fire], effects: [sound], state: evacuate}
    - {causes: [hall-fire], effects: [exhaust], state: "on", after: 20s}
`

const kioskMatrix = `cause,when,given,HALL-SOUNDER,FAN-START,BELL
hall-fire,place('hall').fire,,evacuate silenceable,on after 20s,on after 20s
`

const kioskScenario = `scenario: smoke
steps:
  - {at: 2s, step: smoke, smoke: {device: HALL-SD, level_pct_per_m: 8}}
expect:
  - {since: smoke, within: 8s, that: "output('HALL-SOUNDER').on"}
  - {since: smoke, within: 30s, that: "output('FAN-START').on"}
`

// kioskPoints is the number of addressed devices of the kiosk.
const kioskPoints = 5

func kioskFiles() *pb.SiteFiles {
	return &pb.SiteFiles{
		Site:      &pb.SourceFile{Path: "kiosk/site.yaml", Content: []byte(kiosk)},
		Matrix:    &pb.SourceFile{Path: "kiosk/matrix.csv", Content: []byte(kioskMatrix)},
		Scenarios: []*pb.SourceFile{{Path: "kiosk/scenarios/smoke.scenario.yaml", Content: []byte(kioskScenario)}},
	}
}

// demoFiles are the files of the demo, without the scenarios.
func demoFiles(t *testing.T) *pb.SiteFiles {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "alder-quay", "site.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	return &pb.SiteFiles{Site: &pb.SourceFile{Path: "site.yaml", Content: data}}
}

// planOf compiles files without the service.
func planOf(t *testing.T, files *pb.SiteFiles) *drill.Plan {
	t.Helper()
	built, findings := site.Build(bundleOf(files))
	if refuses(findings) {
		t.Fatal(findings)
	}
	return built.Plan()
}

// rig is a server behind an in-memory listener, and clients of it.
type rig struct {
	t        *testing.T
	server   *Server
	conn     *grpc.ClientConn
	drills   pb.DrillServiceClient
	jobs     pb.JobServiceClient
	sites    pb.SiteServiceClient
	registry *prometheus.Registry
	logs     *observer.ObservedLogs
	dial     func() *grpc.ClientConn
	served   chan error
}

// newRig starts a server; change, which may be nil, adapts its options.
func newRig(t *testing.T, change func(*Options)) *rig {
	t.Helper()
	core, logs := observer.New(zapcore.InfoLevel)
	r := &rig{t: t, registry: prometheus.NewRegistry(), logs: logs, served: make(chan error, 1)}
	options := Options{Limits: DefaultLimits(), Log: zap.New(core), Registry: r.registry}
	if change != nil {
		change(&options)
	}
	var err error
	if r.server, err = New(options); err != nil {
		t.Fatal(err)
	}
	listener := bufconn.Listen(1 << 16)
	go func() { r.served <- r.server.Serve(listener) }()
	// Windows of a fixed size, the smallest there are: how much a stream holds does not depend on
	// how fast it was, so a test knows when a watcher that does not read is behind.
	r.dial = func() *grpc.ClientConn {
		conn, err := grpc.NewClient("passthrough:///bufconn", grpc.WithTransportCredentials(insecure.NewCredentials()),
			grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }),
			grpc.WithInitialWindowSize(1<<16), grpc.WithInitialConnWindowSize(1<<20), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(64<<20)))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		r.server.Stop(ctx)
	})
	r.conn = r.dial()
	r.drills, r.jobs, r.sites = pb.NewDrillServiceClient(r.conn), pb.NewJobServiceClient(r.conn), pb.NewSiteServiceClient(r.conn)
	return r
}

// create makes a drill and returns its name.
func (r *rig) create(id string, files *pb.SiteFiles, seed uint64) string {
	r.t.Helper()
	answer, err := r.drills.CreateDrill(r.t.Context(), &pb.CreateDrillRequest{DrillId: id, Files: files, Seed: seed})
	if err != nil {
		r.t.Fatal(err)
	}
	return answer.GetDrill().GetName()
}

// createAt makes a drill that begins at a moment of the week, and returns its name.
func (r *rig) createAt(files *pb.SiteFiles, seed uint64, begins *pb.Begins) string {
	r.t.Helper()
	answer, err := r.drills.CreateDrill(r.t.Context(), &pb.CreateDrillRequest{Files: files, Seed: seed, Begins: begins})
	if err != nil {
		r.t.Fatal(err)
	}
	return answer.GetDrill().GetName()
}

// act enters a step and returns it with its time.
func (r *rig) act(name string, step *pb.Step) *pb.Step {
	r.t.Helper()
	answer, err := r.drills.Act(r.t.Context(), &pb.ActRequest{Name: name, Step: step})
	if err != nil {
		r.t.Fatal(err)
	}
	return answer.GetStep()
}

// advance runs a drill up to a virtual time.
func (r *rig) advance(name string, until time.Duration) *pb.Drill {
	r.t.Helper()
	answer, err := r.drills.AdvanceDrill(r.t.Context(), &pb.AdvanceDrillRequest{Name: name, Distance: &pb.AdvanceDrillRequest_Until{Until: durationpb.New(until)}})
	if err != nil {
		r.t.Fatal(err)
	}
	return answer.GetDrill()
}

func (r *rig) inspect(name string) *pb.InspectDrillResponse {
	r.t.Helper()
	answer, err := r.drills.InspectDrill(r.t.Context(), &pb.InspectDrillRequest{Name: name})
	if err != nil {
		r.t.Fatal(err)
	}
	return answer
}

// watch opens a watch.
func (r *rig) watch(name string, from uint64) pb.DrillService_WatchDrillClient {
	r.t.Helper()
	stream, err := r.drills.WatchDrill(r.t.Context(), &pb.WatchDrillRequest{Name: name, FromSequence: from})
	if err != nil {
		r.t.Fatal(err)
	}
	return stream
}

// next reads one part of a watch.
func (r *rig) next(stream pb.DrillService_WatchDrillClient) *pb.WatchDrillResponse {
	r.t.Helper()
	part, err := stream.Recv()
	if err != nil {
		r.t.Fatal(err)
	}
	return part
}

// events reads a watch until it has brought the event of that sequence.
func (r *rig) events(stream pb.DrillService_WatchDrillClient, last uint64) []*pb.Event {
	r.t.Helper()
	var all []*pb.Event
	for {
		part := r.next(stream)
		if part.GetLag() != nil {
			r.t.Fatalf("the watch lagged: %v", part.GetLag())
		}
		all = append(all, part.GetEvents()...)
		if n := len(all); n > 0 && all[n-1].GetSequence() >= last {
			return all
		}
	}
}

// awaitState reads a watch until the drill is in that state.
func (r *rig) awaitState(stream pb.DrillService_WatchDrillClient, state pb.DrillState) *pb.Drill {
	r.t.Helper()
	for {
		if d := r.next(stream).GetDrill(); d.GetState() == state {
			return d
		}
	}
}

// want checks an error: its code, and the reason and a metadata value of its ErrorInfo.
func want(t *testing.T, err error, code codes.Code, reason, key, value string) *errdetails.BadRequest {
	t.Helper()
	if status.Code(err) != code {
		t.Fatalf("got %v, want %v", err, code)
	}
	var bad *errdetails.BadRequest
	var info *errdetails.ErrorInfo
	for _, detail := range status.Convert(err).Details() {
		switch d := detail.(type) {
		case *errdetails.BadRequest:
			bad = d
		case *errdetails.ErrorInfo:
			info = d
		}
	}
	if info.GetDomain() != domain || info.GetReason() != reason || key != "" && info.GetMetadata()[key] != value {
		t.Errorf("the details of %v are %v, want reason %s and %s=%s", err, info, reason, key, value)
	}
	return bad
}

// field finds the violation of one field.
func field(t *testing.T, bad *errdetails.BadRequest, name string) *errdetails.BadRequest_FieldViolation {
	t.Helper()
	i := slices.IndexFunc(bad.GetFieldViolations(), func(v *errdetails.BadRequest_FieldViolation) bool { return v.GetField() == name })
	if i < 0 {
		t.Fatalf("no violation of %s in %v", name, bad)
	}
	return bad.GetFieldViolations()[i]
}

func smoke(device string, at time.Duration) *pb.Step {
	level := 8.0
	return &pb.Step{At: durationpb.New(at), Step: "smoke", Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: device, LevelPctPerM: &level}}}
}

func noise(rate float64) *pb.Step {
	loop := uint32(1)
	return &pb.Step{At: durationpb.New(0), Step: "noise", Kind: &pb.Step_LineErrors{LineErrors: &pb.LineErrorsStep{Loop: &loop, Rate: &rate}}}
}
