package diff

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// beyond is apart, but that a line of a one_of set may have its like in an effect that demands other things too.
func (d *decider) beyond(side int, output int32, l *line) function {
	other := never
	for i := range d.sides[1-side].lines[output] {
		m := d.sides[1-side].lines[output][i]
		if m.effect = l.effect; m.timing == l.timing {
			other = d.f.or(other, m.when)
		}
	}
	return d.f.without(l.when, other)
}

// rivals tells where a line is demanded together with another effect of its one_of set, of which that holds which came
// first; and together with another line of the same difference, where a second signal may ask again.
func (d *decider) rivals(g *group, side int, l *line) []function {
	var list []function
	enter := func(m *line) {
		if n := d.f.and(l.when, m.when); n != never && !slices.Contains(list, n) {
			list = append(list, n)
		}
	}
	if l.set >= 0 {
		for _, lines := range d.sides[side].lines {
			for i := range lines {
				if m := &lines[i]; m.set == l.set && m.effect != l.effect {
					enter(m)
				}
			}
		}
	}
	own := [2][]line{g.gone, g.new}[side]
	for i := range own {
		if own[i].when != l.when {
			enter(&own[i])
		}
	}
	return list
}

// retestRivals enters the outputs whose own lines are as they were, and that share a one_of set with one whose are not: what
// holds the set, and how long, is another function for them too.
func (c *comparison) retestRivals(out *pb.Retest) {
	told := map[int32]bool{}
	for _, g := range c.groups {
		for _, o := range g.outputs {
			told[o] = true
		}
	}
	for _, g := range c.groups {
		for _, l := range slices.Concat(g.gone, g.new) {
			if l.set < 0 {
				continue
			}
			for o, lines := range c.d.sides[1].lines {
				at := slices.IndexFunc(lines, func(m line) bool { return m.set == l.set && m.effect != l.effect })
				if at < 0 || told[int32(o)] {
					continue
				}
				told[int32(o)] = true
				f := &pb.RetestFunction{Subjects: []string{c.p.name(term.Fact{Kind: term.OutputState, Index: int32(o)})},
					Test: c.d.lineText(1, &lines[at]) + "; what it shares the set with differs"}
				if s := c.d.smallest(lines[at].when); s != nil {
					f.Operate = c.p.text(s)
				}
				out.Functions = append(out.Functions, f)
			}
		}
	}
}
