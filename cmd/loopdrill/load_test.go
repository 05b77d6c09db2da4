package main

import (
	"bytes"
	"context"
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
