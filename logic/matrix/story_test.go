package matrix

import (
	"fmt"
	"strings"
	"testing"

	"github.com/cockroachdb/datadriven"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestStories runs the story files: `parse` prints what was understood and what was found,
// `ways` the ways of each row. In their text ^ stands for a tab, $ for the end of a line with
// blanks in front of it, and @ for a byte that is not UTF-8.
func TestStories(t *testing.T) {
	datadriven.Walk(t, "testdata/stories", func(t *testing.T, path string) {
		datadriven.RunTest(t, path, func(t *testing.T, d *datadriven.TestData) string {
			w := testWorld()
			text := strings.NewReplacer("^", "\t", "$", "", "@", "\xff").Replace(d.Input)
			m, findings := Parse([]byte(text), w, testNames(t, w))
			var out strings.Builder
			writeFindings(&out, findings)
			switch d.Cmd {
			case "parse":
				writeMatrix(&out, m, w)
			case "ways":
				for i := range m.Rows {
					writeWays(&out, m, i, w)
				}
			default:
				d.Fatalf(t, "unknown command %q", d.Cmd)
			}
			return out.String()
		})
	})
}

func writeFindings(out *strings.Builder, findings []*pb.Finding) {
	for _, f := range findings {
		severity := strings.ToLower(strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_"))
		fmt.Fprintf(out, "%d:%d %s %s %s: %s\n    %s\n", f.GetPosition().GetLine(), f.GetPosition().GetColumn(), f.GetPath(), severity, f.GetCode(), f.GetTitle(), f.GetDetail())
	}
}

func writeMatrix(out *strings.Builder, m *Matrix, w *term.World) {
	for i, c := range m.Columns {
		fmt.Fprintf(out, "column %d %s:", i, c.Name)
		for _, o := range c.Outputs {
			fmt.Fprintf(out, " %s", w.Outputs[o].Label)
		}
		out.WriteString("\n")
	}
	for i := range m.Rows {
		row := &m.Rows[i]
		fmt.Fprintf(out, "row %d %s", row.Number, row.Cause)
		for _, s := range row.Given {
			fmt.Fprintf(out, " given %+v", s)
		}
		if row.When == nil {
			out.WriteString(" without a condition")
		}
		out.WriteString("\n")
		for _, cell := range row.Cells {
			fmt.Fprintf(out, "  %s: %s\n", m.Columns[cell.Column].Name, cell.String())
		}
	}
}
