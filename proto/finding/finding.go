// Package finding makes the findings that every layer reports about a user's files.
//
// A finding carries the field path inside the file's message; the loader, which alone knows
// where each field stands, adds file, line and column. Package finding decides nothing: it
// holds no rules about sites.
package finding

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Refuse returns a finding that makes the file unusable (exit status 2). The code is dotted and
// in words, the path a field path such as `loops[0].devices[3].zone`, the title one line that
// says what is so, and the detail what would be right.
func Refuse(code, path, title, detail string) *pb.Finding {
	return &pb.Finding{Code: code, Severity: pb.Severity_SEVERITY_REFUSED, Path: path, Title: title, Detail: detail}
}

// Error returns a finding that counts as a failure of the run (exit status 1).
func Error(code, path, title, detail string) *pb.Finding {
	return &pb.Finding{Code: code, Severity: pb.Severity_SEVERITY_ERROR, Path: path, Title: title, Detail: detail}
}

// Warn returns a finding about something that is probably a mistake.
func Warn(code, path, title, detail string) *pb.Finding {
	return &pb.Finding{Code: code, Severity: pb.Severity_SEVERITY_WARNING, Path: path, Title: title, Detail: detail}
}

// NotYet refuses what the schema can say and the engine cannot simulate yet.
func NotYet(path, what string) *pb.Finding {
	return Refuse("not-simulated-yet", path, what+" is not simulated yet",
		"take it out of the file for now: the bench refuses what it would otherwise have to ignore")
}

// Dangling refuses a reference to a name that does not exist, and offers the nearest one.
func Dangling(path, what, name string, known []string) *pb.Finding {
	detail := "no " + what + " is defined in this file"
	if near, ok := Nearest(name, known); ok {
		detail = fmt.Sprintf("did you mean %q?", near)
	} else if len(known) > 0 {
		detail = "known: " + Sample(known, 8)
	}
	return Refuse("reference.unknown", path, fmt.Sprintf("there is no %s %q", what, name), detail)
}

// Nearest returns the known name closest to name by edit distance, if one is close enough to be
// a slip of the hand: at most a third of the name's characters, and never more than three.
// Between equals the first in the order of known wins.
func Nearest(name string, known []string) (string, bool) {
	limit := min(3, max(1, len([]rune(name))/3))
	best, found := "", false
	for _, candidate := range known {
		distance := levenshtein.ComputeDistance(strings.ToLower(name), strings.ToLower(candidate))
		if distance <= limit && (!found || distance < levenshtein.ComputeDistance(strings.ToLower(name), strings.ToLower(best))) {
			best, found = candidate, true
		}
	}
	return best, found
}

// Sample lists at most n names, and says how many more there are.
func Sample(names []string, n int) string {
	if len(names) <= n {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:n], ", "), len(names)-n)
}

// Sort orders findings by file, line, column, code, path: the order in which they are printed.
func Sort(findings []*pb.Finding) {
	slices.SortStableFunc(findings, func(a, b *pb.Finding) int {
		return cmp.Or(
			cmp.Compare(a.GetPosition().GetFile(), b.GetPosition().GetFile()),
			cmp.Compare(a.GetPosition().GetLine(), b.GetPosition().GetLine()),
			cmp.Compare(a.GetPosition().GetColumn(), b.GetPosition().GetColumn()),
			cmp.Compare(a.GetCode(), b.GetCode()),
			cmp.Compare(a.GetPath(), b.GetPath()),
		)
	})
}

// Worst returns the highest severity among findings, or SEVERITY_UNSPECIFIED for none.
func Worst(findings []*pb.Finding) pb.Severity {
	worst := pb.Severity_SEVERITY_UNSPECIFIED
	for _, f := range findings {
		worst = max(worst, f.GetSeverity())
	}
	return worst
}
