package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/sim"
)

// Whoever reads a page of this program, whatever page it is, reads what a simulation does not replace:
// the front page, the help of every command, and every report in every form, that of refused files too.
func TestCautionEverywhere(t *testing.T) {
	page, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	says := func(name, text string) {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), sim.Caution) {
			t.Errorf("%s does not carry the caution:\n%s", name, text)
		}
	}
	says("README.md", string(page))
	for _, c := range commands(stdio{}) {
		text, _ := runBoth(t, c.Name(), "--help")
		says(c.Name()+" --help", text)
	}
	text, _ := runBoth(t, "--help")
	says("--help", text)
	for _, folder := range []string{"good", "other"} {
		text, _ = runBoth(t, "new", folder)
		says("new "+folder, text)
	}
	if err := os.Mkdir("bad", 0o755); err != nil { //nolint:gosec // a folder of the test's own
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join("bad", "site.yaml"), []byte("site: bad\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, command := range []string{
		"check good", "check bad", "check good --effective", "verify good --junit v.xml", "matrix good",
		"diff good other", "diff good other --retest", "why good --way HALL-SD-1 --effect sounders", "play good --junit p.xml", "play good --coverage",
	} {
		for _, form := range []string{"text", "json"} {
			line := command + " --output " + form
			text, got := runBoth(t, strings.Fields(line)...)
			if got != statusGood && !strings.Contains(command, "bad") {
				t.Errorf("%s: exit status %d", line, got)
			}
			says(line, text)
		}
	}
	for _, file := range []string{"v.xml", "p.xml"} {
		raw, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		says(file, string(raw))
	}
}

// runBoth runs a command line and returns all that it writes, and its exit status.
func runBoth(t *testing.T, args ...string) (string, int) {
	t.Helper()
	var out bytes.Buffer
	std := stdio{In: strings.NewReader(""), Out: &out, Err: &out, Getenv: func(string) string { return "" }}
	got := status(t.Context(), run(t.Context(), args, std), std.Err)
	return out.String(), got
}
