package week

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/sim/script"
	sitefile "loopdrill.dev/loopdrill/sim/site"
)

// planted is the demo with a mistake that practitioners make: an output that holds itself, so that
// no reset lets it go.
func planted(t *testing.T) sitefile.File {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(demo, "site.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	site := string(text)
	for after, line := range map[string]string{
		"\n  causes:\n":  `    - {cause: barrier-is-up, when: "output('B1-BARRIER-RAISE').commanded == 'on'"}`,
		"\n  actions:\n": `    - {causes: [barrier-is-up], effects: [barrier], state: "on"}`,
	} {
		if strings.Count(site, after) != 1 {
			t.Fatalf("the demo has %d lines %q", strings.Count(site, after), after)
		}
		site = strings.Replace(site, after, after+line+"\n", 1)
	}
	return sitefile.File{Path: "site.yaml", Data: []byte(site)}
}

// A mistake in a program is found by random weeks and shrunk to a few steps, which `play` runs from a
// file and which fail there, by the same claim and at the same time; on the site without the mistake
// the same scenario passes.
func TestPlantedMistakeIsShrunk(t *testing.T) {
	file := planted(t)
	built := build(t, file)
	plan := built.Plan()
	var v *Violation
	seed := uint64(0)
	for v == nil && seed < 50 {
		seed++
		result, err := Run(plan, built.Site, Draw(plan, built.Site, seed, weeks))
		if err != nil {
			t.Fatal(err)
		}
		v = result.Violation
	}
	if v == nil || v.Invariant != Rest {
		t.Fatalf("nobody notices the barrier that holds itself: %v", v)
	}
	course := Draw(plan, built.Site, seed, weeks)
	small, broken := Shrink(plan, built.Site, course, v)
	if n := len(small.GetSteps()); n > 4 || n >= len(course.GetSteps()) {
		t.Errorf("%d steps are left of %d:\n%s", n, len(course.GetSteps()), Write(small))
	}
	if broken.Invariant != Rest || !strings.Contains(broken.Claim, "B1-BARRIER-RAISE") {
		t.Errorf("shrunk to another mistake: %v", broken)
	}
	folder := t.TempDir()
	if err := os.Mkdir(filepath.Join(folder, "scenarios"), 0o750); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"site.yaml": file.Data, "scenarios/found.scenario.yaml": []byte(Write(small))} {
		if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for path, want := range map[string]string{folder: script.Failed, demo: script.Passed} {
		bundle, err := sitefile.Open(folder)
		if err != nil {
			t.Fatal(err)
		}
		if path == demo {
			whole, err := sitefile.Open(demo)
			if err != nil {
				t.Fatal(err)
			}
			bundle.Site = whole.Site
		}
		played, found := sitefile.Build(bundle)
		if len(played.Scenarios) != 1 {
			t.Fatalf("the scenario cannot be read: %v\n%s", found, Write(small))
		}
		s, found := script.Compile(played.Plan(), played.Scenarios[0].Message)
		if s == nil {
			t.Fatalf("the scenario is refused: %v\n%s", found, Write(small))
		}
		report, err := script.Play(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		if report.GetOutcome() != want || report.GetExpectations()[0].GetAtS() != broken.At.Seconds() {
			t.Errorf("%s: %s at %v s, want %s at %v s\n%s", path, report.GetOutcome(), report.GetExpectations()[0].GetAtS(), want, broken.At.Seconds(), Write(small))
		}
	}
}

// What is written is what was drawn, in the words of a file.
func TestWriteReadsBack(t *testing.T) {
	built := open(t, demo)
	plan := built.Plan()
	for seed := range uint64(3) {
		course := Draw(plan, built.Site, seed, weeks)
		read, _, found := sitefile.DefaultLimits().LoadScenario(sitefile.File{Path: "a.scenario.yaml", Data: []byte(Write(course))})
		if len(found) > 0 || !proto.Equal(read, course) {
			t.Errorf("seed %d reads as another scenario: %v", seed, found)
		}
	}
}
