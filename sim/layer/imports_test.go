package layer

import (
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport says, per layer, which layers it may import (DEVELOPERS.md, Layers).
var mayImport = map[string][]string{
	"proto":   {"proto"},
	"loop":    {"proto", "loop"},
	"logic":   {"proto", "logic"},
	"sim":     {"proto", "loop", "logic", "sim"},
	"clients": {"proto", "clients"},
	"cmd":     {"proto", "loop", "logic", "sim", "clients", "cmd"},
}

// clientMayImport lists the modules that a client may use beside the standard library.
// protobuf and the status details belong to gRPC's own surface.
var clientMayImport = []string{
	"google.golang.org/grpc", "google.golang.org/protobuf", "google.golang.org/genproto/googleapis/rpc",
}

// impure lists what reaches outside the process or depends on chance, threads or memory layout.
// Each entry covers the packages below it.
var impure = []string{
	"crypto/rand", "hash/maphash", "io/ioutil", "log", "math/rand", "net", "os", "plugin", "runtime", "sync", "syscall", "unsafe",
}

// layerOf returns the first element of a path relative to the module.
func layerOf(path string) string {
	first, _, _ := strings.Cut(path, "/")
	return first
}

// below says whether an import path is one of the listed packages or inside one.
func below(path string, listed ...string) bool {
	return slices.ContainsFunc(listed, func(p string) bool { return path == p || strings.HasPrefix(path, p+"/") })
}

// refuse says why a file of package from may not import path, and what to do instead; empty if it may.
func refuse(from, path string, isTest bool) (what, remedy string) {
	layer := layerOf(from)
	if target, own := inModule(path); own {
		allowed, known := mayImport[layer]
		switch {
		case !known:
			return "package " + from + " is in no layer", "move it below one of proto, loop, logic, sim, clients, cmd"
		case slices.Contains(allowed, layerOf(target)):
			return "", ""
		case layer == "clients" && isTest && layerOf(target) == "sim":
			return "", "" // a client is tested against the real server
		}
		return layer + " imports " + target, layer + " may see only " + strings.Join(allowed, ", ") +
			"; declare a small interface or a plain value here and let the caller above join the two"
	}
	if isTest {
		return "", ""
	}
	standard := !strings.Contains(layerOf(path), ".")
	switch {
	case layer == "clients" && !standard && !below(path, clientMayImport...):
		return "a client imports " + path, "clients see proto, the standard library and gRPC only"
	case isPure(from) && below(path, "google.golang.org/grpc"):
		return from + " imports " + path, "serve from sim/service; the models know nothing of the network"
	case below(path, "go.uber.org/zap", "github.com/prometheus") && layer != "cmd" && !below(from, "sim/service"):
		return from + " imports " + path, "logs and metrics stop at sim/service and cmd; return the value or emit an event"
	case isPure(from) && below(path, impure...):
		return from + " imports " + path, "loop, logic and the kernel are pure: take what is needed as a parameter, and leave I/O, threads and chance to the packages above (random streams: sim's counter-based ones)"
	}
	return "", ""
}

// imports applies refuse to one file.
func imports(fset *token.FileSet, from string, file *ast.File, isTest bool) []problem {
	var found []problem
	for _, spec := range file.Imports {
		path, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			panic(err) // the parser has accepted it as a string
		}
		if what, remedy := refuse(from, path, isTest); what != "" {
			found = append(found, problem{pos: fset.Position(spec.Pos()), what: what, remedy: remedy})
		}
	}
	return found
}

func TestImportsRunOneWay(t *testing.T) {
	tr, err := load()
	if err != nil {
		t.Fatal(err)
	}
	var found []problem
	seen := map[string]int{}
	for _, p := range tr.packages {
		from, _ := inModule(p.ImportPath)
		seen[layerOf(from)]++
		hidden := slices.Concat(p.CgoFiles, p.IgnoredGoFiles)
		for i, name := range slices.Concat(p.GoFiles, hidden, p.TestGoFiles, p.XTestGoFiles) {
			file, err := tr.parse(p.Dir, name, parser.ImportsOnly)
			if err != nil {
				t.Fatal(err)
			}
			found = append(found, imports(tr.fset, from, file, i >= len(p.GoFiles)+len(hidden))...)
			if isPure(from) && slices.Contains(hidden, name) {
				found = append(found, problem{tr.fset.Position(file.Pos()), "a build constraint or cgo hides this file from the checks",
					"the pure layers are the same on every machine: take the constraint away or move the file up"})
			}
		}
	}
	for _, layer := range []string{"proto", "loop", "logic", "sim"} {
		if seen[layer] == 0 {
			t.Errorf("no package of layer %s was looked at", layer)
		}
	}
	report(t, found)
}

func TestRefuse(t *testing.T) {
	own := func(path string) string { return module + "/" + path }
	for _, c := range []struct {
		from, path string
		isTest     bool
		refused    bool
	}{
		{"loop", own("proto/loopdrill/v1"), false, false},
		{"loop/line", own("loop"), false, false},
		{"loop/line", own("logic"), false, true},
		{"loop/line", own("logic/term"), true, true}, // tests keep the layers too
		{"logic", own("loop"), false, true},
		{"logic/panel", own("sim"), false, true},
		{"loop", own("cmd/loopdrill"), false, true},
		{"proto/finding", own("loop"), false, true},
		{"sim", own("loop"), false, false},
		{"sim/drill", own("logic"), false, false},
		{"sim/service", own("clients/go"), false, true},
		{"sim/service", own("cmd/loopdrill"), false, true},
		{"clients/go", own("proto/loopdrill/v1"), false, false},
		{"clients/go", own("sim"), false, true},
		{"clients/go", own("sim/service"), true, false},
		{"clients/go", own("loop"), true, true},
		{"clients/go", "google.golang.org/grpc/codes", false, false},
		{"clients/go", "github.com/spf13/cobra", false, true},
		{"cmd/loopdrill", own("clients/go"), false, false},
		{"cmd/loopdrill", own("sim/verify"), false, false},
		{"attic", own("proto/finding"), false, true},
		{"loop", "go.uber.org/zap", false, true},
		{"logic", "github.com/prometheus/client_golang/prometheus", false, true},
		{"loop", "google.golang.org/grpc/status", false, true},
		{"sim/drill", "go.uber.org/zap/zapcore", false, true},
		{"sim/service", "go.uber.org/zap", false, false},
		{"sim/service", "github.com/prometheus/client_golang/prometheus", false, false},
		{"cmd/loopdrill", "go.uber.org/zap", false, false},
		{"loop", "os", false, true},
		{"loop", "os/exec", false, true},
		{"loop", "os", true, false}, // a test may read its tables from files
		{"logic", "net/url", false, true},
		{"logic", "log/slog", false, true},
		{"sim", "sync", false, true},
		{"sim", "sync/atomic", false, true},
		{"loop/line", "math/rand/v2", false, true},
		{"loop/line", "math", false, false},
		{"loop/line", "sort", false, false},
		{"sim/verify", "sync", false, false},
		{"sim/site", "os", false, false},
	} {
		what, remedy := refuse(c.from, c.path, c.isTest)
		if (what != "") != c.refused || (remedy != "") != c.refused {
			t.Errorf("%s importing %s (test file: %v): said %q, remedy %q; want refused: %v", c.from, c.path, c.isTest, what, remedy, c.refused)
		}
	}
}

// TestImportsNamesTheLine shows that the file and the line of the import itself are reported.
func TestImportsNamesTheLine(t *testing.T) {
	fset := token.NewFileSet()
	text := "package line\n\nimport (\n\t\"math\"\n\t\"" + module + "/logic\"\n)\n"
	file, err := parser.ParseFile(fset, "loop/line/x.go", text, parser.ImportsOnly)
	if err != nil {
		t.Fatal(err)
	}
	got := imports(fset, "loop/line", file, false)
	if len(got) != 1 || got[0].pos.Line != 5 || got[0].pos.Filename != "loop/line/x.go" {
		t.Errorf("got %v, want one problem at loop/line/x.go:5", got)
	}
}
