package site

import (
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// inside returns the place of the character at offset in a scalar's text. Exact for plain and
// quoted scalars, folded over lines or not, and for literal blocks; in folded blocks the line is
// right wherever no line is indented more than the others.
func (x *Index) inside(n *yaml.Node, offset int) pos {
	if n.Kind != yaml.ScalarNode || offset <= 0 || n.Line < 1 || n.Line > len(x.lines) {
		return posOf(n)
	}
	offset = min(offset, utf8.RuneCountInString(n.Value))
	if n.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
		return x.insideBlock(n, offset)
	}
	c := cursor{lines: x.lines, line: n.Line - 1, runes: []rune(x.lines[n.Line-1]), column: n.Column - 1}
	if n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
		c.column++
	}
	for offset > 0 && !c.done() {
		offset -= c.step(n.Style)
	}
	return pos{c.line + 1, c.column + 1}
}

// cursor walks through the source of a flow scalar.
type cursor struct {
	lines        []string
	runes        []rune // of the line
	line, column int    // from 0
}

func (c *cursor) done() bool { return c.line >= len(c.lines)-1 && c.column >= len(c.runes) }

// step advances over one unit of the source and returns how many characters of the text it made.
func (c *cursor) step(style yaml.Style) int {
	if breaks := c.fold(); breaks > 0 {
		return max(1, breaks-1)
	}
	rest := c.runes[c.column:]
	switch {
	case style&yaml.DoubleQuotedStyle != 0 && rest[0] == '\\':
		if len(strings.TrimRight(string(rest[1:]), "\r")) == 0 {
			c.nextLine()
			return 0
		}
		c.column = min(c.column+escapeLength(rest[1]), len(c.runes))
	case style&yaml.SingleQuotedStyle != 0 && len(rest) > 1 && rest[0] == '\'' && rest[1] == '\'':
		c.column += 2
	default:
		c.column++
	}
	return 1
}

// fold passes a line's end with the blanks around it, and returns how many line ends it passed.
func (c *cursor) fold() int {
	breaks := 0
	for strings.TrimSpace(string(c.runes[c.column:])) == "" && c.line < len(c.lines)-1 {
		c.nextLine()
		breaks++
	}
	return breaks
}

// nextLine goes to the first character of the next line that is not blank.
func (c *cursor) nextLine() {
	if c.line >= len(c.lines)-1 {
		c.column = len(c.runes)
		return
	}
	c.line++
	c.runes = []rune(c.lines[c.line])
	c.column = len(c.runes) - utf8.RuneCountInString(strings.TrimLeft(c.lines[c.line], " \t\r"))
}

// escapeLength is the length in the source of an escape in double quotes, backslash included.
func escapeLength(letter rune) int {
	switch letter {
	case 'x':
		return 4
	case 'u':
		return 6
	case 'U':
		return 10
	}
	return 2
}

// insideBlock finds a character of a literal or folded block, whose text begins on the line
// after its `|` or `>`.
func (x *Index) insideBlock(n *yaml.Node, offset int) pos {
	indent := -1
	for line := n.Line; line < len(x.lines); line++ {
		text := strings.TrimRight(x.lines[line], "\r")
		if indent < 0 && strings.TrimSpace(text) != "" {
			indent = len(text) - len(strings.TrimLeft(text, " "))
		}
		length := max(0, utf8.RuneCountInString(text)-max(indent, 0))
		if offset <= length {
			return pos{line + 1, max(indent, 0) + offset + 1}
		}
		offset -= length + 1
	}
	return posOf(n)
}
