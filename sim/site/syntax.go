package site

import (
	"errors"
	"io"
	"regexp"
	"sort"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// searchable is the largest text for which the line of a syntax error is searched for by parsing
// beginnings of it again (about twenty times); above it the reader's progress must do.
const searchable = 1 << 20

// syntaxHelp says what usually stands behind a message of the YAML library.
var syntaxHelp = []struct{ message, help string }{
	{"tab character", "indent with spaces, never with a tab"},
	{"mapping values are not allowed", "there is a second `: ` on the line, or the line is indented too far; a text with `: ` in it needs quotes"},
	{"cannot start any token", "a text that begins with %, @ or ` needs quotes"},
	{"unknown escape character", "in double quotes a backslash begins an escape: write it twice"},
	{"unexpected end of stream", "a quote that is opened here is never closed"},
	{"expected ',' or '}'", "a `{` opened here is not closed, or a comma or a quote is missing before this place"},
	{"expected ',' or ']'", "a `[` opened here is not closed, or a comma or a quote is missing before this place"},
	{"could not find expected ':'", "a key is followed by a colon and a blank"},
	{"did not find expected key", "the line does not line up with the keys above it, or something follows a closing quote"},
	{"did not find expected '-' indicator", "the line does not line up with the entries of the list above it"},
	{"control characters", "take the control character out"},
	{"exceeded max depth", "the file nests deeper than any site can"},
}

// syntaxFinding is the only finding of a file that is not YAML.
func syntaxFinding(file, text string, err error) *pb.Finding {
	message := yamlMessage(err)
	line, column := syntaxLine(text, message)
	lines := strings.Split(text, "\n")
	shown := lines[min(line, len(lines))-1]
	if c, ok := bareTag(shown); ok {
		return pos{line, c}.at(file, finding.Refuse("yaml.tag", "", "an unquoted `!` begins a YAML tag, and what follows it is not text",
			"put the whole text in double quotes: "+quotedExample(shown, c)))
	}
	if strings.Contains(message, "unknown anchor") {
		return pos{line, 1 + runesBefore(shown, "*")}.at(file, finding.Refuse("yaml.alias", "", "an unquoted `*` begins a YAML alias, and no anchor has that name",
			"aliases are not used: write the value out, or put the text in quotes"))
	}
	if strings.HasPrefix(strings.TrimLeft(shown, " "), "\t") {
		message = "found a tab character that violates indentation"
	}
	detail := "the rest of the file was not read"
	for _, h := range syntaxHelp {
		if strings.Contains(message, h.message) {
			detail = h.help + "; " + detail
			break
		}
	}
	return pos{line, syntaxColumn(shown, message, column)}.at(file, finding.Refuse("yaml.syntax", "", "not YAML: "+message, detail))
}

// yamlMessage takes the library's prefix and line number away; the line is that of the
// construct's beginning and often far from the mistake.
func yamlMessage(err error) string {
	return linePrefix.ReplaceAllString(strings.TrimPrefix(err.Error(), "yaml: "), "")
}

var linePrefix = regexp.MustCompile(`^line \d+: `)

// syntaxLine finds the first line with which the text stops being YAML in this way. The column
// is where the library stopped reading if that is on the same line, else 0.
func syntaxLine(text, message string) (line, column int) {
	feed := &byteReader{text: text}
	_ = decodeAll(feed)
	read := text[:feed.next]
	last := 1 + strings.Count(strings.TrimRight(read, " \r\n"), "\n")
	found := last
	if len(text) <= searchable {
		starts := lineStarts(read)
		found = 1 + sort.Search(last-1, func(i int) bool {
			end := len(read)
			if i+1 < len(starts) {
				end = starts[i+1]
			}
			err := decodeAll(strings.NewReader(text[:end]))
			return err != nil && yamlMessage(err) == message
		})
	}
	if found == last {
		tail := strings.TrimRight(read, " \r\n")
		column = utf8.RuneCountInString(tail[strings.LastIndexByte(tail, '\n')+1:])
	}
	return found, column
}

// syntaxColumn points at the usual culprit in the line, else at where reading stopped, else at
// the first character that is not blank.
func syntaxColumn(line, message string, stopped int) int {
	first := 1 + utf8.RuneCountInString(line) - utf8.RuneCountInString(strings.TrimLeft(line, " \t"))
	switch {
	case strings.Contains(message, "tab character"):
		return 1 + runesBefore(line, "\t")
	case strings.Contains(message, "mapping values") && strings.Count(line, ": ") > 1:
		i := strings.Index(line, ": ") + 2
		return 1 + utf8.RuneCountInString(line[:i+strings.Index(line[i:], ": ")])
	case strings.Contains(message, "cannot start any token"):
		if m := badStart.FindStringSubmatchIndex(line); m != nil {
			return 1 + utf8.RuneCountInString(line[:m[2]])
		}
	case strings.Contains(message, "unexpected end of stream") && strings.ContainsAny(line, `"'`):
		return 1 + utf8.RuneCountInString(line[:strings.IndexAny(line, `"'`)])
	case strings.Contains(message, "expected ',' or") && strings.ContainsAny(line, "{["):
		return 1 + utf8.RuneCountInString(line[:strings.IndexAny(line, "{[")])
	case strings.Contains(message, "unknown escape"):
		if m := badEscape.FindStringSubmatchIndex(line); m != nil {
			return 1 + utf8.RuneCountInString(line[:m[2]])
		}
	case strings.Contains(message, "control characters"):
		return max(stopped, 1)
	}
	return first
}

var (
	badStart  = regexp.MustCompile("(?:^|[ \\[{,])([%@`])")
	badEscape = regexp.MustCompile(`(?:[^\\]|\\\\)*?(\\[^\\0abtnvfreNLPxuU "'/_\t])`)
	tagAtWord = regexp.MustCompile(`(?:[:,\-] +|[\[{] *)(!)`)
)

// bareTag finds an unquoted `!` where a value begins.
func bareTag(line string) (column int, ok bool) {
	for _, m := range tagAtWord.FindAllStringSubmatchIndex(line, -1) {
		before := line[:m[2]]
		if strings.Count(before, `"`)%2 == 0 && strings.Count(before, `'`)%2 == 0 {
			return 1 + utf8.RuneCountInString(before), true
		}
	}
	return 0, false
}

// quotedExample shows how to quote the text from column on. In braces its end cannot be told.
func quotedExample(line string, column int) string {
	runes := []rune(line)
	before, rest := string(runes[:column-1]), strings.TrimSpace(string(runes[column-1:]))
	if strings.ContainsAny(before, "{[") {
		return "for instance \"!panel.fire\""
	}
	return quoteOutside(short(rest))
}

// runesBefore counts the characters before the first occurrence of mark, 0 if there is none.
func runesBefore(line, mark string) int {
	return utf8.RuneCountInString(line[:max(strings.Index(line, mark), 0)])
}

// lineStarts returns the byte offset of each line.
func lineStarts(text string) []int {
	starts := []int{0}
	for i := range len(text) {
		if text[i] == '\n' {
			starts = append(starts, i+1)
		}
	}
	return starts
}

// decodeAll reads documents until the first error; nil when the text ends well.
func decodeAll(r io.Reader) error {
	for d := yaml.NewDecoder(r); ; {
		var n yaml.Node
		if err := decode(d, &n); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// byteReader hands out one byte at a time, so that next tells how far the library had read when
// it gave up: it keeps the place of a syntax error to itself.
type byteReader struct {
	text string
	next int
}

func (r *byteReader) Read(p []byte) (int, error) {
	if r.next >= len(r.text) {
		return 0, io.EOF
	}
	n := copy(p[:min(1, len(p))], r.text[r.next:])
	r.next += n
	return n, nil
}
