package verify

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestDemoPasses: the demo's own matrix, with the rows that are hardest to get right: the general
// alarm from every fire input of the building, and the lift landings of which the first holds.
func TestDemoPasses(t *testing.T) {
	demo := openDemo(t)
	v := newVerifier(t, demo.Plan(), demo.Matrix)
	report, _ := verified(t, v)
	if !report.GetPassed() {
		t.Errorf("the demo does not pass: %v", report.GetVerdicts())
	}
	inputs := 0
	for i := range v.plan.World.Points {
		if v.plan.World.Points[i].Input.Fire() {
			inputs++
		}
	}
	for _, row := range report.GetRows() {
		if row.GetWhen() == "panel.fire" && int(row.GetWays()) != inputs {
			t.Errorf("%s has %d ways, the building %d fire inputs", row.GetCause(), row.GetWays(), inputs)
		}
	}
	first := 0
	for _, c := range report.GetCells() {
		if c.GetVerdict() != asRequired.String() && c.GetVerdict() != notJudged.String() {
			t.Errorf("%s x %s: %s", c.GetCause(), c.GetColumn(), c.GetVerdict())
		}
		if c.GetRequired() == "on until reset first of lift-landing" {
			first++
		}
	}
	if first != 2 {
		t.Errorf("%d cells of the lift landings, there are two landings", first)
	}
}

// TestDeviceInAnotherZone: a device that is entered in the wrong zone of the panel, and stands
// where it stood, is caught by the row of its place. Each detector of the market hall in turn.
func TestDeviceInAnotherZone(t *testing.T) {
	demo := openDemo(t)
	moved := 0
	for l, loop := range demo.Site.GetLoops() {
		for i, d := range loop.GetDevices() {
			if d.GetZone() != "market-hall" || d.GetPlace() != "market-hall" {
				continue
			}
			moved++
			site := proto.CloneOf(demo.Site)
			site.GetLoops()[l].GetDevices()[i].Zone = "conference"
			plan, ok := planOf(site)
			if !ok {
				t.Fatalf("%s: the site is refused", d.GetLabel())
			}
			report, _ := verified(t, newVerifier(t, plan, demo.Matrix))
			if failingCell(report, "market-hall", "hall-sounders", d.GetLabel()) == nil {
				t.Errorf("%s in another zone: passed %v, and the row of its place does not show it", d.GetLabel(), report.GetPassed())
			}
		}
	}
	if moved < 4 {
		t.Errorf("only %d devices moved", moved)
	}
}

// failingCell finds the cell of a row and a column that fails in the run of one device.
func failingCell(r *pb.VerifyReport, row, column, run string) *pb.CellVerdict {
	i := slices.IndexFunc(r.GetCells(), func(c *pb.CellVerdict) bool {
		return c.GetCause() == row && c.GetColumn() == column && c.GetDifference().GetRun() == run
	})
	if r.GetPassed() || i < 0 {
		return nil
	}
	return r.GetCells()[i]
}
