package verify

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/cockroachdb/datadriven"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// TestStories runs testdata/stories over the installation of testdata/bench.yaml. The expected
// text is the behaviour; `go test -rewrite` writes it anew. Commands:
//
//	program            keeps the input: what stands in the site file beside the installation
//	verify [chain] [times]   verifies that site against the input, a matrix: the verdict on every
//	                   cell and what differs; with `chain` the events, with `times` the responses
//	report             the same as the command line prints it
func TestStories(t *testing.T) {
	bench := readText(t, "testdata/bench.yaml")
	datadriven.Walk(t, "testdata/stories", func(t *testing.T, path string) {
		program := ""
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			switch d.Cmd {
			case "program":
				program = d.Input + "\n"
				return "kept\n"
			case "verify", "report":
				return story(t, d, bench+program)
			}
			d.Fatalf(t, "there is no command %q", d.Cmd)
			return ""
		})
	})
}

func story(t *testing.T, d *datadriven.TestData, siteText string) string {
	built, found := site.Build(bundleOf(siteText, d.Input+"\n"))
	var out bytes.Buffer
	for _, f := range found {
		if f.GetPosition().GetFile() == "matrix.csv" || f.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
			fmt.Fprintf(&out, "%s: %s\n", f.GetCode(), f.GetTitle())
		}
	}
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		return out.String()
	}
	v := newVerifier(t, built.Plan(), built.Matrix)
	report, records := verified(t, v)
	for _, r := range records {
		for _, timing := range r.Timings {
			if timing.Observed > timing.Bound {
				t.Errorf("%s: %s took %v, above the computed worst case of %v", r.Text, v.plan.In.Outputs[timing.Output].Label, timing.Observed, timing.Bound)
			}
		}
	}
	checkTimes(t, report)
	if d.Cmd == "report" {
		if err := WriteText(&out, report); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	s := storyWriter{Buffer: &out, chain: d.HasArg("chain"), times: d.HasArg("times")}
	s.report(report)
	return out.String()
}

// checkTimes demands that the times of every difference rise from t0 on, but for t2 of what is early.
func checkTimes(t *testing.T, r *pb.VerifyReport) {
	var all []*pb.RunDifference
	for _, c := range r.GetCells() {
		if c.GetDifference() != nil {
			all = append(all, c.GetDifference())
		}
	}
	for _, d := range append(all, r.GetDifferences()...) {
		var last float64
		for i, at := range []*float64{d.T0S, d.T1S, d.T2S, d.T3S, d.T4S, d.T5S} { //nolint:protogetter // presence is asked for
			if at == nil {
				continue
			}
			if *at < last && (i != 2 || d.GetVerdict() != early.String()) {
				t.Errorf("%s of %s: %s: t%d is %v s, after %v s", d.GetOutput(), d.GetRun(), d.GetVerdict(), i, *at, last)
			}
			last = *at
		}
	}
}

// storyWriter writes what a report says, without what a story is not about.
type storyWriter struct {
	*bytes.Buffer
	chain, times bool
}

func (s *storyWriter) report(r *pb.VerifyReport) {
	word := "failed"
	if r.GetPassed() {
		word = "passed"
	}
	fmt.Fprintf(s.Buffer, "%s: %d ways, %d runs\n", word, r.GetCounts().GetWays(), r.GetCounts().GetRuns())
	for _, row := range r.GetRows() {
		if row.GetErrored() != "" {
			fmt.Fprintf(s.Buffer, "%s: %s\n", row.GetCause(), row.GetErrored())
		}
	}
	for _, c := range r.GetCells() {
		fmt.Fprintf(s.Buffer, "%s x %s: %s", c.GetCause(), c.GetColumn(), c.GetVerdict())
		if s.times && c.WorstS != nil {
			fmt.Fprintf(s.Buffer, " in %.6f s, computed %.6f s, allowed %.6f s", c.GetWorstS(), c.GetBoundS(), c.GetWithinS())
		}
		fmt.Fprintln(s.Buffer)
		s.difference(c.GetDifference())
	}
	for _, d := range r.GetDifferences() {
		fmt.Fprintf(s.Buffer, "run, %s %s: %s\n", d.GetCause(), d.GetOutput(), d.GetVerdict())
		s.difference(d)
	}
}

func (s *storyWriter) difference(d *pb.RunDifference) {
	if d == nil {
		return
	}
	fmt.Fprintf(s.Buffer, "  %s, %s stage of %s\n", d.GetOutput(), d.GetStage(), d.GetRun())
	fmt.Fprintf(s.Buffer, "  required %s\n  observed %s\n", d.GetRequired(), d.GetObserved())
	if s.times {
		var words []string
		for i, at := range []*float64{d.T0S, d.T1S, d.T2S, d.T3S, d.T4S, d.T5S} { //nolint:protogetter // presence is asked for
			if at != nil {
				words = append(words, fmt.Sprintf("t%d %.9f", i, *at))
			}
		}
		fmt.Fprintln(s.Buffer, " ", strings.Join(words, " "))
	}
	if d.GetBrokenLink() != "" {
		fmt.Fprintf(s.Buffer, "  broken at: %s\n", d.GetBrokenLink())
	}
	if s.chain {
		for _, link := range d.GetChain() {
			fmt.Fprintf(s.Buffer, "  %.9f %s\n", link.GetAtS(), link.GetWhat())
		}
	}
}

// TestEveryVerdictHasAStory: each word of a verdict is told by some story, but for the run that
// ends early, which no honest site makes.
func TestEveryVerdictHasAStory(t *testing.T) {
	stories, err := filepath.Glob("testdata/stories/*.txt")
	if err != nil || len(stories) == 0 {
		t.Fatal("there are no stories", err)
	}
	var all strings.Builder
	for _, path := range stories {
		all.WriteString(readText(t, path))
	}
	for v, word := range verdictWords {
		if verdict(v) != crashed && !strings.Contains(all.String(), ": "+word+"\n") {
			t.Errorf("no story tells of %q", word)
		}
	}
}
