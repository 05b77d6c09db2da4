package matrix

import (
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"loopdrill.dev/loopdrill/logic/term"
)

func TestParseDuration(t *testing.T) {
	for _, c := range []struct {
		text string
		want time.Duration
		bad  string
	}{
		{"0", 0, ""},
		{"1m30s", 90 * time.Second, ""},
		{"0.5s", 500 * time.Millisecond, ""},
		{"250ms", 250 * time.Millisecond, ""},
		{"0.250s", 250 * time.Millisecond, ""},
		{"1.5h", 90 * time.Minute, ""},
		{"10us", 10 * time.Microsecond, ""},
		{"10µs", 10 * time.Microsecond, ""},
		{"1ns", 1, ""},
		{"0.000000001s", 1, ""},
		{"24h", 24 * time.Hour, ""},
		{"23h60m", 24 * time.Hour, ""},
		{"1.000000000000000000s", time.Second, ""},
		{"", 0, `"" is not a duration`},
		{"s", 0, `"s" is not a duration`},
		{"-5s", 0, `"-5s" is not a duration`},
		{"+5s", 0, `"+5s" is not a duration`},
		{".5s", 0, `".5s" is not a duration`},
		{"5.s", 0, `"5.s" is not a duration`},
		{"1e3s", 0, `"1e3s" lacks a unit`},
		{"5", 0, `"5" lacks a unit`},
		{"0.0", 0, `"0.0" lacks a unit`},
		{"1m5", 0, `"1m5" lacks a unit`},
		{"5 s", 0, `"5 s" lacks a unit`},
		{"5sec", 0, `"5sec" is not a duration`},
		{"5S", 0, `"5S" lacks a unit`},
		{"0.5ns", 0, `"0.5ns" is finer than a nanosecond`},
		{"24h1ns", 0, `"24h1ns" is longer than 24 h`},
		{"99999999999999999999h", 0, `"99999999999999999999h" is longer than 24 h`},
	} {
		got, err := parseDuration(c.text)
		if got != c.want || (err == nil) != (c.bad == "") || err != nil && err.Error() != c.bad {
			t.Errorf("%q: %v, %v; want %v, %q", c.text, got, err, c.want, c.bad)
		}
		if err == nil {
			if again, err := parseDuration(durationWord(got)); err != nil || again != got {
				t.Errorf("%q is written as %q and read back as %v, %v", c.text, durationWord(got), again, err)
			}
		}
	}
}

func TestParseCell(t *testing.T) {
	for _, c := range []struct {
		text string
		want Cell
	}{
		{"any", Cell{Any: true}},
		{"on", Cell{Stages: []Stage{{State: term.On}}}},
		{"off", Cell{Stages: []Stage{{State: term.Off}}}},
		{"alert then evacuate after 300s", Cell{Stages: []Stage{{State: term.Alert}, {State: term.Evacuate, After: 300 * second}}}},
		{"within 5s on", Cell{}}, // the state comes first
		{"on until reset first of lift-a within 8s silenceable after 1s", Cell{FirstOf: "lift-a",
			Stages: []Stage{{State: term.On, After: second, Within: 8 * second, Silenceable: true, UntilReset: true}}}},
		{"on after 10s+-250ms for 3s", Cell{Stages: []Stage{{State: term.On, After: 10 * second, Tolerance: second / 4, For: 3 * second}}}},
		{"on after 10s ± 1s", Cell{Stages: []Stage{{State: term.On, After: 10 * second, Tolerance: second}}}},
		{"on hold 30s", Cell{Stages: []Stage{{State: term.On, Hold: 30 * second}}}},
		{"on hold 30s +-1s after 2s within 5s", Cell{Stages: []Stage{{State: term.On, After: 2 * second, Hold: 30 * second, HoldTolerance: second, Within: 5 * second}}}},
		{"on hold", Cell{}},
		{"on hold 0s", Cell{}},
		{"on hold 30s for 5s", Cell{}},
		{"on hold 30s until reset", Cell{}},
		{"on\nafter\t10s +- 1s", Cell{Stages: []Stage{{State: term.On, After: 10 * second, Tolerance: second}}}},
		{"alert first of a then evacuate after 2s", Cell{FirstOf: "a", Stages: []Stage{{State: term.Alert}, {State: term.Evacuate, After: 2 * second}}}},
	} {
		cell, _, flaws := parseCell(c.text)
		if good := c.want.Any || len(c.want.Stages) > 0; good != (len(flaws) == 0) {
			t.Errorf("%q: flaws %v", c.text, flaws)
			continue
		} else if !good {
			continue
		}
		if diff := cmp.Diff(c.want, cell); diff != "" {
			t.Errorf("%q (-want +got):\n%s", c.text, diff)
		}
	}
}

// checkRoundTrip demands that a cell without flaws, written in canonical order, means the same.
func checkRoundTrip(t *testing.T, cell Cell) {
	again, _, flaws := parseCell(cell.String())
	if len(flaws) > 0 {
		t.Fatalf("written as %q, which has flaws: %v", cell.String(), flaws)
	}
	if diff := cmp.Diff(cell, again, cmpopts.IgnoreFields(Cell{}, "Column", "Place")); diff != "" {
		t.Fatalf("written as %q, which means something else:\n%s", cell.String(), diff)
	}
}

func FuzzCell(f *testing.F) {
	for _, text := range []string{"any", "on", "alert then evacuate after 300s", "on after 10s +-5s for 3s within 8s silenceable first of lift-a", "on after 1s hold 30s ± 1s",
		"off until reset", "then", "on then", "first of", "±", "on after +-", "evacuate after 1h1ns ± 1us"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if trimField(text, 0).text == "" {
			t.Skip("a blank cell is never parsed")
		}
		cell, offsets, flaws := parseCell(text)
		for _, flaw := range flaws {
			if flaw.offset < 0 || flaw.offset >= len([]rune(text)) {
				t.Fatalf("flaw at %d of %d characters: %v", flaw.offset, len([]rune(text)), flaw)
			}
			if flaw.code == "" || flaw.title == "" || flaw.detail == "" {
				t.Fatalf("a flaw without code, title or remedy: %+v", flaw)
			}
		}
		if len(offsets) != len(cell.Stages) {
			t.Fatalf("%d stages, %d offsets", len(cell.Stages), len(offsets))
		}
		if len(flaws) == 0 {
			checkRoundTrip(t, cell)
		}
	})
}

// The page for users says how a cell is written, in the words of the message.
func TestReadmeHasTheGrammar(t *testing.T) {
	page, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(page), grammar) {
		t.Errorf("README.md does not say: %s", grammar)
	}
}
