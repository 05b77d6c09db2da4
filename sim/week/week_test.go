package week

import (
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	sitefile "loopdrill.dev/loopdrill/sim/site"
)

const demo = "../../testdata/alder-quay"

// open reads a site without its matrix and its scenarios.
func open(t testing.TB, path string) *sitefile.Built {
	t.Helper()
	bundle, err := sitefile.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	return build(t, bundle.Site)
}

func build(t testing.TB, file sitefile.File) *sitefile.Built {
	t.Helper()
	built, found := sitefile.Build(sitefile.Bundle{Site: file})
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		t.Fatalf("%s is refused: %v", file.Path, found)
	}
	return built
}

// weeks is how many weeks each seed has: a month of a site.
const weeks = 4

// number reads a whole number from the environment.
func number(name string, otherwise uint64) uint64 {
	if n, err := strconv.ParseUint(os.Getenv(name), 10, 64); err == nil {
		return n
	}
	return otherwise
}

// TestRandomWeeks lets 50 seeds of 4 weeks go by on every site of testdata. Every invariant holds; a
// seed in which one breaks is shrunk to a scenario. LOOPDRILL_WEEKS=N sets the number of seeds,
// LOOPDRILL_SEED=N plays one.
func TestRandomWeeks(t *testing.T) {
	sites, err := filepath.Glob("../../testdata/*/site.yaml")
	if err != nil || len(sites) == 0 {
		t.Fatalf("there is no site: %v", err)
	}
	seeds, first := number("LOOPDRILL_WEEKS", 50), uint64(1)
	if seed := number("LOOPDRILL_SEED", 0); seed > 0 {
		seeds, first = 1, seed
	}
	for _, path := range sites {
		t.Run(filepath.Base(filepath.Dir(path)), func(t *testing.T) {
			built := open(t, path)
			plan := built.Plan()
			drawn, rests := map[string]int{}, 0
			for seed := first; seed < first+seeds; seed++ {
				course := Draw(plan, built.Site, seed, weeks)
				for _, s := range course.GetSteps() {
					drawn[kindOf(s)]++
				}
				result, err := Run(plan, built.Site, course)
				switch {
				case err != nil:
					t.Errorf("seed %d: %v", seed, err)
					continue
				case result.Violation != nil:
					small, v := Shrink(plan, built.Site, course, result.Violation)
					t.Fatalf("seed %d: %v\nas a scenario: %v\n%s", seed, result.Violation, v, Write(small))
				}
				rests += result.Rests
			}
			if first == 1 && seeds >= 50 {
				covered(t, newSite(plan, built.Site), drawn)
				if uint64(rests) < seeds*weeks*3/4 { // a mode by hand may outlast a week's reset
					t.Errorf("the panel was found at rest %d times in %d weeks", rests, seeds*weeks)
				}
			}
		})
	}
}

// covered checks that whatever can happen to a site has happened to it.
func covered(t *testing.T, s *site, drawn map[string]int) {
	t.Helper()
	for _, f := range s.families {
		for _, d := range f.deeds {
			if step := kindOf(d.begin(newDice(1, "covered"), d.names[0])); drawn[step] == 0 {
				t.Errorf("no week has a %s", d.name)
			}
			if d.end != nil && drawn[kindOf(d.end(newDice(1, "covered"), d.names[0]))] == 0 {
				t.Errorf("no week ends a %s", d.name)
			}
		}
	}
	for _, p := range presses {
		if drawn[p.name] == 0 {
			t.Errorf("nobody presses %s", p.name)
		}
	}
}

// Every kind of step that a scenario knows can be drawn: nothing is left out by oversight.
func TestEveryStepCanBeDrawn(t *testing.T) {
	built := open(t, demo)
	s := newSite(built.Plan(), built.Site)
	known := map[string]bool{"repair": true, "signal": true, "clear": true, "enable": true}
	for _, f := range [][]deed{s.stimuli(), s.cableFaults(), s.deviceFaults(), s.outputFaults(), s.supplyFaults(), s.operators()} {
		for _, d := range f {
			name := ""
			if len(d.names) > 0 {
				name = d.names[0]
			} else if d.name == "smoke" || d.name == "heat" {
				continue
			}
			known[kindOf(d.begin(newDice(1, d.name), name))] = true
		}
	}
	for _, p := range presses {
		known[p.name] = true
	}
	fields := (&pb.Step{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := range fields.Len() {
		if name := string(fields.Get(i).Name()); !known[name] {
			t.Errorf("no week can have a step %s", name)
		}
	}
}

// The same seed gives the same weeks and the same log, watched or not; another seed gives others.
func TestWatchingChangesNothing(t *testing.T) {
	built := open(t, demo)
	plan := built.Plan()
	course := Draw(plan, built.Site, 3, weeks)
	if Write(course) != Write(Draw(plan, built.Site, 3, weeks)) || Write(course) == Write(Draw(plan, built.Site, 4, weeks)) {
		t.Error("the weeks are not those of their seed")
	}
	result, err := Run(plan, built.Site, course)
	if err != nil || result.Violation != nil {
		t.Fatal(err, result.Violation)
	}
	bare := drill.NewAt(plan, 3, begins(course))
	acts, err := resolve(plan, course)
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range acts {
		if err := bare.Do(a); err != nil {
			t.Fatal(err)
		}
	}
	if err := bare.RunUntil(acts[len(acts)-1].At + newWatch(newSite(plan, built.Site), bare, nil).settle()); err != nil {
		t.Fatal(err)
	}
	if bare.Digest() != result.Digest {
		t.Error("being watched shows in the log")
	}
}
