package site

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"buf.build/go/protoyaml"
	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func FuzzLoadSite(f *testing.F) {
	seeds(f, "site\n")
	f.Fuzz(func(t *testing.T, data []byte) {
		m, index, findings := DefaultLimits().LoadSite(File{Path: "site.yaml", Data: data})
		judge(t, data, m, &pb.Site{}, index, findings)
	})
}

func FuzzLoadScenario(f *testing.F) {
	seeds(f, "scenario\n")
	f.Fuzz(func(t *testing.T, data []byte) {
		m, index, findings := DefaultLimits().LoadScenario(File{Path: "a.scenario.yaml", Data: data})
		judge(t, data, m, &pb.Scenario{}, index, findings)
	})
}

// FuzzBuild holds that the models survive every message that can be read, refused or not, and that
// each of their findings gets a place, as does what is found about the design of those that nothing
// refuses.
func FuzzBuild(f *testing.F) {
	seeds(f, "site\n")
	f.Fuzz(func(t *testing.T, data []byte) {
		built, findings := Build(Bundle{Site: File{Path: "site.yaml", Data: data}})
		_, judged := built.Check()
		for _, f := range append(findings, judged...) {
			if f.GetPosition().GetLine() < 1 || f.GetPosition().GetFile() == "" {
				t.Errorf("a finding without a place: %v", f)
			}
		}
	})
}

// judge holds the package's invariants for any input: positions lie inside the file, and whatever
// is read without a refusal buf.build/go/protoyaml, an independent decoder, reads to the same
// message.
func judge(t *testing.T, data []byte, m, other proto.Message, index *Index, findings []*pb.Finding) {
	t.Helper()
	for _, f := range findings {
		p := f.GetPosition()
		if p.GetLine() < 1 || p.GetColumn() < 1 || f.GetTitle() == "" || f.GetCode() == "" {
			t.Errorf("a finding without place, title or code: %v", f)
		}
		// The library counts exotic line ends too, so that the line is judged where there are none.
		if !strings.ContainsAny(string(data), "\r\u0085\u2028\u2029") && int(p.GetLine()) > len(index.lines) {
			t.Errorf("line %d of %d: %v", p.GetLine(), len(index.lines), f)
		}
		_ = text(f, Plain)
	}
	probe(t, index)
	if len(findings) > 0 {
		return
	}
	if err := protoyaml.Unmarshal(withoutIsolatorWords(t, data), other); err != nil {
		t.Fatalf("this reader accepts what protoyaml does not: %v", err)
	}
	if !proto.Equal(m, other) {
		t.Errorf("read differently:\n%v\nprotoyaml:\n%v", m, other)
	}
}

// probe asks for a position in every text.
func probe(t *testing.T, index *Index) {
	t.Helper()
	for path := range index.places {
		raw, _ := index.Raw(path)
		for _, offset := range []int{1, len(raw) / 2, len(raw), 1 << 20} {
			p := index.find(path, offset)
			if p.line < 1 || p.column < 1 {
				t.Errorf("%s at %d stands at %v", path, offset, p)
			}
		}
	}
}

// withoutIsolatorWords skips files that use the one form protoyaml does not know, `isolator: true`.
func withoutIsolatorWords(t *testing.T, data []byte) []byte {
	if strings.Contains(string(data), "isolator") && (strings.Contains(string(data), "true") || strings.Contains(string(data), "false")) {
		text := string(data)
		for _, form := range []string{"isolator: true"} {
			text = strings.ReplaceAll(text, form, "isolator: {}")
		}
		text = strings.ReplaceAll(text, ", isolator: false", "")
		if strings.Contains(text, "isolator: false") {
			t.Skip("isolator: false in a form that the test does not rewrite")
		}
		return []byte(text)
	}
	return data
}

// seeds adds the inputs of the story files that belong to a command, and the demo's files.
func seeds(f *testing.F, command string) {
	stories, err := filepath.Glob("testdata/stories/*")
	if err != nil || len(stories) == 0 {
		f.Fatalf("no stories to start from: %v", err)
	}
	for _, name := range stories {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		for block := range strings.SplitSeq(string(data), "\n\n") {
			for strings.HasPrefix(block, "#") {
				_, block, _ = strings.Cut(block, "\n")
			}
			input, _, ok := strings.Cut(block, "\n----")
			if ok && strings.HasPrefix(input, command) {
				f.Add([]byte(strings.TrimPrefix(input, command)))
			}
		}
	}
	if command == "site\n" {
		demo, err := os.ReadFile("../../testdata/alder-quay/site.yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(demo)
	}
	for _, seed := range []string{"\xff\xfe", "\ufeffsite: x\n", "a: \xffb", "\x00", "a: \"\\ud800\"", "? [", "- &a *a", "title: \"\\x1b[31m\"", "%YAML 1.1\n---\nsite: x\n", "!", "---\n---\n---"} {
		f.Add([]byte(seed))
	}
}
