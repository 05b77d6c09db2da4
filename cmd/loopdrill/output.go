package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// format is the value of --output.
type format string

const (
	asText format = "text"
	asJSON format = "json"
)

// String, Set and Type make format a flag value.
func (f *format) String() string { return string(*f) }

// Set accepts the two formats.
func (f *format) Set(text string) error {
	switch format(text) {
	case asText, asJSON:
		*f = format(text)
		return nil
	}
	return fmt.Errorf("%q is no format: text or json", text)
}

// Type names the value in the help.
func (f *format) Type() string { return "text|json" }

// reporting are the flags of every command that reports.
type reporting struct {
	output format
	strict bool
}

// addTo adds --output and --strict to a command.
func (r *reporting) addTo(cmd *cobra.Command) {
	r.output = asText
	cmd.Flags().Var(&r.output, "output", "form of the result")
	if err := cmd.RegisterFlagCompletionFunc("output", cobra.FixedCompletions([]string{string(asText), string(asJSON)}, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err) // the flag is there
	}
	cmd.Flags().BoolVar(&r.strict, "strict", false, "count warnings as failures")
}

// verdict is what a command returns for its findings: errRefused if any refuses, errFailed for an
// error, and for a warning where strict.
func (r *reporting) verdict(findings []*pb.Finding) error {
	switch worst := finding.Worst(findings); {
	case worst == pb.Severity_SEVERITY_REFUSED:
		return errRefused
	case worst == pb.Severity_SEVERITY_ERROR, worst == pb.Severity_SEVERITY_WARNING && r.strict:
		return errFailed
	}
	return nil
}

// outcome is what a command returns for its report and its findings: context.Canceled where it was interrupted.
func (r *reporting) outcome(report interface {
	GetInterrupted() bool
	GetPassed() bool
}, findings []*pb.Finding) error {
	switch {
	case report.GetInterrupted():
		return context.Canceled
	case !report.GetPassed():
		return errFailed
	}
	return r.verdict(findings)
}

// findingJSON is a finding as JSON output prints it. Keys are stable.
type findingJSON struct {
	Code     string `json:"code"`
	Severity string `json:"severity"`
	Title    string `json:"title"`
	Detail   string `json:"detail,omitempty"`
	Clause   string `json:"clause,omitempty"`
	File     string `json:"file,omitempty"`
	Line     int32  `json:"line,omitempty"`
	Column   int32  `json:"column,omitempty"`
	Path     string `json:"path,omitempty"`
}

// findingsJSON converts findings; an empty list stays a list.
func findingsJSON(findings []*pb.Finding) []findingJSON {
	out := make([]findingJSON, 0, len(findings))
	for _, f := range findings {
		out = append(out, findingJSON{
			Code: f.GetCode(), Severity: site.SeverityWord(f.GetSeverity()), Title: f.GetTitle(), Detail: f.GetDetail(), Clause: f.GetClause(),
			File: f.GetPosition().GetFile(), Line: f.GetPosition().GetLine(), Column: f.GetPosition().GetColumn(), Path: f.GetPath(),
		})
	}
	return out
}

// countsJSON counts findings by severity.
type countsJSON struct {
	Refused  int `json:"refused"`
	Errors   int `json:"errors"`
	Warnings int `json:"warnings"`
	Notes    int `json:"notes"`
}

func countFindings(findings []*pb.Finding) countsJSON {
	var c countsJSON
	for _, f := range findings {
		switch f.GetSeverity() {
		case pb.Severity_SEVERITY_REFUSED:
			c.Refused++
		case pb.Severity_SEVERITY_ERROR:
			c.Errors++
		case pb.Severity_SEVERITY_WARNING:
			c.Warnings++
		case pb.Severity_SEVERITY_NOTE:
			c.Notes++
		}
	}
	return c
}

// String is the summary line of findings.
func (c countsJSON) String() string {
	if c == (countsJSON{}) {
		return "nothing found"
	}
	return fmt.Sprintf("found: %d refused, %s, %s, %s", c.Refused, count(c.Errors, "error"), count(c.Warnings, "warning"), count(c.Notes, "note"))
}

// count says "1 error", "2 errors".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// writeJSON prints v indented, without escaping what a terminal shows well.
func writeJSON(w io.Writer, v any) error {
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(v); err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	return nil
}

// writeFindings prints findings for people, in colour on a terminal unless the
// environment asks for none.
func writeFindings(w io.Writer, io stdio, findings []*pb.Finding) error {
	paint := site.Plain
	if io.Getenv("NO_COLOR") == "" && isTerminal(w) {
		paint = colour
	}
	return site.WriteText(w, findings, paint)
}

// colour paints a severity: red for what fails, yellow for warnings.
func colour(s pb.Severity, word string) string {
	switch s {
	case pb.Severity_SEVERITY_REFUSED, pb.Severity_SEVERITY_ERROR:
		return "\x1b[31m" + word + "\x1b[0m"
	case pb.Severity_SEVERITY_WARNING:
		return "\x1b[33m" + word + "\x1b[0m"
	}
	return word
}

// writeMessage prints a message as JSON: keys as in the schema, absent what is not set.
func writeMessage(w io.Writer, m proto.Message) error {
	text, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	var tidy bytes.Buffer // protojson varies its spaces on purpose
	if err := json.Indent(&tidy, text, "", "  "); err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	tidy.WriteByte('\n')
	_, err = w.Write(tidy.Bytes())
	return err
}
