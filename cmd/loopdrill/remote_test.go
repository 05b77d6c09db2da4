package main

import (
	"bytes"
	"strings"
	"testing"
)

// TestPlayAtServer plays the demo here and at a server in another process: the same report, the
// same digests.
func TestPlayAtServer(t *testing.T) {
	p := startServe(t, "--metrics-listen", "")
	address := p.line(t, "grpc")
	defer func() {
		_ = p.cmd.Process.Kill()
		_ = p.cmd.Wait()
	}()
	play := func(args ...string) string {
		var out, errs bytes.Buffer
		std := stdio{In: strings.NewReader(""), Out: &out, Err: &errs, Getenv: func(string) string { return "" }}
		if err := run(t.Context(), append([]string{"play", "../../testdata/alder-quay", "--output", "json", "--coverage"}, args...), std); err != nil {
			t.Fatalf("play %v: %v\n%s", args, err, errs.String())
		}
		return out.String()
	}
	here, there := play(), play("--server", address)
	if here != there {
		t.Errorf("played here:\n%s\nplayed at the server:\n%s", here, there)
	}
	if !strings.Contains(here, `"sort": "equipment"`) {
		t.Error("no coverage is compared")
	}
	if n := strings.Count(here, `"digest"`); n < 8 {
		t.Errorf("%d digests compared, want those of at least 8 scenarios", n)
	}
}
