package matrix

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"loopdrill.dev/loopdrill/logic/term"
)

const second = time.Second

// cellsMatrix builds a matrix of cells over columns that stand for one output each.
func cellsMatrix(t interface{ Fatalf(string, ...any) }, rows [][]string) *Matrix {
	m := &Matrix{}
	for _, texts := range rows {
		row := Row{Number: len(m.Rows) + 2}
		for c, text := range texts {
			if c == len(m.Columns) {
				m.Columns = append(m.Columns, Column{Outputs: []int{c}})
				m.Outputs = append(m.Outputs, c)
			}
			if text == "" {
				continue
			}
			cell, _, flaws := parseCell(text)
			if len(flaws) > 0 {
				t.Fatalf("%s: %v", text, flaws)
			}
			cell.Column = c
			row.Cells = append(row.Cells, cell)
		}
		m.Rows = append(m.Rows, row)
	}
	return m
}

// from returns the truth of a row from an instant in seconds, to another if one is given.
func from(row int, times ...int) Truth {
	truth := Truth{Row: row}
	for i := 0; i < len(times); i += 2 {
		span := Span{time.Duration(times[i]) * second, Never}
		if i+1 < len(times) {
			span.To = time.Duration(times[i+1]) * second
		}
		truth.Spans = append(truth.Spans, span)
	}
	return truth
}

// courseText writes a course: instant, state, allowed bounds where wider, who began, within.
func courseText(c *Course) string {
	var parts []string
	if c.NotJudged {
		parts = append(parts, "not judged")
	}
	for i := range c.Transitions {
		tr := &c.Transitions[i]
		text := fmt.Sprintf("%s %s", durationWord(tr.At), tr.State)
		if tr.Allowed != (Span{tr.At, tr.At}) {
			text += fmt.Sprintf(" [%s,%s]", durationWord(tr.Allowed.From), durationWord(tr.Allowed.To))
		}
		for _, d := range tr.Begun {
			text += fmt.Sprintf(" r%d", c.Demands[d].Row)
		}
		if within, target := tr.Within(c); within > 0 {
			text += " within " + durationWord(within)
			if target {
				text += " or target"
			}
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ")
}

func TestCourses(t *testing.T) {
	for _, c := range []struct {
		name   string
		rows   [][]string
		truths []Truth
		want   string // courses of the outputs, joined by |
	}{
		{"nothing true", [][]string{{"on"}}, nil, ""},
		{"no span", [][]string{{"on"}}, []Truth{{Row: 0}}, ""},
		{"as long as the row", [][]string{{"on"}}, []Truth{from(0, 5, 9)}, "5s on r0; 9s off"},
		{"until reset", [][]string{{"on until reset"}}, []Truth{from(0, 5, 9)}, "5s on r0"},
		{"after counts from t1", [][]string{{"alert after 60s within 3s"}}, []Truth{from(0, 5)}, "1m5s alert r0 within 3s"},
		{"the row that fell wins at the very instant (E2)", [][]string{{"on after 4s"}}, []Truth{from(0, 5, 9)}, ""},
		{"one nanosecond would have been enough", [][]string{{"on after 3999999999ns"}}, []Truth{from(0, 5, 9)}, "8.999999999s on r0; 9s off"},
		{"a pulse outlasts its row (E3)", [][]string{{"on for 10s"}}, []Truth{from(0, 5, 9)}, "5s on r0; 15s off"},
		{"a pulse ignores a row that comes back while it runs, and starts again at its end (E3)", [][]string{{"on for 10s"}}, []Truth{from(0, 5, 6, 8, 9, 15, 16)}, "5s on r0; 25s off"},
		{"held beyond its row (E4)", [][]string{{"on hold 10s"}}, []Truth{from(0, 5, 9)}, "5s on r0; 19s off"},
		{"held until the row comes back", [][]string{{"on hold 10s"}}, []Truth{from(0, 5, 9, 12, 13)}, "5s on r0; 23s off"},
		{"held, but not until the delay has run out again", [][]string{{"on after 4s hold 2s"}}, []Truth{from(0, 0, 5, 6, 20)}, "4s on r0; 7s off; 10s on r0; 22s off"},
		{"a delay that did not run out holds nothing", [][]string{{"on after 4s hold 9s"}}, []Truth{from(0, 0, 4)}, ""},
		{"a hold with a tolerance ends no earlier than the row", [][]string{{"on hold 3s +-5s"}}, []Truth{from(0, 5, 9)}, "5s on r0; 12s off [9s,17s]"},
		{"a held stage ends when the next begins", [][]string{{"alert hold 60s then evacuate after 30s"}}, []Truth{from(0, 0, 31)}, "0 alert r0; 30s evacuate r0; 31s off"},
		{"stages", [][]string{{"alert then evacuate after 300s"}}, []Truth{from(0, 10)}, "10s alert r0; 5m10s evacuate r0"},
		{"a stage ends when the next begins", [][]string{{"evacuate then alert after 30s for 10s then off after 60s"}}, []Truth{from(0, 0, 100)},
			"0 evacuate r0; 30s alert r0; 40s off"},
		{"a stage that does not come does not end the one before", [][]string{{"alert until reset then evacuate after 30s"}}, []Truth{from(0, 0, 20)}, "0 alert r0"},
		{"a latched stage goes on when its row comes back", [][]string{{"alert until reset then evacuate after 30s"}}, []Truth{from(0, 0, 40, 50, 60)},
			"0 alert r0; 30s evacuate r0; 40s off; 50s alert r0"},
		{"the stronger row counts, the weaker shows again", [][]string{{"alert"}, {"evacuate for 20s"}}, []Truth{from(0, 0), from(1, 10)}, "0 alert r0; 10s evacuate r1; 30s alert"},
		{"off overrides", [][]string{{"evacuate"}, {"off for 5s"}}, []Truth{from(0, 0), from(1, 10)}, "0 evacuate r0; 10s off r1; 15s evacuate"},
		{"off alone is no change", [][]string{{"off"}}, []Truth{from(0, 3)}, ""},
		{"on under off never shows", [][]string{{"on after 5s"}, {"off"}}, []Truth{from(0, 0), from(1, 0)}, ""},
		{"two rows of one state: one change, both begin", [][]string{{"on within 9s"}, {"on within 4s"}, {"on"}}, []Truth{from(0, 2), from(1, 2), from(2, 3)},
			"2s on r0 r1 within 4s"},
		{"one of them leaves it to the target", [][]string{{"on within 9s"}, {"on"}}, []Truth{from(0, 2), from(1, 2)}, "2s on r0 r1 within 9s or target"},
		{"tolerance", [][]string{{"on after 60s +-5s for 10s"}}, []Truth{from(0, 1)}, "1m1s on [56s,1m6s] r0; 1m11s off [1m6s,1m16s]"},
		{"tolerance does not reach before the decision", [][]string{{"on after 3s +-5s"}}, []Truth{from(0, 1)}, "4s on [1s,9s] r0"},
		{"two tolerances: the first to begin counts", [][]string{{"on after 60s"}, {"on after 62s +-5s"}}, []Truth{from(0, 0), from(1, 0)}, "1m on [57s,1m] r0"},
		{"two pulses: the last to end counts", [][]string{{"on after 10s +-3s for 5s"}, {"on for 15s"}}, []Truth{from(0, 0), from(1, 0)}, "0 on r1; 15s off [15s,18s]"},
		{"a stage that ends within the next one's tolerance", [][]string{{"evacuate then alert after 30s +-2s"}}, []Truth{from(0, 0)}, "0 evacuate r0; 30s alert [28s,32s] r0"},
		{"any", [][]string{{"any"}, {"on"}}, []Truth{from(0, 3), from(1, 2)}, "not judged; 2s on r1"},
		{"any of a row that is not true", [][]string{{"any"}, {"on"}}, []Truth{from(1, 2)}, "2s on r1"},
		{"first of: the first true row alone (J15)", [][]string{{"on until reset first of lift", ""}, {"", "on until reset first of lift"}},
			[]Truth{from(0, 7), from(1, 5)}, "|5s on r1"},
		{"first of: at one instant the upper row", [][]string{{"on first of lift", ""}, {"", "on first of lift"}}, []Truth{from(1, 5), from(0, 5)}, "5s on r0|"},
		{"first of: held though the first row fell", [][]string{{"on first of lift", ""}, {"", "on first of lift"}}, []Truth{from(0, 5, 6), from(1, 7)}, "5s on r0; 6s off|"},
		{"first of: all cells of the first row", [][]string{{"on first of lift", "on first of lift"}, {"on first of lift", ""}}, []Truth{from(0, 5), from(1, 6)}, "5s on r0|5s on r0"},
		{"first of: the true row counts, not the delay", [][]string{{"on after 60s first of lift", ""}, {"", "on first of lift"}}, []Truth{from(0, 5), from(1, 6)}, "1m5s on r0|"},
	} {
		t.Run(c.name, func(t *testing.T) {
			courses := cellsMatrix(t, c.rows).Courses(c.truths)
			texts := make([]string, len(courses))
			for i := range courses {
				texts[i] = courseText(&courses[i])
			}
			if diff := cmp.Diff(c.want, strings.Join(texts, "|")); diff != "" {
				t.Errorf("course (-want +got):\n%s", diff)
			}
		})
	}
}

func TestSilenced(t *testing.T) {
	for _, c := range []struct {
		name  string
		cells []string // one row each, all true from 0
		want  term.State
	}{
		{"all silenceable", []string{"alert silenceable", "evacuate silenceable"}, term.Rest},
		{"of equal demands one holds (J4)", []string{"evacuate silenceable", "evacuate"}, term.Evacuate},
		{"the stronger is not silenceable", []string{"alert silenceable", "evacuate"}, term.Evacuate},
		{"the weaker is not silenceable", []string{"alert", "evacuate silenceable"}, term.Alert},
		{"off stays off", []string{"on", "off"}, term.Rest},
		{"not due yet", []string{"alert silenceable", "evacuate after 20s"}, term.Rest},
	} {
		t.Run(c.name, func(t *testing.T) {
			var rows [][]string
			var truths []Truth
			for i, cell := range c.cells {
				rows = append(rows, []string{cell})
				truths = append(truths, from(i, 0))
			}
			course := cellsMatrix(t, rows).Courses(truths)[0]
			if got := course.Silenced(10 * second); got != c.want {
				t.Errorf("silenced: %v, want %v", got, c.want)
			}
		})
	}
}

func TestLeads(t *testing.T) {
	m := cellsMatrix(t, [][]string{{"alert"}, {"evacuate"}, {"evacuate after 30s"}, {"off after 60s"}, {"alert after 61s"}})
	truths := []Truth{from(0, 0), from(1, 0), from(2, 0), from(3, 0), from(4, 0)}
	course := m.Courses(truths)[0]
	var got []bool
	for row := range m.Rows {
		got = append(got, course.Leads(row, 0))
	}
	if diff := cmp.Diff([]bool{false, true, true, true, false}, got); diff != "" {
		t.Errorf("cells that lead (-want +got):\n%s", diff)
	}
}

// ticker is one stage run second by second: the naive twin of Cell.demands.
type ticker struct {
	active bool
	pulse  time.Duration // end of the pulse that runs or ran
	risen  bool          // the row has been true for the delay, and is
	off    time.Duration // when the stage ends after its row did
}

// tick lets one second of a cell pass: what ends, then what begins.
func tick(cell *Cell, tickers []ticker, spans []Span, now time.Duration) (strongest term.State) {
	risen, isTrue := time.Duration(0), false
	for _, s := range spans {
		if now >= s.From && now < s.To {
			risen, isTrue = s.From, true
		}
	}
	for i := range cell.Stages {
		stage, k := &cell.Stages[i], &tickers[i]
		if k.risen && !isTrue {
			k.risen, k.off = false, now+stage.Hold
		}
		if stage.For > 0 && now >= k.pulse || stage.For == 0 && !stage.UntilReset && !k.risen && now >= k.off {
			k.active = false
		}
	}
	for i := range cell.Stages {
		stage, k := &cell.Stages[i], &tickers[i]
		if !isTrue || now-risen != stage.After || stage.For > 0 && now < k.pulse {
			continue
		}
		k.risen = true
		k.active, k.pulse = true, now+stage.For
		for j := range i {
			tickers[j].active = false
		}
	}
	for i := range cell.Stages {
		if tickers[i].active {
			strongest = max(strongest, cell.Stages[i].State)
		}
	}
	return strongest
}

func drawCell(t *rapid.T) string {
	after := rapid.IntRange(0, 4).Draw(t, "after")
	var stages []string
	for range rapid.IntRange(1, 3).Draw(t, "stages") {
		stage := rapid.SampledFrom([]string{"on", "alert", "evacuate", "off"}).Draw(t, "state") + fmt.Sprintf(" after %ds", after)
		switch rapid.IntRange(0, 4).Draw(t, "end") {
		case 0:
			stage += fmt.Sprintf(" for %ds", rapid.IntRange(1, 9).Draw(t, "for"))
		case 1:
			stage += " until reset"
		case 2:
			stage += fmt.Sprintf(" hold %ds", rapid.IntRange(1, 9).Draw(t, "hold"))
		}
		stages = append(stages, stage)
		after += rapid.IntRange(1, 6).Draw(t, "gap")
	}
	return strings.Join(stages, " then ")
}

// Courses against a twin that looks at every cell in every second.
func TestCoursesAgainstTicking(t *testing.T) {
	const horizon = 40
	changes := 0
	rapid.Check(t, func(t *rapid.T) {
		var rows [][]string
		var truths []Truth
		for r := range rapid.IntRange(1, 4).Draw(t, "rows") {
			rows = append(rows, []string{drawCell(t)})
			truth := Truth{Row: r}
			for at := rapid.IntRange(0, 9).Draw(t, "rise"); at < horizon; at += rapid.IntRange(1, 9).Draw(t, "rest") {
				span := Span{time.Duration(at) * second, Never}
				if at += rapid.IntRange(1, 15).Draw(t, "true"); at < horizon {
					span.To = time.Duration(at) * second
				}
				truth.Spans = append(truth.Spans, span)
			}
			truths = append(truths, truth)
		}
		m := cellsMatrix(t, rows)
		course := m.Courses(truths)[0]
		tickers := make([][]ticker, len(rows))
		for r := range rows {
			tickers[r] = make([]ticker, len(m.Rows[r].Cells[0].Stages))
		}
		before, next := term.Rest, 0
		for now := time.Duration(0); now < horizon*second; now += second {
			want := term.Rest
			for r := range rows {
				want = max(want, tick(&m.Rows[r].Cells[0], tickers[r], truths[r].Spans, now))
			}
			want = want.Physical()
			if got, _ := course.At(now); got != want {
				t.Fatalf("at %v: course %v, ticking %v", now, got, want)
			}
			if want != before {
				changes++
				if next == len(course.Transitions) || course.Transitions[next].At != now || course.Transitions[next].State != want || course.Transitions[next].From != before {
					t.Fatalf("at %v: ticking goes from %v to %v; transitions: %s", now, before, want, courseText(&course))
				}
				next++
			}
			before = want
		}
		if next < len(course.Transitions) && course.Transitions[next].At < horizon*second {
			t.Fatalf("a transition that ticking does not show: %s", courseText(&course))
		}
	})
	if changes == 0 {
		t.Fatal("no course drawn ever changed: the comparison compared nothing")
	}
}
