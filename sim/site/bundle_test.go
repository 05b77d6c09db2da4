package site

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A folder brings its matrix and its scenarios by name; a site.yaml by itself brings the same.
func TestOpen(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) {
		t.Helper()
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Open(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("an empty folder opened with %v", err)
	}
	if _, err := Open(filepath.Join(dir, "nowhere")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no folder at all opened with %v", err)
	}
	write("site.yaml", "site: x\n")
	bundle, err := Open(dir)
	if err != nil || bundle.Matrix != nil || bundle.Scenarios != nil {
		t.Fatalf("a site alone: %+v, %v", bundle, err)
	}
	write("matrix.csv", "cause,when\n")
	write("scenarios/b.scenario.yaml", "scenario: b\n")
	write("scenarios/a.scenario.yaml", "scenario: a\n")
	write("scenarios/notes.txt", "not a scenario\n")
	for _, path := range []string{dir, filepath.Join(dir, "site.yaml")} {
		bundle, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		if bundle.Matrix == nil || string(bundle.Matrix.Data) != "cause,when\n" {
			t.Errorf("%s: matrix is %v", path, bundle.Matrix)
		}
		if len(bundle.Scenarios) != 2 || filepath.Base(bundle.Scenarios[0].Path) != "a.scenario.yaml" {
			t.Errorf("%s: scenarios are %v", path, bundle.Scenarios)
		}
	}
	write("scenarios/c.scenaro.yaml", "scenario: c\n")
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "c.scenaro.yaml would not be played") {
		t.Errorf("a scenario under a misspelt name: %v", err)
	}
}

// What an editor would change in a story file.
func TestEncodingAndLimits(t *testing.T) {
	for _, c := range []struct{ name, text, code, where string }{
		{"not UTF-8", "site: x\ntitle: a\xffb\n", "file.encoding", "2:9"},
		{"UTF-16", "\xff\xfes\x00", "file.encoding", "1:1"},
		{"control character", "site: x\ntitle: a\x01b\n", "yaml.syntax", "2:9"},
		{"escape sequence", "site: \"\\x1b[31m\"\n", "value.text", "1:7"},
		{"direction override", "site: x\nrules: {packs: [nfpa72]}\ntitle: a\u202eb\n", "value.text", "3:8"},
		{"tab", "site: x\nrules:\n\tpacks: []\n", "yaml.syntax", "3:1"},
		{"deep flow", strings.Repeat("[", 20000), "yaml.syntax", "1:1"},
		{"too large", strings.Repeat("#", DefaultLimits().SiteBytes+1), "file.too-large", "1:1"},
		{"byte order mark", "\ufeffsite: A\n", "value.text", "1:7"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, findings := DefaultLimits().LoadSite(File{Path: "f", Data: []byte(c.text)})
			found := false
			for _, f := range findings {
				found = found || f.GetCode() == c.code && strings.HasPrefix(text(f, Plain), "f:"+c.where+": refused: ")
			}
			if !found {
				t.Errorf("no %s at %s in %v", c.code, c.where, findings)
			}
		})
	}
}

// A file with very many problems says how many it does not list.
func TestFindingsAreBounded(t *testing.T) {
	text := "site: x\nrules: {packs: [nfpa72]}\nzones:\n" + strings.Repeat("  - {zone: A}\n", 100)
	_, _, findings := Limits{Findings: 10}.LoadSite(File{Path: "f", Data: []byte(text)})
	if len(findings) != 11 || findings[10].GetTitle() != "91 more problems are not listed" {
		t.Errorf("%d findings, the last one: %v", len(findings), findings[len(findings)-1])
	}
}

// A bundle made of bytes is held to the same bounds as one from a folder.
func TestBuildBounds(t *testing.T) {
	text := "site: x\nrules: {packs: [nfpa72]}\nloops: [{loop: 1, wiring: branch, driver: {voltage_v: 28}, cable: {ohm_per_km: 12}}]\n"
	bundle := Bundle{Site: File{Path: "site.yaml", Data: []byte(text)}, Matrix: &File{Path: "matrix.csv", Data: []byte("cause,when,given\n")}}
	for _, name := range []string{"a", "b", "c"} {
		bundle.Scenarios = append(bundle.Scenarios, File{Path: name, Data: []byte("scenario: x\n")})
	}
	built, findings := Limits{Scenarios: 2, MatrixBytes: 10}.Build(bundle)
	if len(findings) != 2 || findings[0].GetCode() != "file.too-many" || findings[1].GetCode() != "file.too-large" {
		t.Errorf("findings: %v", findings)
	}
	if len(built.Scenarios) != 2 || built.Matrix != nil {
		t.Errorf("%d scenarios, matrix %v", len(built.Scenarios), built.Matrix)
	}
	if built, findings := Build(bundle); len(built.Scenarios) != 3 || built.Matrix == nil || built.Program == nil {
		t.Errorf("within bounds: %d scenarios, matrix %v, program %v, findings %v", len(built.Scenarios), built.Matrix, built.Program, findings)
	}
}
