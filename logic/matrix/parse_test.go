package matrix

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

const goodHeader = "cause,when,given,hall-sounders,1/10\n"

func TestByteOrderMarkAndLineEnds(t *testing.T) {
	w := testWorld()
	for _, text := range []string{
		goodHeader + "a,panel.fire,,alert,onn\n",
		"\ufeff" + goodHeader + "a,panel.fire,,alert,onn",
		strings.ReplaceAll(goodHeader+"a,panel.fire,,alert,onn\n", "\n", "\r\n"),
	} {
		m, findings := Parse([]byte(text), w, testNames(t, w))
		if len(m.Rows) != 1 || len(findings) != 1 || findings[0].GetPosition().GetLine() != 2 || findings[0].GetPosition().GetColumn() != 21 || findings[0].GetPath() != "R2C5" {
			t.Errorf("%q: %d rows, %v", text, len(m.Rows), findings)
		}
	}
	_, findings := Parse([]byte(strings.ReplaceAll(goodHeader+"a,panel.fire,,alert,on\n", "\n", "\r")), w, testNames(t, w))
	if len(findings) != 1 || findings[0].GetCode() != "matrix.line-end" {
		t.Errorf("carriage returns alone: %v", findings)
	}
}

// Positions must point at the word in the file, whatever the quoting around it.
func TestPositionsInsideQuotedFields(t *testing.T) {
	w := testWorld()
	text := goodHeader +
		"\"two \"\"lines\"\"\r\n, and a comma\",\"  place('hall').fire &&\n place('hal').fire\",,\"alert \"\"x\"\"\",\" süd\"\n"
	_, findings := Parse([]byte(text), w, testNames(t, w))
	lines := strings.Split(text, "\n")
	var got []string
	for _, f := range findings {
		line := []rune(lines[f.GetPosition().GetLine()-1])
		got = append(got, f.GetCode()+" "+string(line[f.GetPosition().GetColumn()-1:][:3]))
	}
	want := "[condition.unknown 'ha matrix.word \"\"x matrix.state süd]"
	if fmt.Sprint(got) != want {
		t.Errorf("findings at %v, want %s", got, want)
	}
}

func TestLimits(t *testing.T) {
	w := testWorld()
	rows := func(n int, row string) string { return goodHeader + strings.Repeat(row+"\n", n) }
	for _, c := range []struct{ name, text, title string }{
		{"rows", rows(MaxRows+1, "a,device('1/1').fire,,,"), "the matrix has more than 10000 rows"},
		{"columns", "cause,when,given" + strings.Repeat(",x", MaxColumns) + "\n", ""},
		{"cell", rows(1, "a,panel.fire"+strings.Repeat(" ", 5)+strings.Repeat("x", MaxCell)+",,,"), "the cell has 10015 characters, the limit is 10000"},
		{"bytes", strings.Repeat("x", MaxBytes+1), "the file has 16777217 bytes, the limit is 16777216"},
		{"findings", rows(1500, "a,panel.fire,,loud,"), "the rest of the file was not read after 1000 problems"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, findings := Parse([]byte(c.text), w, testNames(t, w))
			if finding.Worst(findings) != pb.Severity_SEVERITY_REFUSED {
				t.Fatalf("not refused: %v", findings)
			}
			for _, f := range findings {
				if f.GetTitle() == c.title || c.title == "" {
					return
				}
			}
			t.Errorf("no finding %q; first of %d: %v", c.title, len(findings), findings[0])
		})
	}
}

func FuzzParse(f *testing.F) {
	for _, text := range []string{
		goodHeader + "hall,place('hall').fire,mode=night; control=fan-override,alert then evacuate after 300s,on within 8s first of x\n",
		"\ufeffcause;when;given;hall-sounders\n\n;;;\nany-fire;;;alert\n", "cause\twhen\tgiven\tmixed\r\nx\tpanel.fire\tdisabled=1/3\toff\r\n",
		goodHeader + "\"a \"\"b\"\"\n\",\"panel.fire\n&& zone('hall').fire\",,any,\n", "\"", "cause,when,given,1/9,1/9,,\n,,,,,,x\n", "a\rb", "\xff", goodHeader + "x,panel.fire,,\v,\u00a0\n",
		goodHeader + "x,cause('twice') || !panel.fire,mode=day;mode=day,evacuate,off\n",
	} {
		f.Add([]byte(text))
	}
	w := testWorld()
	names := testNames(f, w)
	f.Fuzz(func(t *testing.T, data []byte) {
		m, findings := Parse(data, w, names)
		lines := bytes.Count(data, []byte("\n")) + 1
		for _, f := range findings {
			if f.GetCode() == "matrix.limit" && f.GetPosition() == nil {
				continue
			}
			at := f.GetPosition()
			if at.GetLine() < 1 || int(at.GetLine()) > lines || at.GetColumn() < 1 || f.GetCode() == "" || f.GetTitle() == "" || f.GetDetail() == "" {
				t.Fatalf("finding without a place or words: %v", f)
			}
		}
		if finding.Worst(findings) >= pb.Severity_SEVERITY_REFUSED {
			return
		}
		var truths []Truth
		for i := range m.Rows {
			row := &m.Rows[i]
			if row.When == nil || row.Cause == "" || i > 0 && row.Number <= m.Rows[i-1].Number {
				t.Fatalf("row accepted as it is: %+v", row)
			}
			for c := range row.Cells {
				checkRoundTrip(t, row.Cells[c])
			}
			if _, bad := m.Ways(i, w, nil); bad != nil && bad.GetDetail() == "" {
				t.Fatalf("finding without a remedy: %v", bad)
			}
			truths = append(truths, from(i, 1, 200, 300))
		}
		if courses := m.Courses(truths); len(courses) != len(m.Outputs) {
			t.Fatalf("%d courses for %d outputs", len(courses), len(m.Outputs))
		}
	})
}
