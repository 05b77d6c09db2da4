package script

import (
	"fmt"
	"strings"
	"testing"

	"github.com/cockroachdb/datadriven"
	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// TestStories runs testdata/stories. The expected text is the behaviour; `go test -rewrite`
// writes it anew. Commands:
//
//	site       reads the input as site.yaml for the commands that follow; prints what refuses it
//	compile    reads the input as a scenario and compiles it; prints the findings, or `good`
//	play       does the same, plays it, and prints the report
//	coverage   does the same, and prints what it exercises of the site
func TestStories(t *testing.T) {
	datadriven.Walk(t, "testdata/stories", func(t *testing.T, path string) {
		var built *site.Built
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			if d.Cmd == "site" {
				var findings []*pb.Finding
				built, findings = site.Build(site.Bundle{Site: site.File{Path: "site.yaml", Data: []byte(d.Input)}})
				return findingText(t, findings)
			}
			message, index, findings := site.DefaultLimits().LoadScenario(site.File{Path: "a.scenario.yaml", Data: []byte(d.Input)})
			if len(findings) > 0 {
				return findingText(t, findings)
			}
			s, findings := Compile(built.Plan(), message)
			index.Place(findings)
			if d.Cmd == "compile" || s == nil {
				return findingText(t, findings)
			}
			switch d.Cmd {
			case "play":
				report, err := Play(t.Context(), s)
				if err != nil {
					t.Fatal(err)
				}
				Place(report, index)
				return reportText(report)
			case "coverage":
				return coverageText(t, built, s)
			}
			d.Fatalf(t, "there is no command %q", d.Cmd)
			return ""
		})
	})
}

// coverageText plays a script with and without being watched, which must not show in the log, and
// prints what it exercises.
func coverageText(t *testing.T, built *site.Built, s *Script) string {
	t.Helper()
	c := NewCoverage(built.Plan(), built.Site)
	watched, err := c.Play(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	if bare, err := Play(t.Context(), s); err != nil || !proto.Equal(bare, watched) {
		t.Errorf("being watched changes the report: %v", err)
	}
	var out strings.Builder
	for _, sort := range c.Report(built.Index).GetSorts() {
		fmt.Fprintf(&out, "%s: %d of %d\n", sort.GetSort(), sort.GetExercised(), sort.GetAspects())
		for _, thing := range sort.GetThings() {
			fmt.Fprintf(&out, "  %d: %s: seen %s; unseen %s\n", thing.GetPosition().GetLine(), thing.GetName(), strings.Join(thing.GetSeen(), ", "), strings.Join(thing.GetUnseen(), ", "))
		}
	}
	return out.String()
}

func findingText(t *testing.T, findings []*pb.Finding) string {
	if len(findings) == 0 {
		return "good\n"
	}
	var out strings.Builder
	if err := site.WriteText(&out, findings, site.Plain); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// reportText prints a report, one line for what passed.
func reportText(r *pb.ScenarioReport) string {
	var out strings.Builder
	fmt.Fprintf(&out, "%s, ended at %v s: %d passed, %d failed, %d errored\n", r.GetOutcome(), r.GetEndedS(), r.GetCounts().GetPassed(), r.GetCounts().GetFailed(), r.GetCounts().GetErrored())
	if r.GetReason() != "" {
		fmt.Fprintf(&out, "  %s\n", r.GetReason())
	}
	for _, e := range r.GetExpectations() {
		fmt.Fprintf(&out, "%d: %s at %v s: %s\n", e.GetPosition().GetLine(), e.GetOutcome(), e.GetAtS(), e.GetText())
		if e.GetOutcome() != Passed {
			fmt.Fprintf(&out, "  expected %s\n  got %s\n%s", e.GetExpected(), e.GetGot(), chainText(e.GetChain()))
		}
	}
	for _, o := range r.GetOthers() {
		fmt.Fprintf(&out, "%s goes to %s at %v s, and no expectation names it\n%s", o.GetOutput(), o.GetState(), o.GetAtS(), chainText(o.GetChain()))
	}
	return out.String()
}

func chainText(links []*pb.ChainLink) string {
	var out strings.Builder
	for _, l := range links {
		fmt.Fprintf(&out, "    %v s %s\n", l.GetAtS(), l.GetWhat())
	}
	return out.String()
}
