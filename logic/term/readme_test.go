package term

import (
	"os"
	"strings"
	"testing"

	"cel.dev/cel-go/cel"
)

// The page for users lists every name that conditions start from, with every property, and nothing else:
// its table is the only place where somebody who writes a condition learns what can be asked for.
func TestReadmeListsTheVocabulary(t *testing.T) {
	page, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(page), "\n### Conditions\n")
	section, _, closed := strings.Cut(section, "\n## ")
	if !ok || !closed {
		t.Fatal("README.md has no section `Conditions`")
	}
	rows := map[string]string{}
	for line := range strings.Lines(section) {
		if cells := strings.Split(line, " | "); strings.HasPrefix(line, "| `") {
			rows[strings.TrimPrefix(cells[0], "| ")] = cells[1]
		}
	}
	names := vocabulary()
	for _, n := range names {
		first := "`" + n.name + "`"
		switch {
		case n.of == nil:
		case n.of.IsExactType(cel.IntType):
			first = "`" + n.name + "(1)`"
		default:
			first = "`" + n.name + "('id')`"
		}
		want := make([]string, 0, len(n.fields))
		for _, f := range n.fields {
			word := "`" + f.name + "`"
			if f.bench {
				word += "*"
			}
			want = append(want, word)
		}
		if got, ok := rows[first]; !ok || got != strings.Join(want, ", ") {
			t.Errorf("README.md says of %s:\n%s\nand conditions know:\n%s", first, got, strings.Join(want, ", "))
		}
	}
	if len(rows) != len(names) {
		t.Errorf("README.md lists %d names, conditions know %d", len(rows), len(names))
	}
}
