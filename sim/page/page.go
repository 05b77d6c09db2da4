// Package page lays text out for a terminal of 80 columns: lines, words that are wrapped behind a lead, and
// tables, which are continued below where they are too wide. Words that are longer than a line are not broken:
// labels, places in files and commands stay whole.
//
// Left out: colours; the width of characters that take two columns.
package page

import (
	"fmt"
	"path"
	"strings"
	"unicode/utf8"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Width is that of a terminal.
const Width = 80

// Page collects lines. Its zero value is empty.
type Page struct{ strings.Builder }

// Line adds a line as it is.
func (p *Page) Line(format string, args ...any) { fmt.Fprintf(&p.Builder, format+"\n", args...) }

// Wrap adds words in as many lines as they need, the first behind one lead, the others behind another. Blanks
// between words, line ends too, are as good as one.
func (p *Page) Wrap(lead, next, words string) {
	line, empty := lead, true
	for word := range strings.FieldsSeq(words) {
		if !empty && length(line)+1+length(word) > Width {
			p.Line("%s", line)
			line, empty = next, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	p.Line("%s", strings.TrimRight(line, " "))
}

// Hang is Wrap with further lines indented to the width of the lead.
func (p *Page) Hang(lead, words string) {
	p.Wrap(lead, strings.Repeat(" ", length(lead)), words)
}

// Link adds one link of a chain of events: when, what, and the line of the file that made it so. The folder of the
// file is left out, so that a link is a line: it is that of the site.
func (p *Page) Link(l *pb.ChainLink) {
	what := l.GetWhat()
	if at := l.GetPosition(); at != nil {
		what += fmt.Sprintf(" [%s:%d]", path.Base(at.GetFile()), at.GetLine())
	}
	p.Hang(fmt.Sprintf("  %14.6f s  ", l.GetAtS()), what)
}

// gap stands between the columns of a table.
const gap = 2

// Table adds rows of cells, one under the other, the first of them the head. Where they are wider than the page the
// columns that have no room follow below, behind the first `keys` columns once more. Each row has as many
// cells as the first.
func (p *Page) Table(indent string, keys int, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	wide := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			wide[i] = max(wide[i], length(cell))
		}
	}
	lead := length(indent)
	for _, w := range wide[:keys] {
		lead += w + gap
	}
	for next := keys; ; {
		columns := make([]int, 0, len(wide))
		for i := range keys {
			columns = append(columns, i)
		}
		for used := lead; next < len(wide) && (len(columns) == keys || used+wide[next] <= Width); next++ {
			columns = append(columns, next)
			used += wide[next] + gap
		}
		p.columns(indent, columns, wide, rows)
		if next >= len(wide) {
			return
		}
	}
}

// columns adds some columns of a table.
func (p *Page) columns(indent string, columns, wide []int, rows [][]string) {
	for _, row := range rows {
		var line strings.Builder
		line.WriteString(indent)
		for _, i := range columns {
			line.WriteString(row[i] + strings.Repeat(" ", wide[i]-length(row[i])+gap))
		}
		p.Line("%s", strings.TrimRight(line.String(), " "))
	}
}

func length(s string) int { return utf8.RuneCountInString(s) }
