package verify

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// pulse is an output that is on for a while, in seconds; a cell lets it begin within some seconds either way.
type pulse struct{ begin, lasts, within int }

// shape is what pulses make an output do: on or not, second by second.
func shape(pulses []pulse) (on [60]bool) {
	for _, p := range pulses {
		for at := p.begin; at < p.begin+p.lasts; at++ {
			on[at] = true
		}
	}
	return on
}

// allowed reports whether pulses that begin anywhere in their tolerances can do what was seen: every combination
// is tried.
func allowed(cells, chosen []pulse, seen [60]bool) bool {
	if len(chosen) == len(cells) {
		return shape(chosen) == seen
	}
	c := cells[len(chosen)]
	for begin := c.begin - c.within; begin <= c.begin+c.within; begin++ {
		if allowed(cells, append(chosen, pulse{begin: begin, lasts: c.lasts}), seen) {
			return true
		}
	}
	return false
}

// TestPulsesInTolerance: the tolerance of a pulse is of its beginning; it lasts as long as it says, against every way to
// place the pulses that the cells ask for. One pulse is judged exactly; two may be refused though some way
// exists, since the course is that of the times to the letter, and never pass where none does.
func TestPulsesInTolerance(t *testing.T) {
	bench := readText(t, "testdata/bench.yaml")
	r := rand.New(rand.NewPCG(7, 7))
	passed, failed := 0, 0
	for range 1000 {
		var cells, does []pulse
		program := "program:\n  causes: [{cause: c, when: \"device('HALL-CP').fire\"}]\n  effects: [{effect: bell, outputs: [BELL]}]\n  actions:\n"
		table := "cause,when,given,BELL\n"
		for i := range 1 + r.IntN(2) {
			c := pulse{begin: 5 + r.IntN(12), lasts: 1 + r.IntN(8), within: r.IntN(5)}
			d := pulse{begin: c.begin + r.IntN(2*c.within+1) - c.within, lasts: c.lasts}
			switch r.IntN(4) {
			case 0:
				d.lasts = 1 + r.IntN(12)
			case 1:
				d.begin = max(1, d.begin+r.IntN(7)-3)
			}
			tolerance := ""
			if c.within > 0 {
				tolerance = fmt.Sprintf(" +-%ds", c.within)
			}
			table += fmt.Sprintf("r%d,device('HALL-CP').fire,,on after %ds%s for %ds\n", i, c.begin, tolerance, c.lasts)
			program += fmt.Sprintf("    - {causes: [c], effects: [bell], state: \"on\", after: %ds, for: %ds}\n", d.begin, d.lasts)
			cells, does = append(cells, c), append(does, d)
		}
		if len(does) == 2 && does[0] == does[1] {
			continue // the program refuses one action twice
		}
		built := buildText(t, bench+program, table)
		report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
		can := allowed(cells, nil, shape(does))
		switch {
		case report.GetPassed() && !can:
			t.Errorf("passed, though no way to place the pulses does it:\n%s%s", program, table)
		case !report.GetPassed() && can && len(cells) == 1:
			t.Errorf("failed, though the pulse is within its tolerance: %s\n%s%s", firstDifference(report), program, table)
		case report.GetPassed():
			passed++
		default:
			failed++
		}
	}
	if passed < 50 || failed < 50 {
		t.Errorf("%d passed and %d failed: too few of one kind to tell", passed, failed)
	}
}
