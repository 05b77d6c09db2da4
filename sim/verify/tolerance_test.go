package verify

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// part is a stage of a cell, or an action, in seconds: from begin on, for a while or to the end.
type part struct {
	state               string
	begin, within, last int // last 0: to the end
}

var strength = map[string]int{"": 0, "alert": 1, "evacuate": 2, "off": 3}

// sounds is what an output does second by second, given parts that begin just then; of a cell each ends with the next.
func sounds(cells [][]part) (states [60]string) {
	for at := range states {
		best := ""
		for _, cell := range cells {
			for i, p := range cell {
				over := p.last > 0 && at >= p.begin+p.last || i+1 < len(cell) && at >= cell[i+1].begin
				if at >= p.begin && !over && strength[p.state] > strength[best] {
					best = p.state
				}
			}
		}
		if states[at] = best; best == "off" {
			states[at] = ""
		}
	}
	return states
}

// placeable reports whether the stages can begin somewhere in their tolerances so that the output does what was seen.
func placeable(cells [][]part, row, stage int, seen [60]string) bool {
	if row == len(cells) {
		return sounds(cells) == seen
	}
	if stage == len(cells[row]) {
		return placeable(cells, row+1, 0, seen)
	}
	p := &cells[row][stage]
	letter := p.begin
	defer func() { p.begin = letter }()
	for p.begin = max(letter-p.within, 0); p.begin <= letter+p.within; p.begin++ {
		if (stage == 0 || cells[row][stage-1].begin <= p.begin) && placeable(cells, row, stage+1, seen) {
			return true
		}
	}
	return false
}

// TestTolerances: what passes can be had by letting every stage begin somewhere in its tolerance, against all ways to
// do so; and of a single stage what can be had passes.
func TestTolerances(t *testing.T) {
	bench := readText(t, "testdata/bench.yaml")
	r := rand.New(rand.NewPCG(11, 11))
	passed, failed, lost := 0, 0, 0
	for range 1500 {
		var cells, does [][]part
		table := "cause,when,given,HALL-SOUNDER\n"
		actions := ""
		for row := range 1 + r.IntN(2) {
			var cell []part
			var words []string
			begin := 1 + r.IntN(8)
			for range 1 + r.IntN(2) {
				p := part{state: []string{"alert", "evacuate", "alert", "evacuate", "off"}[r.IntN(5)], begin: begin, within: r.IntN(4)}
				if r.IntN(3) == 0 {
					p.last = 1 + r.IntN(9)
				}
				word := fmt.Sprintf("%s after %ds", p.state, p.begin)
				if p.within > 0 {
					word += fmt.Sprintf(" +-%ds", p.within)
				}
				if p.last > 0 {
					word += fmt.Sprintf(" for %ds", p.last)
				}
				cell, words = append(cell, p), append(words, word)
				begin += 2 + r.IntN(8)
			}
			cells = append(cells, cell)
			table += fmt.Sprintf("r%d,device('HALL-CP').fire,,%s\n", row, strings.Join(words, " then "))
			for i, p := range cell {
				d := part{state: p.state, begin: max(p.begin+r.IntN(2*p.within+1)-p.within, 1), last: p.last}
				if i+1 < len(cell) && d.last == 0 && r.IntN(2) == 0 { // as a cell ends it, to the letter
					d.last = max(cell[i+1].begin-d.begin, 1)
				}
				switch r.IntN(8) {
				case 0:
					d.begin++
				case 1:
					d.last = r.IntN(10)
				}
				action := fmt.Sprintf("    - {causes: [c], effects: [s], state: \"%s\", after: %ds", d.state, d.begin)
				if d.last > 0 {
					action += fmt.Sprintf(", for: %ds", d.last)
				}
				if strings.Contains(actions, action+"}") {
					continue
				}
				actions += action + "}\n"
				does = append(does, []part{d})
			}
		}
		program := "program:\n  causes: [{cause: c, when: \"device('HALL-CP').fire\"}]\n  effects: [{effect: s, outputs: [HALL-SOUNDER]}]\n  actions:\n" + actions
		built := buildText(t, bench+program, table)
		report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
		can := placeable(cells, 0, 0, sounds(does))
		switch {
		case report.GetPassed() && !can:
			t.Errorf("passed, though no way to place the stages does it:\n%s%s", program, table)
		case !report.GetPassed() && can && len(cells) == 1 && len(cells[0]) == 1:
			t.Errorf("failed, though the stage is within its tolerance: %s\n%s%s", firstDifference(report), program, table)
		case report.GetPassed():
			passed++
		default:
			failed++
			if can {
				lost++
			}
		}
	}
	t.Logf("%d passed, %d failed, %d of them though some way exists", passed, failed, lost)
	if passed < 50 || failed < 50 {
		t.Errorf("%d passed and %d failed: too few of one kind to tell", passed, failed)
	}
}
