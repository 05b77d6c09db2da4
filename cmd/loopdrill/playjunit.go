package main

import (
	"fmt"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/script"
)

// playJUnit turns scenarios into suites and expectations into cases.
func playJUnit(r *pb.PlayReport) junitSuites {
	out := junitSuites{Name: "play " + r.GetSite()}
	for _, s := range r.GetScenarios() {
		suite := junitSuite{Name: s.GetScenario()}
		class := scenarioName(s.GetFile())
		for _, e := range s.GetExpectations() {
			suite.add(expectationCase(s, e, class))
		}
		for _, o := range s.GetOthers() {
			suite.add(junitCase{Name: o.GetOutput() + " stays at rest", Class: class, Failure: &junitDetail{
				Message: "it operates, and no expectation names it",
				Text:    chainLines(o.GetChain()) + s.GetReplay() + "\n",
			}})
		}
		if s.GetReason() != "" {
			suite.add(junitCase{Name: "the scenario can be judged", Class: class, Error: &junitDetail{Message: s.GetReason(), Text: s.GetReplay() + "\n"}})
		}
		out.Suites = append(out.Suites, suite)
	}
	return out
}

func expectationCase(s *pb.ScenarioReport, e *pb.ExpectationReport, class string) junitCase {
	p := e.GetPosition()
	out := junitCase{Name: fmt.Sprintf("line %d: %s", p.GetLine(), e.GetText()), Class: class}
	detail := &junitDetail{
		Message: "got " + e.GetGot(),
		Text: fmt.Sprintf("%s:%d:%d at %g s\nexpected %s\ngot %s\n%sseed %d\n%s\n", p.GetFile(), p.GetLine(), p.GetColumn(), e.GetAtS(),
			e.GetExpected(), e.GetGot(), chainLines(e.GetChain()), s.GetSeed(), s.GetReplay()),
	}
	switch e.GetOutcome() {
	case script.Passed:
	case script.Failed:
		out.Failure = detail
	default:
		out.Error = detail
	}
	return out
}

func chainLines(links []*pb.ChainLink) string {
	var out strings.Builder
	for _, link := range links {
		fmt.Fprintf(&out, "%g s %s\n", link.GetAtS(), link.GetWhat())
	}
	return out.String()
}
