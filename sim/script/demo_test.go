package script

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

func demo(t *testing.T) *site.Built {
	t.Helper()
	bundle, err := site.Open("../../testdata/alder-quay")
	if err != nil {
		t.Fatal(err)
	}
	built, findings := site.Build(bundle)
	if finding.Worst(findings) >= pb.Severity_SEVERITY_ERROR || len(built.Scenarios) == 0 {
		t.Fatalf("the demo: %s", findingText(t, findings))
	}
	return built
}

// Every scenario of the demo passes, gives the same report when it is played again, has the
// digest of the bare drill, and all its events can be put into words.
func TestDemoScenarios(t *testing.T) {
	built := demo(t)
	plan := built.Plan()
	kinds := map[string]bool{}
	for _, sc := range built.Scenarios {
		s, findings := Compile(plan, sc.Message)
		sc.Index.Place(findings)
		if len(findings) > 0 {
			t.Errorf("%s", findingText(t, findings))
			continue
		}
		report, err := Play(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		Place(report, sc.Index)
		if report.GetOutcome() != Passed {
			t.Errorf("%s: %s", sc.Index.File(), reportText(report))
		}
		bare, err := s.start()
		if err != nil {
			t.Fatal(err)
		}
		if err := bare.RunUntil(s.end); err != nil {
			t.Fatal(err)
		}
		if bare.Digest() != report.GetDigest() || int(report.GetEvents()) != bare.Log().Len() {
			t.Errorf("%s: digest %s with judging, %s without", sc.Index.File(), report.GetDigest(), bare.Digest())
		}
		for _, e := range bare.Log().Since(0) {
			kinds[drill.KindName(e.Kind)] = true
			if text := plan.Describe(&e); strings.TrimSpace(text) == "" || strings.HasPrefix(text, ":") || strings.HasPrefix(text, " ") {
				t.Errorf("%s: an event of kind %s has the words %q", sc.Index.File(), drill.KindName(e.Kind), text)
			}
		}
	}
	if len(kinds) < 30 {
		t.Errorf("only %d kinds of events were put into words", len(kinds))
	}
}

// A run that is interrupted is no report; a script that cannot fail is no pass.
func TestInterrupted(t *testing.T) {
	built := demo(t)
	s, _ := Compile(built.Plan(), built.Scenarios[0].Message)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if report, err := Play(ctx, s); report != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v, %v", report, err)
	}
	if Report("site", nil, false).GetPassed() {
		t.Error("a report of nothing has passed")
	}
}

// A run that reaches a bound of the bench is errored: what was due before is judged, the rest
// could not be, and the three outcomes are counted apart.
func TestEndedEarly(t *testing.T) {
	built := demo(t)
	s, _ := Compile(built.Plan(), built.Scenarios[0].Message)
	d, err := s.start()
	if err != nil {
		t.Fatal(err)
	}
	early := 30 * time.Second
	if err := d.RunUntil(early); err != nil {
		t.Fatal(err)
	}
	r := &playing{s: s, d: d, traces: make([]trace, len(s.expect))} // nothing observed: every condition false
	report := r.report(early, &sim.BoundError{Bound: "events per run", Limit: 10, At: early})
	if report.GetOutcome() != Errored || !strings.Contains(report.GetReason(), "bound of 10 events per run") || report.GetEndedS() != 30 {
		t.Errorf("%s, ended at %v s: %s", report.GetOutcome(), report.GetEndedS(), report.GetReason())
	}
	counts := map[string]int32{}
	for i, e := range report.GetExpectations() {
		counts[e.GetOutcome()]++
		if due := s.expect[i].to > early; due != (e.GetOutcome() == Errored) {
			t.Errorf("%s: %s", e.GetText(), e.GetOutcome())
		}
	}
	c := report.GetCounts()
	if counts[Failed] == 0 || counts[Errored] == 0 || c.GetFailed() != counts[Failed] || c.GetErrored() != counts[Errored] || c.GetPassed() != counts[Passed] {
		t.Errorf("counted %v, reported %v", counts, c)
	}
	if sum := Report("site", []*pb.ScenarioReport{report}, false); sum.GetPassed() || sum.GetScenarioCounts().GetErrored() != 1 {
		t.Errorf("%v", sum)
	}
}
