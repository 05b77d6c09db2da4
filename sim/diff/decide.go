package diff

import (
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// group is a difference in what the program asks, the same on each of its outputs.
type group struct {
	outputs      []int32  // common, in file order
	gone, new    []line   // lines that only the old site has, and only the new one
	affected     function // where the states differ once all times are over, or a line has another condition
	sequence     bool     // the same for every combination that stands; only the way there can differ
	gap          *gap
	shown        *outcome
	stimulus     *stimulus // smallest; nil if none could be found
	runs         int
	old, changed string
	oldAt, newAt *pb.Position
	oneSided     bool // the outputs are on one side only
	also         []string
}

// decider knows both programs as functions.
type decider struct {
	p      *pairing
	f      *functions
	facts  []term.Fact
	sides  [2]*side
	steady [2][]map[term.State]function // by output: where a state is the strongest, times left out
	rest   map[term.Fact]bool
}

// decide reads both programs. Its error says that the conditions are too large.
func decide(p *pairing) (*decider, error) {
	d := &decider{p: p, rest: map[term.Fact]bool{}}
	all := map[term.Fact]bool{term.Is(term.PanelEvacuate, 0).Fact: true}
	var own, causes [2][]*term.Term
	var guards [2][][5]*term.Term
	for s := range p.built {
		own[s], causes[s], guards[s] = p.terms(s, all)
	}
	d.facts = sortedFacts(all)
	d.f = newFunctions(d.facts)
	for s := range p.built {
		d.sides[s] = p.readLines(d.f, s, causes[s], guards[s])
		d.sides[s].own = own[s]
		d.steady[s] = make([]map[term.State]function, len(d.sides[s].lines))
		for o, lines := range d.sides[s].lines {
			d.steady[s][o] = d.strongest(lines)
		}
	}
	return d, d.f.Err()
}

// strongest tells where each state is the strongest that the lines ask for, once all their times are over.
func (d *decider) strongest(lines []line) map[term.State]function {
	states := map[term.State]function{}
	above := never
	for state := term.Off; state > term.Rest; state-- {
		at := never
		for i := range lines {
			if lines[i].state == state && lines[i].lever == noLever {
				at = d.f.or(at, lines[i].when)
			}
		}
		states[state] = d.f.without(at, above)
		above = d.f.or(above, at)
	}
	return states
}

// groups finds what the programs ask differently.
func (d *decider) groups() []*group {
	var list []*group
	at := map[string]*group{}
	for o := range d.sides[0].lines {
		g := &group{gone: unlike(d.sides[0].lines[o], d.sides[1].lines[o]), new: unlike(d.sides[1].lines[o], d.sides[0].lines[o])}
		if len(g.gone)+len(g.new) == 0 {
			continue
		}
		_, was := d.p.outputs.side(0, int32(o))
		_, is := d.p.outputs.side(1, int32(o))
		g.oneSided = was != is
		key := fmt.Sprint(was, is, keyOf(g.gone), keyOf(g.new))
		if at[key] == nil {
			at[key] = g
			list = append(list, g)
		}
		at[key].outputs = append(at[key].outputs, int32(o))
	}
	for _, g := range list {
		d.describe(g)
	}
	return list
}

func keyOf(lines []line) string {
	var parts []string
	for i := range lines {
		parts = append(parts, fmt.Sprint(lines[i].timing, lines[i].when))
	}
	return strings.Join(parts, "|")
}

// describe works out where the lines of a group differ, and writes them down.
func (d *decider) describe(g *group) {
	o := g.outputs[0]
	g.sequence = true
	for s, lines := range [2][]line{g.gone, g.new} {
		for i := range lines {
			apart := d.apart(s, o, &lines[i])
			g.sequence = g.sequence && apart == never && alike(&lines[i], d.sides[1-s].lines[o])
		}
	}
	eventually := never
	for state := term.On; state <= term.Off; state++ {
		eventually = d.f.or(eventually, d.f.differ(d.steady[0][o][state], d.steady[1][o][state]))
	}
	g.affected = d.f.or(eventually, d.conditionsApart(g))
	var texts [2][]string
	for s, lines := range [2][]line{g.gone, g.new} {
		for i := range lines {
			texts[s] = append(texts[s], d.lineText(s, &lines[i]))
		}
	}
	if slices.Equal(texts[0], texts[1]) { // the causes' names say nothing
		for s, lines := range [2][]line{g.gone, g.new} {
			for i := range lines {
				texts[s][i] += d.conditions(s, &lines[i])
			}
		}
	}
	g.old, g.changed = strings.Join(texts[0], "; "), strings.Join(texts[1], "; ")
	g.oldAt, g.newAt = d.position(0, g.gone), d.position(1, g.new)
}

// conditionsApart is where the lines of a group differ in more than their times.
func (d *decider) conditionsApart(g *group) function {
	n := never
	for s, lines := range [2][]line{g.gone, g.new} {
		others := [2][]line{g.new, g.gone}[s]
		for i := range lines {
			if !slices.ContainsFunc(others, func(m line) bool { return m.when == lines[i].when && m.state == lines[i].state }) {
				n = d.f.or(n, d.apart(s, g.outputs[0], &lines[i]))
			}
		}
	}
	return n
}

// apart is where a line of one side has no line of its own timing on the other.
func (d *decider) apart(s int, o int32, l *line) function {
	other := never
	for i := range d.sides[1-s].lines[o] {
		if m := &d.sides[1-s].lines[o][i]; m.timing == l.timing {
			other = d.f.or(other, m.when)
		}
	}
	return d.f.without(l.when, other)
}

// alike reports whether any of the lines has the timing of l.
func alike(l *line, lines []line) bool {
	return slices.ContainsFunc(lines, func(m line) bool { return m.timing == l.timing })
}

func (d *decider) position(s int, lines []line) *pb.Position {
	for i := range lines {
		for _, o := range lines[i].from {
			return d.p.where(s, o.path)
		}
	}
	return nil
}
