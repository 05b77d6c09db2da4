package logic

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/cockroachdb/datadriven"

	"loopdrill.dev/loopdrill/logic/panel"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestStories runs the story files. `compile` reads the panel and the program of a site over the
// bureau and prints findings; `play` starts that program afresh, does the acts of each line at
// the time it begins with (several on one line: in one instant, in order), and prints every
// change: time, number, what, and behind <- the numbers of the events that brought it about.
// `until TIME` lets time pass; `begins=DAY/TIME` says on which day and at what time of it the clock starts. Run with -rewrite to write what the program does.
func TestStories(t *testing.T) {
	datadriven.Walk(t, "testdata/stories", func(t *testing.T, path string) {
		text := ""
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			switch d.Cmd {
			case "compile":
				text = d.Input
				_, _, _, findings := compileText(t, text)
				return writeFindings(findings, d.HasArg("quiet"))
			case "play":
				return playStory(t, d, text)
			}
			d.Fatalf(t, "unknown command %q", d.Cmd)
			return ""
		})
	})
}

// playStory plays the lines of one story; with `only=KIND`, a word of the log, it prints only such lines.
func playStory(t *testing.T, d *datadriven.TestData, text string) string {
	b := newBench(t, text)
	var begins string
	if d.MaybeScanArgs(t, "begins", &begins); begins != "" {
		day, at, _ := strings.Cut(begins, "/")
		b.log, b.events, b.state = nil, 0, b.program.NewStateAt(panel.InWeek(day, clock(t, at)))
		b.evaluate()
	}
	for line := range strings.SplitSeq(strings.TrimSpace(d.Input), "\n") {
		if line == "" {
			continue
		}
		first, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		if first == "until" {
			b.runTo(clock(t, rest))
			continue
		}
		var acts []string
		for act := range strings.SplitSeq(rest, ",") {
			acts = append(acts, strings.TrimSpace(act))
		}
		b.step(clock(t, first), acts...)
	}
	var only string
	d.MaybeScanArgs(t, "only", &only)
	var out strings.Builder
	for _, line := range b.log {
		if only == "" || strings.Contains(line, " "+only+" ") {
			out.WriteString(line + "\n")
		}
	}
	return out.String()
}

func clock(t *testing.T, text string) time.Duration {
	t.Helper()
	at, err := time.ParseDuration(text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// writeFindings writes findings, one a line and its remedy on the next; quiet leaves out what
// says that something is without use.
func writeFindings(findings []*pb.Finding, quiet bool) string {
	var out strings.Builder
	for _, f := range findings {
		if quiet && strings.Contains(f.GetCode(), "-without-") {
			continue
		}
		out.WriteString(strings.ToLower(strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_")) + " " + f.GetCode() + " " + f.GetPath())
		if f.GetOffset() > 0 {
			out.WriteString(" +" + strconv.Itoa(int(f.GetOffset())))
		}
		out.WriteString("\n  " + f.GetTitle() + "\n  " + f.GetDetail() + "\n")
	}
	if out.Len() == 0 {
		return "ok\n"
	}
	return out.String()
}
