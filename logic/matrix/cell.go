package matrix

import (
	"fmt"
	"regexp"
	"strings"
	"time"
	"unicode"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// flaw is something wrong inside one cell, at an offset in characters of its text.
type flaw struct {
	offset              int
	code, title, detail string
}

type word struct {
	text   string
	offset int // in characters
}

var (
	cellStates = []term.State{term.On, term.Off, term.Alert, term.Evacuate}
	stateWords = []string{"on", "off", "alert", "evacuate", "any"}
	stageWords = []string{"after", "for", "hold", "within", "silenceable", "until", "first", "then"}
	idPattern  = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?$`)
)

const grammar = "a cell reads: STATE [after D [+-D]] [for D] [hold D [+-D]] [within D] [silenceable] [until reset] [first of NAME], several joined by `then`; or `any`; or nothing"

// parseCell reads one cell that is not blank. With flaws the cell is as far as it could be read.
// stages holds the offset of each stage's state word, for flaws that only the column can show.
func parseCell(text string) (cell Cell, stages []int, flaws []flaw) {
	p := cellParser{words: cutWords(text)}
	if p.words[0].text == "any" {
		if len(p.words) > 1 {
			p.flaw(p.words[1], "matrix.cell", "nothing may follow `any`", "`any` means that the cell is not judged; drop the rest, or write the state that is required")
		}
		return Cell{Any: true}, nil, p.flaws
	}
	for {
		p.stage()
		if p.next >= len(p.words) {
			break
		}
		p.next++ // `then`: a stage ends nowhere else
	}
	p.checkOrder()
	return p.cell, p.offsets, p.flaws
}

// cutWords splits at white space, and before a tolerance sign, so that `60s+-5s` is two words.
func cutWords(text string) []word {
	var words []word
	offset, open := 0, false
	runes := []rune(text)
	for ; offset < len(runes); offset++ {
		r := runes[offset]
		sign := r == '±' || r == '+' && offset+1 < len(runes) && runes[offset+1] == '-'
		switch {
		case unicode.IsSpace(r):
			open = false
			continue
		case !open || sign:
			words = append(words, word{offset: offset})
			open = true
		}
		words[len(words)-1].text += string(r)
	}
	return words
}

type cellParser struct {
	words   []word
	next    int
	cell    Cell
	offsets []int
	flaws   []flaw
	bad     bool // some stage could not be read in full: comparing stages would mislead
}

func (p *cellParser) flaw(at word, code, title, detail string) {
	p.flaws = append(p.flaws, flaw{at.offset, code, title, detail})
	p.bad = true
}

// stage reads one stage, up to the next `then` or the end.
func (p *cellParser) stage() {
	if p.next >= len(p.words) || p.words[p.next].text == "then" {
		p.flaw(p.words[min(p.next, len(p.words)-1)], "matrix.cell", "`then` joins two stages, and one is missing here", grammar)
		return
	}
	first := p.words[p.next]
	p.next++
	var s Stage
	known := false
	for _, state := range cellStates {
		if state.String() == first.text {
			s.State, known = state, true
		}
	}
	if !known {
		detail := near(first.text, stateWords)
		if first.text == term.Release.String() {
			detail = "write `on`: a released output is demanded like any other"
		}
		p.flaw(first, "matrix.state", fmt.Sprintf("%q is not a state", first.text), detail)
	}
	seen := make(map[string]bool, 4)
	for p.next < len(p.words) && p.words[p.next].text != "then" {
		w := p.words[p.next]
		p.next++
		if seen[w.text] {
			p.flaw(w, "matrix.word-twice", fmt.Sprintf("%q stands twice in one stage", w.text), "each word may stand once; join two stages by `then`")
		}
		seen[w.text] = true
		p.term(&s, w)
	}
	p.checkStage(&s, first)
	if known {
		p.cell.Stages = append(p.cell.Stages, s)
		p.offsets = append(p.offsets, first.offset)
	}
}

// term reads what follows the word w of a stage.
func (p *cellParser) term(s *Stage, w word) {
	switch w.text {
	case "after":
		s.After = p.duration(w, false)
		p.tolerance(&s.Tolerance)
	case "for":
		s.For = p.duration(w, true)
	case "hold":
		s.Hold = p.duration(w, true)
		p.tolerance(&s.HoldTolerance)
	case "within":
		s.Within = p.duration(w, true)
	case "silenceable":
		s.Silenceable = true
	case "until":
		p.expect(w, "reset")
		s.UntilReset = true
	case "first":
		p.expect(w, "of")
		p.firstOf(w)
	default:
		detail := grammar
		if strings.HasPrefix(w.text, "+-") || strings.HasPrefix(w.text, "±") {
			detail = "a tolerance stands behind the duration of `after` or `hold`: after 60s +-5s"
		} else if name, ok := finding.Nearest(w.text, stageWords); ok {
			detail = fmt.Sprintf("did you mean %q?", name)
		}
		p.flaw(w, "matrix.word", fmt.Sprintf("%q is not a word of a cell", w.text), detail)
	}
}

// take returns the next word of this stage.
func (p *cellParser) take() (word, bool) {
	if p.next >= len(p.words) || p.words[p.next].text == "then" {
		return word{}, false
	}
	p.next++
	return p.words[p.next-1], true
}

func (p *cellParser) expect(after word, text string) {
	if w, ok := p.take(); !ok {
		p.flaw(after, "matrix.cell", fmt.Sprintf("%q lacks the word %q", after.text, text), grammar)
	} else if w.text != text {
		p.flaw(w, "matrix.cell", fmt.Sprintf("%q is followed by %q, not by %q", after.text, text, w.text), grammar)
	}
}

func (p *cellParser) duration(after word, positive bool) time.Duration {
	w, ok := p.take()
	if !ok {
		p.flaw(after, "matrix.duration", fmt.Sprintf("%q lacks a duration", after.text), "write it as 90s, 1m30s or 250ms")
		return 0
	}
	return p.measure(w, w.text, positive)
}

func (p *cellParser) measure(at word, text string, positive bool) time.Duration {
	d, err := parseDuration(text)
	switch {
	case err != nil:
		p.flaw(at, "matrix.duration", err.Error(), "write it as 90s, 1m30s or 250ms; at most 24 h")
	case positive && d == 0:
		p.flaw(at, "matrix.duration", "a duration of nothing", "leave the word out, or write the time that is required")
	}
	return d
}

// tolerance reads `+-D`, `+- D` or the same with the sign ± behind the duration of `after` or
// `hold`, if it stands there.
func (p *cellParser) tolerance(to *time.Duration) {
	if p.next >= len(p.words) {
		return
	}
	w := p.words[p.next]
	text, ok := strings.CutPrefix(w.text, "+-")
	if !ok {
		text, ok = strings.CutPrefix(w.text, "±")
	}
	if !ok {
		return
	}
	p.next++
	if text == "" {
		*to = p.duration(w, true)
		return
	}
	*to = p.measure(w, text, true)
}

func (p *cellParser) firstOf(after word) {
	w, ok := p.take()
	switch {
	case !ok:
		p.flaw(after, "matrix.cell", "`first of` lacks a name", "name the set of cells of which only the first true row demands, such as `first of lift-a-landing`")
	case !idPattern.MatchString(w.text):
		p.flaw(w, "matrix.name", fmt.Sprintf("%q cannot be a name", w.text), "names are lower-case letters, digits and hyphens, at most 40")
	case p.cell.FirstOf != "":
		p.flaw(w, "matrix.word-twice", "`first of` stands twice in one cell", "it holds for the whole cell: write it once")
	default:
		p.cell.FirstOf = w.text
	}
}

// checkStage refuses words that contradict each other.
func (p *cellParser) checkStage(s *Stage, at word) {
	if s.For > 0 && s.UntilReset {
		p.flaw(at, "matrix.contradiction", "a stage cannot end by itself and last until reset", "keep either `for` or `until reset`")
	}
	if s.Hold > 0 && s.UntilReset {
		p.flaw(at, "matrix.contradiction", "a stage cannot be held for a time and last until reset", "keep either `hold` or `until reset`")
	}
	if s.Hold > 0 && s.For > 0 {
		p.flaw(at, "matrix.contradiction", "a stage cannot end by itself and be held beyond its row", "keep either `for`, which lasts that long whatever the row does, or `hold`, which counts from the end of the row")
	}
	if s.State == term.Off && s.Silenceable {
		p.flaw(at, "matrix.contradiction", "`off` cannot be silenceable", "an output that is off makes no sound; drop the word")
	}
}

// checkOrder demands that stages begin one after another. A stage without `after` would begin at
// the decision, with the first one; what people mean by it is 'when the one before has ended'.
func (p *cellParser) checkOrder() {
	if p.bad {
		return
	}
	for i := 1; i < len(p.cell.Stages); i++ {
		before, s := &p.cell.Stages[i-1], &p.cell.Stages[i]
		if s.After > before.After {
			continue
		}
		detail := "each `after` counts from the decision: stages begin in the order written"
		if before.For > 0 {
			detail += fmt.Sprintf("; to follow the end of the stage before it, write `after %s`", durationWord(before.After+before.For))
		}
		p.flaw(word{offset: p.offsets[i]}, "matrix.stage-order", "this stage does not begin later than the one before it", detail)
	}
}

func near(name string, known []string) string {
	if best, ok := finding.Nearest(name, known); ok {
		return fmt.Sprintf("did you mean %q?", best)
	}
	if len(known) == 0 {
		return "there are none"
	}
	return "known: " + finding.Sample(known, 8)
}
