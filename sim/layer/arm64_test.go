package layer

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// root is the module's folder, from here.
const root = "../.."

// fused are arm64's multiply-adds that round once: Arm Architecture Reference Manual, "Floating-point
// multiply-add". The Go specification, "Floating-point operators", lets a compiler use them across
// an expression, unless the product is converted explicitly.
var fused = regexp.MustCompile(`\bF(N?)M(ADD|SUB)[SDH]?\b|\bFML[AS]\b`)

// crossBuild builds a package of this module, or a file of one in package main, for arm64.
func crossBuild(t *testing.T, target string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "program")
	build := exec.CommandContext(t.Context(), "go", "build", "-trimpath", "-o", out, target)
	build.Dir = root
	build.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	if text, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go build of %s for arm64: %v\n%s", target, err, text)
	}
	return out
}

// fusedIn lists the fused multiply-adds of a program or a package's archive, and how many functions
// and floating-point products it holds.
func fusedIn(t *testing.T, object string) (found []string, functions, products int) {
	t.Helper()
	text, err := exec.CommandContext(t.Context(), "go", "tool", "objdump", "-s", `^(main|loopdrill\.dev)[./]`, object).Output()
	if err != nil {
		t.Fatalf("go tool objdump of %s: %v", object, err)
	}
	function := ""
	for line := range strings.Lines(string(text)) {
		switch {
		case strings.HasPrefix(line, "TEXT "):
			function = strings.Fields(line)[1]
			functions++
		case fused.MatchString(line):
			found = append(found, fmt.Sprintf("%s: %s", function, strings.Join(strings.Fields(line), " ")))
		case strings.Contains(line, "FMULD"):
			products++
		}
	}
	return found, functions, products
}

// A compiler may join a product and a sum into one rounding, and does on arm64,
// not on amd64. Every product in the packages of loop is converted, so that no such instruction is
// left and a digest is the same on every machine. The archives are looked at, not a program, because
// a linker drops what that program does not use.
func TestLoopHasNoFusedMultiplyAddOnArm64(t *testing.T) {
	t.Parallel()
	list := exec.CommandContext(t.Context(), "go", "list", "-export", "-f", "{{.ImportPath}} {{.Export}}", "./loop/...")
	list.Dir = root
	list.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	var complaints bytes.Buffer
	list.Stderr = &complaints
	text, err := list.Output()
	if err != nil {
		t.Fatalf("building ./loop/... for arm64: %v\n%s", err, &complaints)
	}
	looked := map[string]int{}
	for line := range strings.Lines(string(text)) {
		name, archive, ok := strings.Cut(strings.TrimSpace(line), " ")
		if !ok {
			t.Errorf("%s has no archive", line)
			continue
		}
		found, functions, products := fusedIn(t, archive)
		for _, f := range found {
			t.Errorf("%s\n\tremedy: convert the product, float64(a*b), so that it is rounded before it is added", f)
		}
		if functions == 0 {
			t.Errorf("%s: no function was disassembled", name)
		}
		looked[strings.TrimPrefix(name, module+"/")] = products
	}
	t.Logf("floating-point products by package: %v", looked)
	for _, solver := range []string{"loop/wire", "loop/circuit"} {
		if looked[solver] < 20 {
			t.Errorf("%s: only %d products: that is not the solver", solver, looked[solver])
		}
	}
}

// The test above can fail: the same search finds the instruction where a product is not converted.
func TestFusedMultiplyAddIsFound(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "main.go")
	const source = `package main

import "os"

//go:noinline
func bad(a, b, c float64) float64 { return a*b + c }

//go:noinline
func good(a, b, c float64) float64 { return float64(a*b) + c }

func main() { n := float64(len(os.Args)); println(bad(n, n, n), good(n, n, n)) }
`
	if err := os.WriteFile(file, []byte(source), 0o600); err != nil {
		t.Fatal(err)
	}
	found, functions, products := fusedIn(t, crossBuild(t, file))
	if len(found) != 1 || !strings.HasPrefix(found[0], "main.bad") || functions < 3 || products != 1 {
		t.Errorf("in %d functions with %d products: %v; wanted one, in main.bad", functions, products, found)
	}
}

// qemu finds the user-mode emulator, which is a reference tool: without it the test is skipped, or
// fails where references are required.
func qemu(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"qemu-aarch64", "qemu-aarch64-static"} {
		path, err := exec.LookPath(name)
		if err == nil {
			return path
		}
		if !errors.Is(err, exec.ErrNotFound) && !errors.Is(err, fs.ErrNotExist) {
			t.Fatal(err)
		}
	}
	const missing = "qemu-aarch64 (Debian: qemu-user) is not installed: the demo's digests on arm64 are not compared"
	if os.Getenv("LOOPDRILL_REQUIRE_REFERENCES") == "1" {
		t.Fatal(missing)
	}
	t.Skip(missing)
	return ""
}

// playReport is what is compared of a scenario that was played.
type playReport struct{ Scenario, Outcome, Digest string }

func play(t *testing.T, command string, arguments ...string) []playReport {
	t.Helper()
	run := exec.CommandContext(t.Context(), command, append(arguments, "play", "--output", "json", filepath.Join(root, "testdata", "alder-quay"))...)
	var complaints bytes.Buffer
	run.Stderr = &complaints
	text, err := run.Output()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exit.ExitCode() != 1) { // 1: an expectation failed, which is not judged here
		t.Fatalf("%s play: %v\n%s", command, err, &complaints)
	}
	var reports []playReport
	decoder := json.NewDecoder(bytes.NewReader(text))
	for {
		var r struct {
			playReport
			Scenarios []playReport
		}
		switch err := decoder.Decode(&r); {
		case errors.Is(err, io.EOF):
			return reports
		case err != nil:
			t.Fatalf("%s play: its output: %v", command, err)
		}
		if reports = append(reports, r.Scenarios...); r.Digest != "" {
			reports = append(reports, r.playReport)
		}
	}
}

// The same site and journal give the same log, byte for byte, anywhere. Here:
// every scenario of the demo, natively and on an emulated arm64 machine.
func TestDemoDigestsOnArm64(t *testing.T) {
	t.Parallel()
	emulator := qemu(t)
	native := filepath.Join(t.TempDir(), "native")
	build := exec.CommandContext(t.Context(), "go", "build", "-o", native, "./cmd/loopdrill")
	build.Dir = root
	if text, err := build.CombinedOutput(); err != nil {
		t.Fatalf("go build: %v\n%s", err, text)
	}
	here, there := play(t, native), play(t, emulator, crossBuild(t, "./cmd/loopdrill"))
	scenarios, err := filepath.Glob(filepath.Join(root, "testdata", "alder-quay", "scenarios", "*.scenario.yaml"))
	if err != nil || len(scenarios) == 0 || len(here) != len(scenarios) || len(there) != len(here) {
		t.Fatalf("%d scenario files (%v), %d reports here, %d on arm64", len(scenarios), err, len(here), len(there))
	}
	for i := range here {
		if here[i].Digest == "" || here[i] != there[i] {
			t.Errorf("here %+v, on arm64 %+v", here[i], there[i])
		}
	}
	t.Logf("%d scenarios, the same digests", len(here))
}
