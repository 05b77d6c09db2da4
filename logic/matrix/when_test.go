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

// TestMovedByRuns: what a run itself changes and no signal says is refused, wherever it stands, also behind a cause of
// the program; what stays as at rest on a healthy installation is not.
func TestMovedByRuns(t *testing.T) {
	w := testWorld()
	w.Causes = []string{"follows"}
	follows, problems := term.Parse("output('HALL-FAN-RUN').commanded == 'on'", w, term.Cause)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	names := testNames(t, testWorld())
	names.Causes = []Cause{{"follows", follows}}
	for _, c := range []struct {
		when    string
		refused bool
	}{
		{"device('B1-SD-01').fire && !panel.silenced", true},
		{"device('B1-SD-01').fire && !(panel.buzzer || panel.test)", true},
		{"device('B1-SD-01').fire && output('HALL-FAN-RUN').commanded == 'off'", true},
		{"device('B1-SD-01').fire && !cause('follows')", true},
		{"device('B1-SD-01').fire && !panel.test && !panel.fault", false},
		{"device('B1-SD-01').fire && !panel.acknowledged", true},
	} {
		_, findings := Parse([]byte(goodHeader+"row,"+c.when+",,alert,\n"), w, names)
		refused := false
		for _, f := range findings {
			refused = refused || f.GetCode() == "matrix.not-a-signal"
		}
		if refused != c.refused {
			t.Errorf("%s: refused %v", c.when, refused)
		}
	}
}
