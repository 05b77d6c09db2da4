package verify

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

const demoFolder = "../../testdata/alder-quay"

// openDemo builds the demo site with its matrix.
func openDemo(t testing.TB) *site.Built {
	t.Helper()
	bundle, err := site.Open(demoFolder)
	if err != nil {
		t.Fatal(err)
	}
	bundle.Scenarios = nil
	return mustBuild(t, bundle)
}

// buildText builds a site and its matrix from their text.
func buildText(t testing.TB, siteText, matrixText string) *site.Built {
	t.Helper()
	return mustBuild(t, bundleOf(siteText, matrixText))
}

func bundleOf(siteText, matrixText string) site.Bundle {
	return site.Bundle{
		Site:   site.File{Path: "site.yaml", Data: []byte(siteText)},
		Matrix: &site.File{Path: "matrix.csv", Data: []byte(matrixText)},
	}
}

func mustBuild(t testing.TB, bundle site.Bundle) *site.Built {
	t.Helper()
	built, found := site.Build(bundle)
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		for _, f := range found {
			t.Errorf("%s:%d:%d %s: %s", f.GetPosition().GetFile(), f.GetPosition().GetLine(), f.GetPosition().GetColumn(), f.GetTitle(), f.GetDetail())
		}
		t.FailNow()
	}
	return built
}

// planOf compiles a site message that no file holds, such as a mutant; false where the models
// refuse it.
func planOf(m *pb.Site) (*drill.Plan, bool) {
	in, found := loop.Compile(m)
	world := site.World(m, in)
	program, problems := logic.Compile(m, world)
	if finding.Worst(append(found, problems...)) == pb.Severity_SEVERITY_REFUSED {
		return nil, false
	}
	built := site.Built{Site: m, Installation: in, World: world, Program: program}
	return built.Plan(), true
}

func newVerifier(t testing.TB, plan *drill.Plan, m *matrix.Matrix) *Verifier {
	t.Helper()
	v, err := New(t.Context(), plan, m)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// verified runs a whole verification and returns the report and the record of every run.
func verified(t testing.TB, v *Verifier) (*pb.VerifyReport, []Record) {
	t.Helper()
	var records []Record
	report, err := v.Run(context.Background(), Options{MatrixFile: "matrix.csv", Inspect: func(_ int, r Record) { records = append(records, r) }})
	if err != nil {
		t.Fatal(err)
	}
	return report, records
}

func readText(t testing.TB, path ...string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(path...))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// replaced puts one text in the place of another that must be there.
func replaced(t testing.TB, text, old, with string) string {
	t.Helper()
	if !strings.Contains(text, old) {
		t.Fatalf("there is no %q to replace", old)
	}
	return strings.ReplaceAll(text, old, with)
}
