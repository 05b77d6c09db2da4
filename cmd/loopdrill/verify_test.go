package main

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// demoWithout is the demo without its first few actions: a verification with everything to
// report. It returns the path of the site file; the matrix stands beside it.
func demoWithout(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	for _, name := range []string{"site.yaml", "matrix.csv"} {
		data, err := os.ReadFile(filepath.Join("../../testdata/alder-quay", name))
		if err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(string(data), "    - {causes: [basement-fire], effects: [b1-sounders], state: evacuate}\n", "")
		text = strings.ReplaceAll(text, "    - {causes: [hall-fire], effects: [kitchen-trip], state: \"on\"}\n", "")
		if name == "matrix.csv" {
			text += "nobody,place('roof').fire,,evacuate" + strings.Repeat(",", 8) + "\n"
		} else if text == string(data) {
			t.Fatal("the demo has not the actions that the test takes out")
		}
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return filepath.Join(folder, "site.yaml")
}

// runWith runs a command line and returns its standard output and exit status.
func runWith(ctx context.Context, args ...string) (string, int) {
	var out bytes.Buffer
	std := stdio{In: strings.NewReader(""), Out: &out, Err: io.Discard, Getenv: func(string) string { return "" }}
	got := status(ctx, run(ctx, args, std), std.Err)
	return out.String(), got
}

// TestVerifyJUnit: the XML is well-formed, its counts are those of its cases, and the cases are
// the rows' cells and no others.
func TestVerifyJUnit(t *testing.T) {
	site := demoWithout(t)
	file := filepath.Join(t.TempDir(), "verify.xml")
	text, got := runWith(t.Context(), "verify", "--output", "json", "--junit", file, site)
	if got != statusFailed {
		t.Fatalf("exit status %d", got)
	}
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var suites struct {
		Suites []struct {
			Name     string `xml:"name,attr"`
			Tests    int    `xml:"tests,attr"`
			Failures int    `xml:"failures,attr"`
			Errors   int    `xml:"errors,attr"`
			Skipped  int    `xml:"skipped,attr"`
			Cases    []struct {
				Failure *struct{} `xml:"failure"`
				Error   *struct{} `xml:"error"`
				Skipped *struct{} `xml:"skipped"`
			} `xml:"testcase"`
		} `xml:"testsuite"`
	}
	if err := xml.Unmarshal(raw, &suites); err != nil {
		t.Fatal(err)
	}
	var report struct {
		Rows  []struct{ Cause, Errored string }
		Cells []struct{ Verdict string }
	}
	if err := json.Unmarshal([]byte(text), &report); err != nil {
		t.Fatal(err)
	}
	cases, failures, errors := 0, 0, 0
	for i, s := range suites.Suites {
		if i < len(report.Rows) && s.Name != report.Rows[i].Cause {
			t.Errorf("suite %d is %q, row %d %q", i, s.Name, i, report.Rows[i].Cause)
		}
		f, e, k := 0, 0, 0
		for _, c := range s.Cases {
			switch {
			case c.Failure != nil:
				f++
			case c.Error != nil:
				e++
			case c.Skipped != nil:
				k++
			}
		}
		if s.Tests != len(s.Cases) || s.Failures != f || s.Errors != e || s.Skipped != k {
			t.Errorf("suite %q counts %d, %d, %d, %d: its cases %d, %d, %d, %d", s.Name, s.Tests, s.Failures, s.Errors, s.Skipped, len(s.Cases), f, e, k)
		}
		if s.Name != "runs" {
			cases, failures, errors = cases+s.Tests, failures+s.Failures, errors+s.Errors
		}
	}
	rows, bad := 0, 0
	for _, r := range report.Rows {
		if r.Errored != "" {
			rows++ // an errored row is a case of its own
		}
	}
	for _, c := range report.Cells {
		switch c.Verdict {
		case "as-required", "covered", "not-judged", "errored":
		default:
			bad++
		}
	}
	if rows != 1 || cases != len(report.Cells)+rows {
		t.Errorf("%d cases, for %d cells and %d errored rows", cases, len(report.Cells), rows)
	}
	if failures != bad || bad == 0 || errors != 2 {
		t.Errorf("%d failures for %d cells that fail, %d errors", failures, bad, errors)
	}
}

// TestVerifyJSON: the keys of rule F8, and numbers as numbers to six digits at least.
func TestVerifyJSON(t *testing.T) {
	text, got := runWith(t.Context(), "verify", "--output", "json", demoWithout(t))
	if got != statusFailed {
		t.Fatalf("exit status %d", got)
	}
	var report struct {
		Passed bool
		Cells  []map[string]any
	}
	if err := json.Unmarshal([]byte(text), &report); err != nil {
		t.Fatal(err)
	}
	timed, failing := 0, 0
	for _, c := range report.Cells {
		for _, key := range []string{"cause", "column", "required", "verdict"} {
			if _, ok := c[key].(string); !ok {
				t.Fatalf("%q is no text: %v", key, c)
			}
		}
		if _, ok := c["ways"].(float64); !ok {
			t.Fatalf("`ways` is no number: %v", c)
		}
		if c["worst_s"] != nil {
			timed++
			worst, bound := c["worst_s"].(float64), c["bound_s"].(float64)
			if worst <= 0 || worst > bound {
				t.Errorf("%v x %v: worst %v, bound %v", c["cause"], c["column"], worst, bound)
			}
		}
		if d, ok := c["difference"].(map[string]any); ok {
			failing++
			if _, ok := d["run"].(string); !ok {
				t.Errorf("no way: %v", d)
			}
			if d["broken_link"] == "" && len(d["chain"].([]any)) == 0 {
				t.Errorf("%v x %v: neither chain nor broken link", c["cause"], c["column"])
			}
			for _, key := range []string{"t0_s", "t1_s"} {
				if _, ok := d[key].(float64); !ok {
					t.Errorf("%v x %v: %q is no number", c["cause"], c["column"], key)
				}
			}
		}
	}
	if report.Passed || timed == 0 || failing == 0 {
		t.Errorf("passed %v, %d cells timed, %d failing", report.Passed, timed, failing)
	}
}

// endsWhenWatched is a context that ends as soon as somebody waits for its end: here, when the
// first run is handed out.
type endsWhenWatched struct {
	context.Context
	once  sync.Once
	ended chan struct{}
}

func (c *endsWhenWatched) Done() <-chan struct{} {
	c.once.Do(func() { close(c.ended) })
	return c.ended
}

func (c *endsWhenWatched) Err() error {
	select {
	case <-c.ended:
		return context.Canceled
	default:
		return nil
	}
}

// TestVerifyInterrupted: exit status 130, and the partial result is there.
func TestVerifyInterrupted(t *testing.T) {
	ctx := &endsWhenWatched{Context: t.Context(), ended: make(chan struct{})}
	text, got := runWith(ctx, "verify", "../../testdata/alder-quay")
	if got != statusInterrupted {
		t.Errorf("exit status %d", got)
	}
	if !strings.Contains(text, "INTERRUPTED: what follows is part of the whole") || strings.Contains(text, "PASSED") {
		t.Errorf("the result: %.200q", text)
	}
}
