package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every invented site under testdata does what its matrix asks for and what its scenarios expect,
// and nothing in it is a finding of severity error. The sources of what they expect stand in the
// scenarios themselves.
func TestSites(t *testing.T) {
	sites, err := filepath.Glob("../../testdata/*/site.yaml")
	if err != nil || len(sites) < 2 {
		t.Fatalf("sites under testdata: %d, %v", len(sites), err)
	}
	for _, file := range sites {
		site := filepath.Dir(file)
		t.Run(filepath.Base(site), func(t *testing.T) {
			commands := [][]string{{"check", site}, {"verify", site}}
			if scenarios, _ := filepath.Glob(filepath.Join(site, "scenarios", "*.scenario.yaml")); len(scenarios) == 0 {
				t.Errorf("%s has no scenarios", site)
			}
			commands = append(commands, []string{"play", site})
			for _, args := range commands {
				var out bytes.Buffer
				std := stdio{In: strings.NewReader(""), Out: &out, Err: io.Discard, Getenv: os.Getenv}
				if err := run(t.Context(), args, std); err != nil {
					t.Errorf("loopdrill %s: %v\n%s", strings.Join(args, " "), err, out.String())
				}
			}
		})
	}
}
