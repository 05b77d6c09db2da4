package script

import (
	"context"
	"errors"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
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
		if err := bare.RunUntil(s.End()); err != nil {
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
