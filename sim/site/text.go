package site

import (
	"fmt"
	"io"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/page"
)

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
	var b page.Page
	place := ""
	if p := f.GetPosition(); p != nil {
		place = fmt.Sprintf("%s:%d:%d: ", p.GetFile(), p.GetLine(), p.GetColumn())
	}
	b.Line("%s%s: %s", place, paint(f.GetSeverity(), SeverityWord(f.GetSeverity())), f.GetTitle())
	for line := range strings.SplitSeq(f.GetDetail(), "\n") { // its own line ends are kept
		if strings.TrimSpace(line) != "" {
			b.Hang("    ", line)
		}
	}
	if clause := f.GetClause(); clause != "" {
		b.Hang("    ", "["+clause+"]")
	}
	return b.String()
}
