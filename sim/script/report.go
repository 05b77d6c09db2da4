package script

import (
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/site"
)

// Place adds the file and the positions of its expectations to a scenario's report.
func Place(report *pb.ScenarioReport, index *site.Index) {
	report.File = index.File()
	for _, e := range report.GetExpectations() {
		at := &pb.Finding{Path: e.GetPath()}
		index.Place([]*pb.Finding{at})
		e.Position = at.GetPosition()
	}
}

// Report joins the reports of the scenarios of one site, in the order given. interrupted says
// that some were not played, or not to their end.
func Report(siteID string, scenarios []*pb.ScenarioReport, interrupted bool) *pb.PlayReport {
	out := &pb.PlayReport{
		Site: siteID, Caution: sim.Caution, Scenarios: scenarios, Interrupted: interrupted,
		ScenarioCounts: &pb.OutcomeCounts{}, ExpectationCounts: &pb.OutcomeCounts{},
	}
	for _, s := range scenarios {
		switch s.GetOutcome() {
		case Passed:
			out.ScenarioCounts.Passed++
		case Failed:
			out.ScenarioCounts.Failed++
		default:
			out.ScenarioCounts.Errored++
		}
		out.ExpectationCounts.Passed += s.GetCounts().GetPassed()
		out.ExpectationCounts.Failed += s.GetCounts().GetFailed()
		out.ExpectationCounts.Errored += s.GetCounts().GetErrored()
	}
	out.Passed = !interrupted && out.GetScenarioCounts().GetPassed() == int32(len(scenarios)) && len(scenarios) > 0
	return out
}
