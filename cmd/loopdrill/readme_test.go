package main

import (
	"bytes"
	"errors"
	"os"
	"regexp"
	"strings"
	"testing"
)

// TestReadme runs every command that README.md shows with its output, and compares. With
// UPDATE_SCRIPTS=1 it writes the output into the page instead.
func TestReadme(t *testing.T) {
	t.Chdir("../..")
	page, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	block := regexp.MustCompile("(?s)```console\n\\$ loopdrill ([^\n]*)\n(.*?)```\n")
	found := block.FindAllSubmatch(page, -1)
	if len(found) < 2 {
		t.Fatalf("README.md shows %d commands with their output, want at least 2", len(found))
	}
	fresh := block.ReplaceAllFunc(page, func(match []byte) []byte {
		parts := block.FindSubmatch(match)
		var out, errs bytes.Buffer
		std := stdio{In: strings.NewReader(""), Out: &out, Err: &errs, Getenv: func(string) string { return "" }}
		err := run(t.Context(), strings.Fields(string(parts[1])), std)
		if differs := strings.HasPrefix(string(parts[1]), "diff "); differs && !errors.Is(err, errFailed) || !differs && err != nil {
			t.Errorf("loopdrill %s: %v\n%s", parts[1], err, errs.String())
		}
		return []byte("```console\n$ loopdrill " + string(parts[1]) + "\n" + out.String() + "```\n")
	})
	if bytes.Equal(fresh, page) {
		return
	}
	if os.Getenv("UPDATE_SCRIPTS") == "" {
		t.Fatal("README.md shows other output than the commands give: run UPDATE_SCRIPTS=1 go test ./cmd/loopdrill -run Readme and read the difference")
	}
	if err := os.WriteFile("README.md", fresh, 0o644); err != nil { //nolint:gosec // a page for everybody to read
		t.Fatal(err)
	}
}
