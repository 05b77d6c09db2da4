package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A command that simulates prints findings to standard error, and stops at a refusal.
func TestLoad(t *testing.T) {
	var out, remarks bytes.Buffer
	io := stdio{Out: &out, Err: &remarks, Getenv: func(string) string { return "" }}
	built, _, err := loadWith(io, "../../testdata/alder-quay", "")
	if err != nil || built.Site.GetSite() != "alder-quay" || built.Matrix == nil {
		t.Errorf("the demo: %v\n%s", err, remarks.String())
	}
	path := filepath.Join(t.TempDir(), "site.yaml")
	if err := os.WriteFile(path, []byte("site: x\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	remarks.Reset()
	if _, _, err := loadWith(io, path, ""); !errors.Is(err, errRefused) {
		t.Errorf("a site without rules: %v", err)
	}
	if out.Len() > 0 || !strings.Contains(remarks.String(), "rules is missing") {
		t.Errorf("stdout %q, stderr %q", out.String(), remarks.String())
	}
}

// Severities and statuses, as the table of exit statuses in the root command's help has them.
func TestVerdictAndStatus(t *testing.T) {
	note := &pb.Finding{Severity: pb.Severity_SEVERITY_NOTE}
	warning, failure, refusal := finding.Warn("a", "", "", ""), finding.Error("a", "", "", ""), finding.Refuse("a", "", "", "")
	for _, c := range []struct {
		name     string
		findings []*pb.Finding
		strict   bool
		want     int
	}{
		{"nothing", nil, true, 0},
		{"note", []*pb.Finding{note}, true, 0},
		{"warning", []*pb.Finding{note, warning}, false, 0},
		{"warning, strict", []*pb.Finding{warning}, true, 1},
		{"error", []*pb.Finding{warning, failure}, false, 1},
		{"refused", []*pb.Finding{failure, refusal, warning}, false, 2},
	} {
		r := reporting{strict: c.strict}
		if got := status(t.Context(), r.verdict(c.findings), new(bytes.Buffer)); got != c.want {
			t.Errorf("%s: exit status %d, want %d", c.name, got, c.want)
		}
	}
	interrupted, cancel := context.WithCancel(t.Context())
	cancel()
	var remarks bytes.Buffer
	if got := status(interrupted, interrupted.Err(), &remarks); got != 130 || !strings.Contains(remarks.String(), "interrupted") {
		t.Errorf("interrupted: exit status %d, %q", got, remarks.String())
	}
}

// With JSON asked for, files that are refused give one JSON text too, with the places, whatever was to be done.
func TestRefusedAsJSON(t *testing.T) {
	folder := t.TempDir()
	if err := os.CopyFS(folder, os.DirFS("../../testdata/alder-quay")); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(folder, "site.yaml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	bad := strings.Replace(string(text), "return_cable_m", "return_cabel_m", 1)
	line := 1 + strings.Count(bad[:strings.Index(bad, "return_cabel_m")], "\n")
	if err := os.WriteFile(file, []byte(bad), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"check", folder}, {"verify", folder}, {"why", folder, "--way", "G-SD-LIFT", "--effect", "siren"},
		{"matrix", folder}, {"diff", folder, folder}, {"play", folder},
	} {
		out, got := runWith(t.Context(), append(args, "--output", "json")...)
		var result struct {
			Findings []findingJSON `json:"findings"`
			Counts   countsJSON    `json:"counts"`
		}
		if err := json.Unmarshal([]byte(out), &result); err != nil || got != statusRefused {
			t.Errorf("%s: exit status %d, %v: %q", args[0], got, err, out)
			continue
		}
		if f := result.Findings; result.Counts.Refused == 0 || f[0].File != file || f[0].Line != int32(line) || f[0].Column == 0 { //nolint:gosec // lines of a file
			t.Errorf("%s: %+v", args[0], f)
		}
		if out, _ := runWith(t.Context(), args...); args[0] != "check" && out != "" {
			t.Errorf("%s: without a result standard output holds %q", args[0], out)
		}
	}
}
