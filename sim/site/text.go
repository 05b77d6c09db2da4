package site

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// textWidth is the width to which details are wrapped: a terminal's 80 columns.
const textWidth = 80

// SeverityWord returns the word of a severity as text and JSON output print it.
func SeverityWord(s pb.Severity) string {
	switch s {
	case pb.Severity_SEVERITY_NOTE:
		return "note"
	case pb.Severity_SEVERITY_WARNING:
		return "warning"
	case pb.Severity_SEVERITY_ERROR:
		return "error"
	case pb.Severity_SEVERITY_REFUSED:
		return "refused"
	}
	return "unspecified"
}

// WriteText prints findings for people, one after another:
//
//	site.yaml:12:5: refused: there is no zone "hal"
//	    did you mean "hall"?
//	    [NFPA 72 23.6.1]
//
// The first line is never broken, so that editors can follow it; the rest is wrapped. paint may
// colour the word of a severity; Plain leaves it alone.
func WriteText(w io.Writer, findings []*pb.Finding, paint func(pb.Severity, string) string) error {
	for _, f := range findings {
		if _, err := io.WriteString(w, text(f, paint)); err != nil {
			return fmt.Errorf("writing findings: %w", err)
		}
	}
	return nil
}

// Plain is the paint that changes nothing.
func Plain(_ pb.Severity, word string) string { return word }

// text is the text form of one finding, line end included.
func text(f *pb.Finding, paint func(pb.Severity, string) string) string {
	var b strings.Builder
	if p := f.GetPosition(); p != nil {
		fmt.Fprintf(&b, "%s:%d:%d: ", p.GetFile(), p.GetLine(), p.GetColumn())
	}
	fmt.Fprintf(&b, "%s: %s\n", paint(f.GetSeverity(), SeverityWord(f.GetSeverity())), f.GetTitle())
	writeWrapped(&b, f.GetDetail())
	if clause := f.GetClause(); clause != "" {
		writeWrapped(&b, "["+clause+"]")
	}
	return b.String()
}

// writeWrapped writes text indented and wrapped at blanks; its own line ends are kept.
func writeWrapped(b *strings.Builder, text string) {
	const indent = "    "
	for line := range strings.SplitSeq(text, "\n") {
		column := 0
		for word := range strings.FieldsSeq(line) {
			length := utf8.RuneCountInString(word)
			switch {
			case column == 0:
				b.WriteString(indent)
				column = len(indent)
			case column+1+length > textWidth:
				b.WriteString("\n" + indent)
				column = len(indent)
			default:
				b.WriteByte(' ')
				column++
			}
			b.WriteString(word)
			column += length
		}
		if column > 0 {
			b.WriteByte('\n')
		}
	}
}
