package script

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/page"
)

// WriteText writes a report for people: a line for each scenario, what did not pass in full, the
// counts and the caution.
func WriteText(w io.Writer, r *pb.PlayReport) error {
	t := &text{}
	for _, s := range r.GetScenarios() {
		t.scenario(s)
	}
	t.Line("")
	t.counts("scenario", r.GetScenarioCounts())
	t.counts("expectation", r.GetExpectationCounts())
	if r.GetInterrupted() {
		t.Line("INTERRUPTED: this is part of the whole")
	}
	if r.GetCoverage() != nil {
		t.coverage(r.GetCoverage())
	}
	t.Line("")
	t.Hang("", r.GetCaution())
	if _, err := io.WriteString(w, t.String()); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	return nil
}

// text collects lines.
type text struct{ page.Page }

func (t *text) counts(noun string, c *pb.OutcomeCounts) {
	all := c.GetPassed() + c.GetFailed() + c.GetErrored()
	if all != 1 {
		noun += "s"
	}
	t.Line("%d %s: %d passed, %d failed, %d errored", all, noun, c.GetPassed(), c.GetFailed(), c.GetErrored())
}

// scenario writes its line, and below it whatever did not pass.
func (t *text) scenario(s *pb.ScenarioReport) {
	outcome := s.GetOutcome()
	if outcome != Passed {
		outcome = strings.ToUpper(outcome)
	}
	c := s.GetCounts()
	t.Line("%-7s  %s  %3d of %-3d  %.12s", outcome, pad(stem(s.GetFile()), 45), c.GetPassed(), len(s.GetExpectations()), s.GetDigest())
	if outcome == Passed {
		return
	}
	t.Hang("  ", s.GetScenario())
	if s.GetReason() != "" {
		t.field("reason", s.GetReason())
	}
	for _, e := range s.GetExpectations() {
		if e.GetOutcome() != Passed {
			t.expectation(e)
		}
	}
	for _, o := range s.GetOthers() {
		t.Line("  %s operates, and no expectation names it", o.GetOutput())
		t.field("expected", "at rest: the scenario says `others: none`")
		t.field("got", fmt.Sprintf("%s at %s", o.GetState(), seconds(o.GetAtS())))
		t.chain(o.GetChain())
	}
	t.field("seed", fmt.Sprint(s.GetSeed()))
	if s.GetReplay() != "" {
		t.Line("    %-8s  %s", "again", s.GetReplay()) // a command is not broken
	}
}

func (t *text) expectation(e *pb.ExpectationReport) {
	p := e.GetPosition()
	t.Line("  %s:%d:%d: %s at %s", p.GetFile(), p.GetLine(), p.GetColumn(), e.GetOutcome(), seconds(e.GetAtS()))
	t.Hang("    ", e.GetText())
	if e.GetNote() != "" {
		t.field("note", e.GetNote())
	}
	t.field("expected", e.GetExpected())
	t.field("got", e.GetGot())
	t.chain(e.GetChain())
}

func (t *text) chain(links []*pb.ChainLink) {
	for i, link := range links {
		name := "chain"
		if i > 0 {
			name = ""
		}
		t.Hang(fmt.Sprintf("    %-8s  %14s  ", name, seconds(link.GetAtS())), link.GetWhat())
	}
}

func (t *text) field(name, value string) { t.Hang(fmt.Sprintf("    %-8s  ", name), value) }

// seconds writes a time of a report, which is whole nanoseconds: exact up to a hundred days.
func seconds(s float64) string { return drill.Seconds(time.Duration(math.Round(s * 1e9))) }

// stem is the name of a scenario file without its folder and its ending.
func stem(file string) string {
	return strings.TrimSuffix(file[strings.LastIndexByte(file, '/')+1:], ".scenario.yaml")
}

// pad fills up to n characters.
func pad(s string, n int) string { return s + strings.Repeat(" ", max(0, n-utf8.RuneCountInString(s))) }
