package verify

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/page"
)

// A matrix of any width fits the page: each cell of each row stands there once, under the number of its column.
func TestGridOfManyColumns(t *testing.T) {
	for _, columns := range []int{1, 9, 10, 41, 99, 100, 123} {
		report := &pb.VerifyReport{}
		for i := range columns {
			report.Columns = append(report.Columns, fmt.Sprintf("output-%d", i+1))
		}
		want := map[string]string{}
		for k, name := range []string{strings.Repeat("long ", 9), "kitchen"} {
			line := int32(k) + 2 //nolint:gosec // two rows
			report.Rows = append(report.Rows, &pb.RowVerdict{Cause: name, Position: &pb.Position{Line: line}})
			for i, column := range report.GetColumns() {
				verdict := verdict((i*i + k) % int(crashed)) //nolint:gosec // those before it
				report.Cells = append(report.Cells, &pb.CellVerdict{Cause: name, Column: column, Verdict: verdict.String(), Position: &pb.Position{Line: line}})
				want[name[:4]] += string(marks[verdict.String()])
			}
		}
		var out bytes.Buffer
		if err := WriteText(&out, report); err != nil {
			t.Fatal(err)
		}
		got, numbers := map[string]string{}, []string{}
		var above []string // lines of digits since the last blank one
		for line := range strings.Lines(out.String()) {
			line = strings.TrimSuffix(line, "\n")
			if len(line) > page.Width {
				t.Errorf("%d columns: a line of %d: %q", columns, len(line), line)
			}
			cut := strings.LastIndex(line, "  ") + 2
			switch {
			case line == "":
				above = nil
			case strings.HasPrefix(line, "row "):
				for i := cut; i < len(line); i++ {
					number := ""
					for _, digits := range append(above, line) {
						number += strings.TrimSpace(digits[i : i+1])
					}
					numbers = append(numbers, number)
				}
			case strings.HasPrefix(line, "long ") || strings.HasPrefix(line, "kitchen "):
				got[line[:4]] += line[cut:]
			default:
				above = append(above, line+strings.Repeat(" ", page.Width))
			}
		}
		for name := range want {
			if got[name] != want[name] {
				t.Errorf("%d columns, row %s:\n%s\nwant\n%s", columns, name, got[name], want[name])
			}
		}
		for i := range columns {
			if i >= len(numbers) || numbers[i] != strconv.Itoa(i+1) {
				t.Errorf("%d columns are numbered %v", columns, numbers)
				break
			}
		}
	}
}
