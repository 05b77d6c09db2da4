package layer

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
)

// module is the import path of this repository.
const module = "loopdrill.dev/loopdrill"

// problem is one breach of a rule.
type problem struct {
	pos    token.Position
	what   string
	remedy string
}

func (p problem) String() string {
	return fmt.Sprintf("%s:%d: %s\n\tremedy: %s", p.pos.Filename, p.pos.Line, p.what, p.remedy)
}

// source is one type-checked package without its test files.
type source struct {
	path  string // relative to the module: "loop/line"; file names in positions are relative too
	fset  *token.FileSet
	files []*ast.File
	info  *types.Info
}

func (s *source) problem(at token.Pos, what, remedy string) problem {
	return problem{pos: s.fset.Position(at), what: what, remedy: remedy}
}

// listed is what `go list -json` says of a package.
type listed struct {
	ImportPath     string
	Dir            string
	Export         string // file of export data
	GoFiles        []string
	CgoFiles       []string
	IgnoredGoFiles []string
	TestGoFiles    []string
	XTestGoFiles   []string
}

// inModule returns the path relative to the module, and whether the package belongs to it.
func inModule(importPath string) (string, bool) {
	if importPath == module {
		return ".", true
	}
	return strings.CutPrefix(importPath, module+"/")
}

// tree is what go list found, with what is needed to parse and type-check it.
type tree struct {
	root     string
	fset     *token.FileSet
	packages []listed // of this module, in order of import path
	importer types.Importer
}

// load lists the whole module, once for all tests.
var load = sync.OnceValues(func() (*tree, error) { return list("./...") })

// loadCases lists only the standard packages that the tables of small sources import, so that the
// tables say whether the rules work even while the tree does not compile.
var loadCases = sync.OnceValues(func() (*tree, error) {
	return list("errors", "fmt", "maps", "math", "os", "regexp", "slices", "time")
})

func list(patterns ...string) (*tree, error) {
	root, err := findRoot()
	if err != nil {
		return nil, err
	}
	fields := "-json=ImportPath,Dir,Export,GoFiles,CgoFiles,IgnoredGoFiles,TestGoFiles,XTestGoFiles"
	command := exec.Command("go", append([]string{"list", "-export", "-deps", fields}, patterns...)...)
	command.Dir = root
	var stderr bytes.Buffer
	command.Stderr = &stderr
	out, err := command.Output()
	if err != nil {
		return nil, fmt.Errorf("go list (does the tree compile?): %w\n%s", err, stderr.String())
	}
	t := &tree{root: root, fset: token.NewFileSet()}
	exports := map[string]string{}
	for decoder := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := decoder.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("reading what go list printed: %w", err)
		}
		exports[p.ImportPath] = p.Export
		if _, own := inModule(p.ImportPath); own {
			t.packages = append(t.packages, p)
		}
	}
	slices.SortFunc(t.packages, func(a, b listed) int { return cmp.Compare(a.ImportPath, b.ImportPath) })
	t.importer = importer.ForCompiler(t.fset, "gc", func(path string) (io.ReadCloser, error) {
		if exports[path] == "" {
			return nil, fmt.Errorf("no export data of %s", path)
		}
		return os.Open(exports[path])
	})
	return t, nil
}

// findRoot goes up from this package's folder to the one that holds the module's go.mod.
func findRoot() (string, error) {
	dir, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for {
		text, err := os.ReadFile(filepath.Join(dir, "go.mod"))
		if err == nil && strings.HasPrefix(string(text), "module "+module+"\n") {
			return dir, nil
		}
		if filepath.Dir(dir) == dir {
			return "", fmt.Errorf("no go.mod of %s above the working folder", module)
		}
		dir = filepath.Dir(dir)
	}
}

// parse reads one file; its positions carry the path relative to the root.
func (tr *tree) parse(dir, name string, mode parser.Mode) (*ast.File, error) {
	full := filepath.Join(dir, name)
	text, err := os.ReadFile(full)
	if err != nil {
		return nil, err
	}
	rel, err := filepath.Rel(tr.root, full)
	if err != nil {
		return nil, err
	}
	return parser.ParseFile(tr.fset, filepath.ToSlash(rel), text, mode)
}

// check type-checks files as one package.
func (tr *tree) check(path string, files []*ast.File) (*source, error) {
	info := &types.Info{
		Types:      map[ast.Expr]types.TypeAndValue{},
		Defs:       map[*ast.Ident]types.Object{},
		Uses:       map[*ast.Ident]types.Object{},
		Selections: map[*ast.SelectorExpr]*types.Selection{},
	}
	config := types.Config{Importer: tr.importer, Sizes: types.SizesFor("gc", runtime.GOARCH)}
	if _, err := config.Check(module+"/"+path, tr.fset, files, info); err != nil {
		return nil, fmt.Errorf("type-checking %s: %w", path, err)
	}
	return &source{path: path, fset: tr.fset, files: files, info: info}, nil
}

// sources type-checks every package of the module except the schema's, once for all tests.
var sources = sync.OnceValues(func() ([]*source, error) {
	tr, err := load()
	if err != nil {
		return nil, err
	}
	var all []*source
	for _, p := range tr.packages {
		rel, _ := inModule(p.ImportPath)
		if layerOf(rel) == "proto" {
			continue
		}
		var files []*ast.File
		for _, name := range p.GoFiles {
			file, err := tr.parse(p.Dir, name, parser.ParseComments|parser.SkipObjectResolution)
			if err != nil {
				return nil, err
			}
			files = append(files, file)
		}
		s, err := tr.check(rel, files)
		if err != nil {
			return nil, err
		}
		all = append(all, s)
	}
	return all, nil
})

// isPure says whether the bans on clocks, threads, I/O and order hold in a package: the models,
// the program, and the event kernel, which is the package sim itself.
func isPure(path string) bool {
	return layerOf(path) == "loop" || layerOf(path) == "logic" || path == "sim"
}

// decidesLogs says whether a package must give the same log on every run and machine. Beside the pure
// packages these are the ones that run one drill over the kernel; they may touch files and keep
// what they need to recover from a panic, but not time, threads or the order of a map.
func decidesLogs(path string) bool { return isPure(path) || below(path, "sim/drill", "sim/script") }

// report fails the test with every problem, in order of file and line.
func report(t *testing.T, problems []problem) {
	t.Helper()
	sortProblems(problems)
	for _, p := range problems {
		t.Error(p)
	}
}

func sortProblems(problems []problem) {
	slices.SortStableFunc(problems, func(a, b problem) int {
		return cmp.Or(
			cmp.Compare(a.pos.Filename, b.pos.Filename),
			cmp.Compare(a.pos.Line, b.pos.Line),
			cmp.Compare(a.pos.Column, b.pos.Column),
			cmp.Compare(a.what, b.what),
		)
	})
}

// expect runs a rule on one small source. It must report exactly the lines that carry a comment
// `want`, each with a remedy.
func expect(t *testing.T, rule func(*source) []problem, path, text string) {
	t.Helper()
	s := small(t, path, text)
	want := map[int]bool{}
	for i, line := range strings.Split(text, "\n") {
		if strings.Contains(line, "// want") || strings.Contains(line, "/* want */") {
			want[i+1] = true
		}
	}
	got := map[int]bool{}
	for _, p := range rule(s) {
		got[p.pos.Line] = true
		if !want[p.pos.Line] {
			t.Errorf("reported without need: %v", p)
		}
		if p.what == "" || p.remedy == "" {
			t.Errorf("line %d is reported without a text or a remedy", p.pos.Line)
		}
	}
	for line := range want {
		if !got[line] {
			t.Errorf("line %d is not reported: %s", line, strings.Split(text, "\n")[line-1])
		}
	}
}

// small type-checks one source text as a package.
func small(t *testing.T, path, text string) *source {
	t.Helper()
	tr, err := loadCases()
	if err != nil {
		t.Fatal(err)
	}
	file, err := parser.ParseFile(tr.fset, "case.go", text, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	s, err := tr.check(path, []*ast.File{file})
	if err != nil {
		t.Fatal(err)
	}
	return s
}
