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

// Dangling refuses a reference to a name that does not exist, and offers the nearest one. What it names is
// one word, `zone`, or one thing of another, `input of lift-a`.
func Dangling(path, what, name string, known []string) *pb.Finding {
	detail := "no " + what + " is defined in this file"
	if near, ok := Nearest(name, known); ok {
		detail = fmt.Sprintf("did you mean %q?", near)
	} else if len(known) > 0 {
		detail = "known: " + Sample(known, 8)
	}
	title := fmt.Sprintf("there is no %s %q", what, name)
	if part, owner, ok := strings.Cut(what, " of "); ok {
		title = fmt.Sprintf("%s has no %s %q", owner, part, name)
	}
	return Refuse("reference.unknown", path, title, detail)
}

// Nearest returns the known name closest to name by edit distance, if one is close enough to be
// a slip of the hand: at most a third of the name's characters (one in a name of two), and never
// more than three. Two neighbouring letters swapped count as one slip; case is ignored. Between
// equals the first in the order of known wins.
func Nearest(name string, known []string) (string, bool) {
	typed := []rune(strings.ToLower(name))
	least := min(3, max(min(1, len(typed)-1), len(typed)/3)) + 1
	best, found := "", false
	for _, candidate := range known {
		if d := slips([]rune(strings.ToLower(candidate)), typed, least); d < least {
			best, found, least = candidate, true, d
		}
	}
	return best, found
}

// slips counts the letters to insert, drop, replace or swap with their neighbour to make a from
// b (optimal string alignment: no letter is touched twice). Names whose lengths differ by enough
// or more are not compared, so that a hostile name costs nothing: the result is then enough.
func slips(a, b []rune, enough int) int {
	if len(a)-len(b) >= enough || len(b)-len(a) >= enough {
		return enough
	}
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := last[j-1]
			if a[i-1] != b[j-1] {
				change++
			}
			row[j] = min(last[j]+1, row[j-1]+1, change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
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
