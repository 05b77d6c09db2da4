package layer

import (
	"bufio"
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// topLevel lists what may stand beside hidden files at the top of the repository.
var topLevel = []string{
	"DEVELOPERS.md", "LICENSE", "README.md", "buf.gen.yaml", "buf.yaml", "clients", "cmd", "go.mod", "go.sum", "logic", "loop", "proto", "sim",
	"testdata", "tools",
}

// longestFile is where a file is split, in lines; generated code is exempt.
const longestFile = 600

// foreign are patterns that no file of the repository may contain: paths of one machine, and
// words about how the text came to be. Letters in brackets keep this file from matching itself.
var foreign = []*regexp.Regexp{
	regexp.MustCompile(`(^|[^.[:alnum:]_/])/(hom[e]|roo[t]|User[s]|tm[p]|wor[k])/`),
	regexp.MustCompile(`\.librar[y]\b`),
	regexp.MustCompile(`(?i)transcrip[t]`),
}

var generated = regexp.MustCompile(`(?m)^// Code generated .* DO NOT EDIT\.$`)

// ignored reads .gitignore and answers for a path relative to the root. It understands names and
// names with stars, at any depth or, with a leading slash, at the top; it refuses the rest.
func ignored(gitignore string) (func(rel string) bool, error) {
	var patterns []string
	for line := range strings.Lines(gitignore) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		pattern := strings.TrimSuffix(line, "/")
		if _, err := path.Match(pattern, ""); err != nil || strings.Contains(pattern, "**") || strings.HasPrefix(pattern, "!") {
			return nil, fmt.Errorf("the tidy test does not understand the pattern %q of .gitignore: write it as a plain name", line)
		}
		patterns = append(patterns, pattern)
	}
	return func(rel string) bool {
		return slices.ContainsFunc(patterns, func(pattern string) bool {
			subject := path.Base(rel)
			if strings.Contains(pattern, "/") {
				pattern, subject = strings.TrimPrefix(pattern, "/"), rel
			}
			match, _ := path.Match(pattern, subject) // the pattern was tried above
			return match
		})
	}, nil
}

// walk calls visit with every file of the repository that is not ignored, with its path relative
// to the root. Files that are not committed yet are visited too.
func walk(t *testing.T, visit func(rel string, text []byte)) {
	t.Helper()
	root, err := findRoot()
	if err != nil {
		t.Fatal(err)
	}
	gitignore, err := os.ReadFile(filepath.Join(root, ".gitignore"))
	if err != nil {
		t.Fatal(err)
	}
	skip, err := ignored(string(gitignore))
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(root, func(full string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, full)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		switch {
		case rel == ".git" || rel != "." && skip(rel):
			if entry.IsDir() {
				return fs.SkipDir
			}
			return nil
		case !entry.Type().IsRegular():
			return nil
		}
		text, err := os.ReadFile(full)
		if err != nil {
			return err
		}
		visit(rel, text)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// tidy judges one file.
func tidy(rel string, text []byte) []problem {
	var found []problem
	add := func(line int, what, remedy string) {
		found = append(found, problem{token.Position{Filename: rel, Line: line}, what, remedy})
	}
	top := layerOf(rel)
	if !strings.HasPrefix(top, ".") && !slices.Contains(topLevel, top) {
		add(1, top+" stands at the top level", "move it below one of the folders there: "+strings.Join(topLevel, ", "))
	}
	if strings.HasSuffix(rel, ".go") && !generated.Match(text) {
		if lines := bytes.Count(text, []byte("\n")); lines > longestFile {
			add(longestFile, fmt.Sprintf("the file has %d lines", lines), fmt.Sprintf("split it by ideas: %d is the most, 80 to 250 are usual", longestFile))
		}
	}
	if path.Base(rel) == "go.sum" || bytes.IndexByte(text, 0) >= 0 {
		return found // hashes, binary data
	}
	scanner := bufio.NewScanner(bytes.NewReader(text))
	scanner.Buffer(nil, len(text)+1)
	for line := 1; scanner.Scan(); line++ {
		for _, pattern := range foreign {
			if match := pattern.FindString(scanner.Text()); match != "" {
				add(line, fmt.Sprintf("contains %q", strings.TrimSpace(match)),
					"paths of one machine and words about how this was written do not belong into the repository")
			}
		}
	}
	return found
}

// packageComments judges the Go files of one folder: one of them, not a test file unless there is
// no other, has a comment that begins as godoc wants it.
func packageComments(dir string, files map[string]*ast.File) []problem {
	onlyTests := true
	for name := range files {
		onlyTests = onlyTests && strings.HasSuffix(name, "_test.go")
	}
	var first *ast.File
	firstName := ""
	for name, file := range files {
		if strings.HasSuffix(name, "_test.go") && !onlyTests {
			continue
		}
		want := "Package " + file.Name.Name + " "
		if file.Name.Name == "main" {
			want = "Command "
		}
		if file.Doc != nil && strings.HasPrefix(file.Doc.Text(), want) {
			return nil
		}
		if firstName == "" || name < firstName {
			first, firstName = file, name
		}
	}
	return []problem{{
		token.Position{Filename: path.Join(dir, firstName), Line: 1},
		"package " + first.Name.Name + " has no package comment",
		"say what it models, what it leaves out, which invariants hold and how it was validated, beginning with `Package " +
			first.Name.Name + " ` (a command: `Command `)",
	}}
}

func TestFilesAreTidy(t *testing.T) {
	var found []problem
	folders := map[string]map[string]*ast.File{}
	walk(t, func(rel string, text []byte) {
		found = append(found, tidy(rel, text)...)
		if !strings.HasSuffix(rel, ".go") || strings.Contains("/"+rel, "/testdata/") {
			return
		}
		file, err := parser.ParseFile(token.NewFileSet(), rel, text, parser.PackageClauseOnly|parser.ParseComments)
		if err != nil {
			t.Error(err)
			return
		}
		dir, name := path.Split(rel)
		if folders[dir] == nil {
			folders[dir] = map[string]*ast.File{}
		}
		folders[dir][name] = file
	})
	if len(folders) < 2 {
		t.Errorf("%d folders with Go files were looked at", len(folders))
	}
	for dir, files := range folders {
		found = append(found, packageComments(dir, files)...)
	}
	report(t, found)
}

func TestTidyFindsFault(t *testing.T) {
	long := strings.Repeat("//\n", longestFile)
	for _, c := range []struct {
		rel, text string
		line      int // of the problem; 0 for none
	}{
		{"loop/x.go", long, 0},
		{"loop/x.go", long + "\n", longestFile},
		{"loop/x.go", "// Code generated by x. DO NOT EDIT.\n" + long, 0},
		{"loop/x.md", long + "\n", 0},
		{"notes.md", "", 1},
		{"bench/x.go", "", 1},
		{".ci/run", "", 0},
		{"README.md", "a\nsee /tm" + "p/out\n", 2},
		{"README.md", "see `/wor" + "k/main`", 1},
		{"README.md", "sim/wor" + "k/main https://example.org/wor" + "k/x", 0},
		{"sim/x.go", "// .librar" + "y/env\n", 1},
		{"sim/x.go", "\n\n// from the Transcri" + "pt\n", 3},
		{"go.sum", "/tm" + "p/", 0},
		{"testdata/x.png", "\x00 /tm" + "p/", 0},
	} {
		got := tidy(c.rel, []byte(c.text))
		if c.line == 0 && len(got) > 0 || c.line > 0 && (len(got) != 1 || got[0].pos.Line != c.line) {
			t.Errorf("%s: got %v, want a problem in line %d (0: none)", c.rel, got, c.line)
		}
	}
}

func TestPackageCommentsAreMissed(t *testing.T) {
	for _, c := range []struct {
		files map[string]string
		good  bool
	}{
		{map[string]string{"a.go": "// Package loop is.\npackage loop", "b.go": "package loop"}, true},
		{map[string]string{"a.go": "// Command x does.\npackage main"}, true},
		{map[string]string{"a.go": "package loop"}, false},
		{map[string]string{"a.go": "// Package line is.\npackage loop"}, false},
		{map[string]string{"a.go": "// Package loop is.\n\npackage loop"}, false},
		{map[string]string{"a.go": "package loop", "a_test.go": "// Package loop is.\npackage loop"}, false},
		{map[string]string{"a_test.go": "// Package loop is.\npackage loop"}, true},
	} {
		files := map[string]*ast.File{}
		for name, text := range c.files {
			file, err := parser.ParseFile(token.NewFileSet(), name, text, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			files[name] = file
		}
		if got := packageComments("loop", files); (len(got) == 0) != c.good {
			t.Errorf("%v: got %v, want good: %v", c.files, got, c.good)
		}
	}
}

func TestIgnored(t *testing.T) {
	skip, err := ignored("# results\n/.buf/\n/loopdrill\n*.prof\nnode_modules/\n/clients/web/dist/\n")
	if err != nil {
		t.Fatal(err)
	}
	for rel, want := range map[string]bool{
		".buf": true, "loopdrill": true, "cmd/loopdrill": false, "sim/cpu.prof": true, "clients/node/node_modules": true,
		"clients/web/dist": true, "sim/.buf": false, "sim/verify": false,
	} {
		if skip(rel) != want {
			t.Errorf("%s: ignored %v, want %v", rel, skip(rel), want)
		}
	}
	for _, pattern := range []string{"!keep", "a/**/b", "[a"} {
		if _, err := ignored(pattern); err == nil {
			t.Errorf("pattern %q is taken, though it is not understood", pattern)
		}
	}
}
