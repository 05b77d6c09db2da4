package matrix

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
)

// when resolves the condition of a row: its own text, or the program's cause of the row's name.
func (p *parser) when(rec *record, row *Row) {
	at := p.layout.key[1]
	row.Text = p.text(rec, at)
	if row.Text == "" {
		p.whenOfProgram(rec, row)
		return
	}
	parsed, problems := p.reader.Parse(row.Text, term.Matrix)
	for _, problem := range problems {
		p.refuse(rec, at, problem.Offset, problem.Code, problem.Title, problem.Detail)
	}
	if parsed == nil {
		return
	}
	if offset, ok := callOf(row.Text, "zone"); ok {
		p.warn(rec, at, offset, "matrix.zone", "the row is written over a zone",
			"it would prove the program with the program's own table: a device in the wrong zone passes; write it over place(..), group(..) or device(..)")
	}
	if offset, ok := callOf(row.Text, "cause"); ok {
		p.warn(rec, at, offset, "matrix.own-cause", "the row is written over a cause of the program",
			"it would prove the program with itself; write the condition out over place(..), group(..) or device(..)")
	}
	row.When = p.withoutCauses(rec, at, parsed)
}

func (p *parser) whenOfProgram(rec *record, row *Row) {
	at := max(p.layout.key[0], 0)
	for i := range p.names.Causes {
		cause := &p.names.Causes[i]
		if cause.ID != row.Cause {
			continue
		}
		row.FromProgram = true
		p.warn(rec, at, 0, "matrix.own-cause", "the row takes its condition from the program",
			"it would prove the program with itself; write the condition in the column `when` over place(..), group(..) or device(..)")
		if cause.When != nil { // else the program's own finding says why
			row.When = p.withoutCauses(rec, at, cause.When)
		}
		return
	}
	ids := make([]string, len(p.names.Causes))
	for i := range p.names.Causes {
		ids[i] = p.names.Causes[i].ID
	}
	p.refuse(rec, at, 0, "matrix.when-missing", fmt.Sprintf("the row has no condition, and the program no cause %q", row.Cause),
		"write the condition in the column `when`, or name a cause of the program; "+near(row.Cause, ids))
}

// withoutCauses puts the condition of each cause in the place of its name, so that device
// signals are all that a row depends on. It returns nil where that is impossible.
func (p *parser) withoutCauses(rec *record, field int, t *term.Term) *term.Term {
	s := substitution{causes: p.names.Causes, done: make(map[*term.Term]*term.Term), open: make([]bool, len(p.names.Causes))}
	resolved := s.resolve(t)
	if s.circular != "" {
		p.refuse(rec, field, 0, "matrix.cause-cycle", fmt.Sprintf("the cause %q depends on itself", s.circular), "causes may name other causes, but not in a circle")
	}
	if s.failed || s.circular != "" {
		return nil
	}
	if word, ok := movedByRuns(resolved); ok {
		p.refuse(rec, field, 0, "matrix.not-a-signal", "a row cannot hang on "+word,
			"a run changes that, and whether a row is true is worked out from what devices signal and `given` sets: write it over the signals, such as those of the input that proves it")
		return nil
	}
	return resolved
}

// movedByRuns finds what is neither a signal nor a setting, and yet not as at rest throughout a run: a row over it
// would be judged as if it never changed.
func movedByRuns(t *term.Term) (word string, ok bool) {
	t.Each(func(f term.Fact) {
		switch f.Kind {
		case term.OutputCommanded:
			word, ok = "what an output is commanded", true
		case term.EquipmentProven:
			word, ok = "whether equipment has proven itself", true
		case term.PanelBuzzer:
			word, ok = "the buzzer", true
		case term.PanelAcknowledged:
			word, ok = "whether somebody has acknowledged", true
		case term.PanelSilenced:
			word, ok = "whether sounders are silenced", true
		case term.ZoneConfirmed:
			word, ok = "how the program confirms a zone", true
		}
	})
	return word, ok
}

// substitution replaces CauseTrue facts. Terms are shared, so each is resolved once.
type substitution struct {
	causes   []Cause
	done     map[*term.Term]*term.Term
	open     []bool // causes being resolved
	circular string
	failed   bool // a cause did not compile: the program's own finding says why
}

func (s *substitution) resolve(t *term.Term) *term.Term {
	if resolved, ok := s.done[t]; ok {
		return resolved
	}
	resolved := t
	switch {
	case t.Op == term.Leaf && t.Fact.Kind == term.CauseTrue:
		resolved = s.cause(int(t.Fact.Index))
	case len(t.Args) > 0:
		args := make([]*term.Term, len(t.Args))
		changed := false
		for i, arg := range t.Args {
			args[i] = s.resolve(arg)
			changed = changed || args[i] != arg
		}
		if changed {
			resolved = &term.Term{Op: t.Op, N: t.N, Args: args}
		}
	}
	s.done[t] = resolved
	return resolved
}

func (s *substitution) cause(i int) *term.Term {
	switch {
	case s.open[i]:
		s.circular = s.causes[i].ID
		return term.False()
	case s.causes[i].When == nil:
		s.failed = true
		return term.False()
	}
	s.open[i] = true
	defer func() { s.open[i] = false }()
	return s.resolve(s.causes[i].When)
}

// callOf finds the first call of a name in a condition that parses: the name as a whole word,
// outside quotes, followed by a parenthesis. The offset counts characters.
func callOf(text, name string) (offset int, ok bool) {
	runes := []rune(text)
	quote := rune(0)
	for i := 0; i < len(runes); i++ {
		switch r := runes[i]; {
		case quote != 0 && r == '\\':
			i++
		case quote != 0:
			if r == quote {
				quote = 0
			}
		case r == '\'' || r == '"':
			quote = r
		case wordRune(r):
			start := i
			for i+1 < len(runes) && wordRune(runes[i+1]) {
				i++
			}
			after := strings.TrimLeft(string(runes[i+1:]), " \t\r\n")
			if string(runes[start:i+1]) == name && strings.HasPrefix(after, "(") {
				return start, true
			}
		}
	}
	return 0, false
}

func wordRune(r rune) bool {
	return r == '_' || r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9'
}
