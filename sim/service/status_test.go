package service

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Files that cannot be used come back with the field's path and with file, line and column.
func TestFindingsAreFieldViolations(t *testing.T) {
	r := newRig(t, nil)
	files := kioskFiles()
	files.Site.Content = []byte(strings.Replace(kiosk, "zone: hall, cable_m: 5, call_point", "zone: hal, cable_m: 5, call_point", 1))
	_, err := r.drills.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: files})
	bad := field(t, want(t, err, codes.InvalidArgument, "SITE_REFUSED", "findings", "1"), "loops[0].devices[1].zone")
	if bad.GetReason() != "REFERENCE_UNKNOWN" || !strings.HasPrefix(bad.GetDescription(), "kiosk/site.yaml:16:") || !strings.Contains(bad.GetDescription(), `did you mean "hall"?`) {
		t.Errorf("the violation is %v", bad)
	}
	answer, err := r.sites.CheckSite(t.Context(), &pb.CheckSiteRequest{Files: files})
	if err != nil || answer.GetUsable() || len(answer.GetFindings()) != 1 || answer.GetFindings()[0].GetPosition().GetLine() != 16 {
		t.Errorf("CheckSite says %v, %v", answer, err)
	}
	answer, err = r.sites.CheckSite(t.Context(), &pb.CheckSiteRequest{Files: kioskFiles()})
	if err != nil || !answer.GetUsable() {
		t.Errorf("of good files CheckSite says %v, %v", answer, err)
	}
	_, err = r.jobs.CreateJob(t.Context(), &pb.CreateJobRequest{Files: files, Work: &pb.Work{Kind: &pb.Work_Verify{Verify: &pb.VerifyWork{}}}})
	want(t, err, codes.InvalidArgument, "SITE_REFUSED", "findings", "1")
}

// CheckSite says what `loopdrill check` says: of the design too, and of scenarios that fit their schema but not
// the site, which no job plays.
func TestCheckSiteJudges(t *testing.T) {
	r := newRig(t, nil)
	check := func(files *pb.SiteFiles) (codes []string, answer *pb.CheckSiteResponse) {
		answer, err := r.sites.CheckSite(t.Context(), &pb.CheckSiteRequest{Files: files})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range answer.GetFindings() {
			codes = append(codes, f.GetCode())
		}
		return codes, answer
	}
	long := kioskFiles()
	long.Site.Content = []byte(strings.Replace(kiosk, "label: HALL-CP, place: hall, zone: hall, cable_m: 5", "label: HALL-CP, place: hall, zone: hall, cable_m: 9000", 1))
	found, answer := check(long)
	if !slices.Contains(found, "wiring.length") || !answer.GetUsable() || answer.GetCaution() == "" || answer.GetCalculations().GetLoops()[0].GetLengthM() != 9020 {
		t.Errorf("of 9 km of cable CheckSite says %v, %v", found, answer)
	}
	nobody := kioskFiles()
	nobody.Scenarios[0].Content = []byte(strings.Replace(kioskScenario, "device: HALL-SD", "device: HALL-SE", 1))
	found, answer = check(nobody)
	if !slices.Contains(found, "reference.unknown") || answer.GetUsable() || answer.GetCalculations() != nil {
		t.Errorf("of a scenario without its device CheckSite says %v, %v", found, answer)
	}
}

// However bad the files, the details fit into the trailers that clients take (8 KB).
func TestDetailsStaySmall(t *testing.T) {
	r := newRig(t, nil)
	files := kioskFiles()
	files.Site.Content = []byte(kiosk + strings.Repeat(strings.Repeat("x", 200)+"y: 1\n", 400))
	_, err := r.drills.CreateDrill(t.Context(), &pb.CreateDrillRequest{Files: files})
	size := 0
	for _, d := range status.Convert(err).Proto().GetDetails() {
		size += len(d.GetValue())
	}
	if status.Code(err) != codes.InvalidArgument || size == 0 || size*4/3 > 8000 {
		t.Errorf("%d bytes of details: %v", size, err)
	}
}

// A request that breaks a rule of the schema names the field; so does a step that cannot be.
func TestRequestsAreChecked(t *testing.T) {
	r := newRig(t, nil)
	ctx := t.Context()
	name := r.create("kiosk", kioskFiles(), 0)
	_, err := r.drills.CreateDrill(ctx, &pb.CreateDrillRequest{DrillId: "Kiosk!", Files: kioskFiles()})
	field(t, want(t, err, codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "drill_id")
	_, err = r.drills.CreateDrill(ctx, &pb.CreateDrillRequest{})
	field(t, want(t, err, codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "files")
	_, err = r.drills.AdvanceDrill(ctx, &pb.AdvanceDrillRequest{Name: name})
	field(t, want(t, err, codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "distance")
	_, err = r.drills.GetDrill(ctx, &pb.GetDrillRequest{Name: "kiosk"})
	field(t, want(t, err, codes.InvalidArgument, "NAME_MALFORMED", "", ""), "name")
	_, err = r.watch("", 0).Recv() // a stream's request is checked too
	field(t, want(t, err, codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "name")
	_, err = r.drills.ListDrills(ctx, &pb.ListDrillsRequest{PageToken: "%"})
	field(t, want(t, err, codes.InvalidArgument, "PAGE_TOKEN_MALFORMED", "", ""), "page_token")

	step := func(s *pb.Step) error {
		_, err := r.drills.Act(ctx, &pb.ActRequest{Name: name, Step: s})
		return err
	}
	field(t, want(t, step(&pb.Step{}), codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "step.kind")
	field(t, want(t, step(&pb.Step{Kind: &pb.Step_Mode{Mode: &pb.ModeStep{Mode: "dusk"}}}), codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "step.mode.mode")
	bad := field(t, want(t, step(smoke("HALL-SG", 0)), codes.InvalidArgument, "STEP_REFUSED", "", ""), "step.smoke.device")
	if !strings.Contains(bad.GetDescription(), `did you mean "HALL-SD"?`) {
		t.Errorf("a mistyped device: %v", bad)
	}
	repair := &pb.Step{Kind: &pb.Step_Repair{Repair: &pb.RepairStep{Step: "noise"}}}
	field(t, want(t, step(repair), codes.InvalidArgument, "STEP_REFUSED", "", ""), "step.repair.step")
	r.act(name, noise(0.5))
	if err := step(repair); err != nil {
		t.Errorf("a repair of what was injected: %v", err)
	}
	_, err = r.drills.RunDrill(ctx, &pb.RunDrillRequest{Name: name, Until: durationpb.New(-time.Second)})
	field(t, want(t, err, codes.InvalidArgument, "REQUEST_MALFORMED", "", ""), "until")
}

// Every answer carries a request id, the client's where it is fit for a log; an internal cause
// stays in the log under it.
func TestRequestID(t *testing.T) {
	r := newRig(t, nil)
	for given, good := range map[string]bool{"lift-rig-7": true, "": false, "two\twords": false} {
		var header metadata.MD
		ctx := metadata.AppendToOutgoingContext(t.Context(), requestIDKey, given)
		if _, err := r.drills.ListDrills(ctx, &pb.ListDrillsRequest{}, grpc.Header(&header)); err != nil {
			if given == "two\twords" {
				continue // gRPC itself refuses it
			}
			t.Fatal(err)
		}
		got := header.Get(requestIDKey)
		if len(got) != 1 || good != (got[0] == given) || got[0] == "" {
			t.Errorf("request id %q was answered with %q", given, got)
		}
	}
	r.server.drills.mu.Lock()
	r.server.drills.keepers["drills/broken"] = nil // a handler that panics
	r.server.drills.mu.Unlock()
	ctx := metadata.AppendToOutgoingContext(t.Context(), requestIDKey, "panic-1")
	_, err := r.drills.GetDrill(ctx, &pb.GetDrillRequest{Name: "drills/broken"})
	r.server.drills.mu.Lock()
	delete(r.server.drills.keepers, "drills/broken")
	r.server.drills.mu.Unlock()
	want(t, err, codes.Internal, "INTERNAL", "", "")
	logged := r.logs.FilterMessage("handler panicked").All()
	if len(logged) != 1 || logged[0].ContextMap()["request_id"] != "panic-1" || !strings.Contains(logged[0].ContextMap()["cause"].(string), "nil pointer") {
		t.Errorf("the log has %v", logged)
	}
	if strings.Contains(err.Error(), "nil pointer") {
		t.Errorf("the client sees the cause: %v", err)
	}
	found := false
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.RequestInfo); ok {
			found = info.GetRequestId() == "panic-1"
		}
	}
	if !found {
		t.Errorf("the error does not carry the request id: %v", err)
	}
}
