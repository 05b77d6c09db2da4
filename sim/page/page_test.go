package page

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// Every word and every cell of what is laid out stands on the page in its order, and no line is longer than the page
// unless a single word, or a single column behind its keys, is.
func TestNothingIsLost(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	word := func(most int) string { return strings.Repeat("w", 1+r.IntN(most)) }
	for range 2000 {
		var words []string
		longest := 0
		for range r.IntN(60) {
			words = append(words, word(30))
			longest = max(longest, len(words[len(words)-1]))
		}
		p, lead := &Page{}, strings.Repeat(" ", r.IntN(10))+"x "
		p.Hang(lead, strings.Join(words, []string{" ", "  ", "\n"}[r.IntN(3)]))
		if got := strings.Fields(p.String()); !slices.Equal(got[1:], words) {
			t.Fatalf("words %v became %v", words, got)
		}
		for line := range strings.Lines(p.String()) {
			if len(line)-1 > max(Width, len(lead)+longest) || strings.HasSuffix(line, " \n") {
				t.Fatalf("a line of %d: %q", len(line)-1, line)
			}
		}
	}
}

// A line may be as long as the page, and no longer.
func TestFullLine(t *testing.T) {
	for last, lines := range map[int]int{36: 1, 37: 2} {
		p := &Page{}
		p.Hang("12 ", strings.Repeat("a", 40)+" "+strings.Repeat("b", last))
		if got := strings.Count(p.String(), "\n"); got != lines {
			t.Errorf("%d columns are %d lines:\n%s", 3+40+1+last, got, p.String())
		}
	}
}

// A table that is too wide goes on below, behind its keys; each of its cells stands there once.
func TestTable(t *testing.T) {
	rows := [][]string{{"loop", "a", "b", "c"}, {"1", strings.Repeat("x", 40), strings.Repeat("y", 30), "ü"}, {"2", "x", "y", "z"}}
	p := &Page{}
	p.Table("  ", 1, rows)
	want := "  loop  a" + strings.Repeat(" ", 41) + "b\n" +
		"  1     " + strings.Repeat("x", 40) + "  " + strings.Repeat("y", 30) + "\n" +
		"  2     x" + strings.Repeat(" ", 41) + "y\n" +
		"  loop  c\n  1     ü\n  2     z\n"
	if p.String() != want {
		t.Errorf("got\n%s\nwant\n%s", p.String(), want)
	}
	r := rand.New(rand.NewPCG(5, 6))
	for range 2000 {
		n, keys := 1+r.IntN(8), r.IntN(2)
		keys = min(keys, n)
		table := make([][]string, 1+r.IntN(5))
		cells := 0
		for i := range table {
			for range n {
				cells++
				table[i] = append(table[i], strings.Repeat("c", 1+r.IntN(40))+"-"+strings.Repeat("i", cells))
			}
		}
		p := &Page{}
		p.Table("", keys, table)
		seen := map[string]bool{}
		for cell := range strings.FieldsSeq(p.String()) {
			seen[cell] = true
		}
		if len(seen) != cells {
			t.Fatalf("%d cells of %d are on the page", len(seen), cells)
		}
	}
	if p := (&Page{}); true {
		p.Table("", 1, nil)
		if p.Len() > 0 {
			t.Error("no rows are no table")
		}
	}
}
