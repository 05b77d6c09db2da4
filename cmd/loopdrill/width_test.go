package main

import (
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"loopdrill.dev/loopdrill/sim/page"
)

// Whatever is printed for people fits a terminal of 80 columns: every help, and every report on the invented
// sites, a difference and a failed verification among them. A line that begins with a place in a file is not broken, so that editors
// can follow it.
func TestTerminal(t *testing.T) {
	place := regexp.MustCompile(`^\S+:\d+:\d+: `)
	fits := func(args ...string) {
		t.Helper()
		out, got := runWith(t.Context(), args...)
		if out == "" || got == statusRefused {
			t.Errorf("loopdrill %s: exit status %d, %d bytes", strings.Join(args, " "), got, len(out))
		}
		for line := range strings.Lines(out) {
			if line = strings.TrimSuffix(line, "\n"); utf8.RuneCountInString(line) > page.Width && !place.MatchString(line) {
				t.Errorf("loopdrill %s: %d columns: %q", strings.Join(args, " "), utf8.RuneCountInString(line), line)
			}
		}
	}
	fits("--help")
	for _, c := range commands(stdio{}) {
		fits(c.Name(), "--help")
	}
	sites, _ := filepath.Glob("../../testdata/*/site.yaml")
	if len(sites) < 2 {
		t.Fatal("no sites")
	}
	for _, file := range sites {
		site := filepath.Dir(file)
		fits("check", "--effective", site)
		fits("verify", site)
		fits("play", "--coverage", site)
	}
	fits("why", "../../testdata/alder-quay", "--way", "G-CP-HALL", "--effect", "siren")
	fits("verify", demoWithout(t))
	fits("diff", "--retest", "../../testdata/wren-row/before", "../../testdata/wren-row/after")
}
