package diff

import (
	"cmp"
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
)

// resting learns how each fact stands on a settled panel.
func (d *decider) resting(r *runner) error {
	for _, f := range d.facts {
		for s := range d.p.built {
			own, ok := d.p.sideFact(s, f)
			if !ok {
				continue
			}
			base, err := r.base(s, nil, nil)
			if err != nil {
				return err
			}
			d.rest[f] = base.Fact(own)
			break
		}
	}
	return nil
}

func (d *decider) isAtRest(f term.Fact) bool { return d.rest[f] }

// cost is what a fact takes.
func (d *decider) cost(f term.Fact, on bool) int64 {
	if on == d.rest[f] {
		return 0
	}
	if d.p.indexed(f.Kind) == &d.p.points {
		if pt := d.point(f.Index); pt != nil && f.Kind == term.DeviceActive {
			if pt.ProvesEquipment >= 0 {
				return costFollows
			}
			return costOf(f, pt.Input.Fire())
		}
	}
	return costOf(f, false)
}

// turning are the facts whose coming true can make a difference: those that only hide one are left out, unless
// the difference is there at rest, which a signal then ends.
func (d *decider) turning(n function) []term.Fact {
	if d.f.Eval(n, d.isAtRest) {
		return d.f.Support(n)
	}
	return d.f.Raises(n)
}

// point is a common point as one of the sites has it, the old one first.
func (d *decider) point(common int32) *loop.Point {
	for s, b := range d.p.built {
		if i, ok := d.p.points.side(s, common); ok {
			return &b.Installation.Points[i]
		}
	}
	return nil
}

// smallest is the smallest stimulus that makes a function true; nil where nothing does.
func (d *decider) smallest(n function) *stimulus {
	settings, ok := d.f.Cheapest(n, d.cost)
	if !ok {
		return nil
	}
	s := &stimulus{again: -1}
	d.follow(s, settings, 0)
	return s
}

// followDepth bounds how far the signals behind facts that follow from others are looked for.
const followDepth = 4

// follow puts settings into a stimulus; for those that follow from others, what makes them follow: an output
// is commanded, equipment has been driven and proves.
func (d *decider) follow(s *stimulus, settings []bdd.Setting, depth int) {
	for _, set := range settings {
		if depth >= followDepth || set.On == d.rest[set.Fact] {
			continue
		}
		var outputs []int32
		state := term.On
		switch f := set.Fact; {
		case f.Kind == term.OutputCommanded && set.On:
			outputs, state = []int32{f.Index}, term.State(f.Value)
		case f.Kind == term.EquipmentProven:
			outputs = d.p.drivers(f.Index)
		case f.Kind == term.DeviceActive:
			if pt := d.point(f.Index); pt != nil && pt.ProvesEquipment >= 0 {
				outputs = d.p.drivers(d.provedBy(f.Index))
			}
		}
		for _, o := range outputs {
			for side := range d.sides {
				if n := d.steady[side][o][state]; n != never {
					if more, ok := d.f.Cheapest(n, d.cost); ok {
						d.follow(s, more, depth+1)
						break
					}
				}
			}
		}
		if len(outputs) > 0 && set.Fact.Kind == term.DeviceActive {
			continue // the equipment moves it
		}
		s.add([]bdd.Setting{set}, d.isAtRest)
	}
}

// provedBy is the common equipment that a common point proves.
func (d *decider) provedBy(point int32) int32 {
	for s, b := range d.p.built {
		if i, ok := d.p.points.side(s, point); ok {
			e := b.Installation.Points[i].ProvesEquipment
			if s == 1 {
				e = d.p.equipment.common(e)
			}
			return e
		}
	}
	return -1
}

// drivers are the common outputs that drive common equipment on either side.
func (p *pairing) drivers(equipment int32) []int32 {
	var list []int32
	for s, b := range p.built {
		e, ok := p.equipment.side(s, equipment)
		if !ok {
			continue
		}
		for o := range b.Installation.Outputs {
			common := int32(o)
			if s == 1 {
				common = p.outputs.common(common)
			}
			if b.Installation.Outputs[o].Equipment == e && !slices.Contains(list, common) {
				list = append(list, common)
			}
		}
	}
	return list
}

// Candidates for the smallest stimulus of one group.
const (
	maxCandidates   = 16
	maxAlternatives = 3
)

// candidates are stimuli that by the conditions show a group, smallest first.
func (d *decider) candidates(g *group) []*stimulus {
	var list []*stimulus
	for s, lines := range [2][]line{g.gone, g.new} {
		for i := range lines {
			for _, n := range d.shownWhen(g, s, &lines[i]) {
				list = append(list, d.cheapest(n)...)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b *stimulus) int { return cmp.Compare(a.count(), b.count()) })
	seen := map[string]bool{}
	list = slices.DeleteFunc(list, func(s *stimulus) bool {
		key := fmt.Sprint(d.p.text(s), s.late)
		was := seen[key]
		seen[key] = true
		return was
	})
	return list[:min(len(list), maxCandidates)]
}

// shownWhen are the conditions under which a line that only one site has shows on an output, the best first: where
// nothing hides it before where something may, and a difference of guards before one of the condition.
func (d *decider) shownWhen(g *group, side int, l *line) []function {
	var list []function
	o, hidden := g.outputs[0], d.hiding(g, l)
	for k := range d.sides[1-side].lines[o] {
		m := &d.sides[1-side].lines[o][k]
		if m.state != l.state || m.after != l.after {
			continue
		}
		for _, guards := range l.guardsBeside(m) {
			n := d.f.and(d.f.and(l.when, m.when), d.f.differ(guards[0], guards[1]))
			list = append(list, d.f.without(n, hidden), n)
		}
	}
	apart := d.beyond(side, o, l)
	if apart == never {
		apart = l.when
	}
	return append(append(list, d.f.without(apart, hidden), apart), d.rivals(g, side, l)...)
}

// hiding is when a line that is no difference itself asks for as much on either site, no later.
func (d *decider) hiding(g *group, l *line) function {
	hidden := never
	for side := range d.sides {
		for k := range d.sides[side].lines[g.outputs[0]] {
			m := &d.sides[side].lines[g.outputs[0]][k]
			same := func(x line) bool { return x.timing == m.timing && x.when == m.when }
			if m.state >= l.state && m.after <= l.after && m.pulse == 0 && !slices.ContainsFunc(g.gone, same) && !slices.ContainsFunc(g.new, same) {
				hidden = d.f.or(hidden, m.when)
			}
		}
	}
	return hidden
}

// cheapest are the cheapest stimuli that make a condition true, each with its variants: after the cheapest
// of all, the cheapest without the first thing that this one changed, and so on.
func (d *decider) cheapest(n function) []*stimulus {
	var list []*stimulus
	for range maxAlternatives {
		if n == never {
			break
		}
		settings, ok := d.f.Cheapest(n, d.cost)
		if !ok {
			break
		}
		s := &stimulus{again: -1}
		d.follow(s, settings, 0)
		list = append(list, s)
		list = append(list, d.variants(s, n)...)
		first := slices.IndexFunc(settings, func(x bdd.Setting) bool { return x.On != d.rest[x.Fact] })
		if first < 0 {
			break
		}
		with := d.f.Fact(settings[first].Fact)
		if !settings[first].On {
			with = d.f.Not(with)
		}
		n = d.f.without(n, with)
	}
	return list
}

// variants are other ways to bring the same facts about: settings made after the signals instead of before,
// equipment that is driven and does not prove, signals in the other order.
func (d *decider) variants(s *stimulus, n function) []*stimulus {
	var list []*stimulus
	if len(s.given) > 0 {
		late := *s
		late.late = true
		list = append(list, &late)
	}
	if len(s.signals) == 2 {
		turned := *s
		turned.signals = []bdd.Setting{s.signals[1], s.signals[0]}
		list = append(list, &turned)
	}
	for _, f := range d.f.Support(n) {
		if f.Kind == term.EquipmentProven && len(d.p.drivers(f.Index)) > 0 {
			stuck := *s
			stuck.stuck = append(slices.Clone(s.stuck), f.Index)
			list = append(list, &stuck)
		}
	}
	return list
}

// show plays the candidates of a group until a run shows it on one of its outputs.
func (d *decider) show(r *runner, g *group, play func(*stimulus) (*outcome, error)) error {
	list := d.candidates(g)
	if len(list) > 0 {
		g.stimulus = list[0]
	}
	if g.oneSided {
		return nil
	}
	strict := map[int32]bool{}
	for _, o := range g.outputs {
		strict[o] = true
	}
	for _, s := range list {
		o, err := play(s)
		if err != nil {
			return err
		}
		if o == nil || o.missing {
			continue
		}
		g.runs++
		gaps := r.gaps(o, strict)
		for i := range gaps {
			t := gaps[i].track
			if (t.kind == trackOutput || t.kind == trackDemand) && slices.Contains(g.outputs, t.index) {
				g.gap, g.shown, g.stimulus = &gaps[i], o, s
				g.also = r.also(r.unexplained(gaps))
				return nil
			}
		}
	}
	return nil
}

// also names what else differs in a run.
func (r *runner) also(gaps []gap) []string {
	var names []string
	for _, g := range gaps {
		if name := r.trackName(g.track); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// unexplained leaves out outputs of which the program asks something else, and what hangs on them: that is
// reported by itself.
func (r *runner) unexplained(gaps []gap) []gap {
	p := r.pairing
	return slices.DeleteFunc(slices.Clone(gaps), func(g gap) bool {
		switch g.track.kind {
		case trackOutput, trackDemand:
			return slices.Contains(r.explained, g.track.index)
		case trackLoad:
			return slices.ContainsFunc(r.explained, func(o int32) bool { return p.feeds(o, g.track.index) })
		case trackEquipment:
			return slices.ContainsFunc(r.explained, func(o int32) bool { return slices.Contains(p.drivers(g.track.index), o) })
		}
		return false
	})
}

// feeds reports whether a common load hangs on a common output on either side.
func (p *pairing) feeds(output, load int32) bool {
	for s, b := range p.built {
		l, has := p.loads.side(s, load)
		o, also := p.outputs.side(s, output)
		if has && also && b.Installation.Loads[l].Output == o {
			return true
		}
	}
	return false
}

// trackName is the name of what is watched.
func (r *runner) trackName(t track) string {
	kind := term.DeviceFire
	switch t.kind {
	case trackOutput, trackDemand:
		kind = term.OutputState
	case trackEquipment:
		kind = term.EquipmentState
	case trackLoad:
		kind = term.LoadOn
	}
	return r.pairing.name(term.Fact{Kind: kind, Index: t.index})
}
