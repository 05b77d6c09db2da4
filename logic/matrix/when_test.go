package matrix

import (
	"strings"
	"testing"

	"loopdrill.dev/loopdrill/logic/term"
)

// TestCauseCycle: causes that name each other in a circle are refused where a row leans on them,
// and only there. The program has a finding of its own.
func TestCauseCycle(t *testing.T) {
	w := testWorld()
	w.Causes = []string{"egg", "hen", "alone"}
	when := func(text string) *term.Term {
		parsed, problems := term.Parse(text, w, term.Cause)
		if len(problems) > 0 {
			t.Fatalf("%s: %v", text, problems)
		}
		return parsed
	}
	names := testNames(t, testWorld())
	names.Causes = []Cause{
		{"egg", when("cause('hen') || device('B1-SD-01').fire")},
		{"hen", when("cause('egg') && panel.fire")},
		{"alone", when("device('B1-SD-01').fire")},
	}
	m, findings := Parse([]byte(goodHeader+"alone,,,alert,\nhen,,,alert,\nsmoke,cause('egg') || panel.fire,,alert,\n"), w, names)
	var places []string
	for _, f := range findings {
		if f.GetCode() == "matrix.cause-cycle" {
			places = append(places, f.GetPath()+" "+f.GetTitle())
		}
	}
	want := `R3C1 the cause "egg" depends on itself, R4C2 the cause "egg" depends on itself`
	if got := strings.Join(places, ", "); got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
	for i, resolved := range []bool{true, false, false} {
		if (m.Rows[i].When != nil) != resolved {
			t.Errorf("row %d: condition %v", m.Rows[i].Number, m.Rows[i].When)
		}
	}
}
