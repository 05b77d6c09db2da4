package diff

import (
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// part is one part of the installation, or of the panel, in which fields differ.
type part struct {
	kind, subject string
	others        []*part // in which the same fields differ in the same way
	changes       []change
	known         string
	shown         string // the stimulus of the run that shows it
}

// maxProbes bounds the runs for one part.
const maxProbes = 8

// rest tells everything that is not what the program asks: field by field, and as runs show it.
func (c *comparison) rest() error {
	found, texts := c.p.changes(c.sameCondition)
	if texts > 0 {
		c.report.Notes = append(c.report.Notes, fmt.Sprintf("%d titles and other texts for people differ", texts))
	}
	if !c.p.sameOrder() {
		c.report.Notes = append(c.report.Notes, "effects or their outputs stand in another order: commands of one instant go out in another order")
	}
	at := map[[2]string]*part{}
	enter := func(kind, subject string) *part {
		key := [2]string{kind, subject}
		if at[key] == nil {
			at[key] = &part{kind: kind, subject: subject, known: unseen}
			c.parts = append(c.parts, at[key])
		}
		return at[key]
	}
	for _, ch := range found {
		if strings.Contains(ch.paths[0]+ch.paths[1], "].line.") {
			ch.kind = "line"
		}
		p := enter(ch.kind, ch.subject)
		p.changes = append(p.changes, ch)
	}
	for l := range c.p.loops.toNew {
		if text, path, ok := c.p.wiringOrder(int32(l)); ok {
			p := enter("wiring", fmt.Sprintf("loop %d", c.p.built[0].Installation.Loops[l].Number))
			ch := none("wiring", p.subject)
			ch.what, ch.old, ch.changed, ch.loop, ch.paths = "wiring order", text[0], text[1], int32(l), path
			p.changes = append(p.changes, ch)
		}
	}
	c.join()
	for _, p := range c.parts {
		if err := c.part(p); err != nil {
			return err
		}
	}
	return nil
}

// join makes one of parts of a kind in which the same differs in the same way: the runs for the first of them
// stand for all.
func (c *comparison) join() {
	at := map[[2]string]*part{}
	var kept []*part
	for _, p := range c.parts {
		var texts []string
		for i := range p.changes {
			texts = append(texts, p.changes[i].text())
		}
		key := [2]string{p.kind, strings.Join(texts, "; ")}
		if first := at[key]; first != nil && p.kind != "wiring" { // each loop has figures of its own
			first.others = append(first.others, p)
			continue
		}
		at[key] = p
		kept = append(kept, p)
	}
	c.parts = kept
}

// sameCondition compares two conditions of the old and of the new site.
func (c *comparison) sameCondition(old, changed string) bool {
	var n [2]function
	for s, text := range []string{old, changed} {
		own := c.d.sides[s]
		t, problems := term.NewReader(c.p.built[s].World).Parse(text, term.Cause)
		if len(problems) > 0 {
			return old == changed
		}
		n[s] = c.d.f.of(c.p.expand(s, t, own.own, 0))
	}
	return n[0] == n[1] && c.d.f.Err() == nil
}

// subjects are the names of a part and of those joined with it.
func (p *part) subjects() []string {
	names := []string{p.subject}
	for _, other := range p.others {
		names = append(names, other.subject)
	}
	return names
}

// part reports one part, with the first run that shows that it matters.
func (c *comparison) part(p *part) error {
	diff := &pb.Difference{Kind: p.kind, Subjects: p.subjects(), Title: headline(p.changes), Known: unseen}
	for s, to := range []**pb.Position{&diff.OldPosition, &diff.NewPosition} {
		for i := range p.changes {
			if path := p.changes[i].paths[s]; path != "" {
				*to = c.p.where(s, path)
				break
			}
		}
	}
	if figures := c.partFigures(p); len(figures) > 0 {
		diff.Known = computed
		diff.New = strings.Join(figures, "; ")
	}
	probes := c.probes(p)
	for _, s := range probes[:min(len(probes), maxProbes)] {
		o, err := c.play(s)
		if err != nil {
			return err
		}
		if o == nil || o.missing {
			continue
		}
		diff.Runs++
		if gaps := c.r.unexplained(c.r.gaps(o, nil)); len(gaps) > 0 {
			diff.Known, diff.Stimulus, diff.StimulusSize = simulated, o.text, int32(s.count())
			diff.OldCourse, diff.NewCourse = c.courses(o, gaps[0])
			diff.Also = c.r.also(gaps[1:])
			break
		}
	}
	p.known, p.shown = diff.GetKnown(), diff.GetStimulus()
	c.report.Differences = append(c.report.Differences, diff)
	return nil
}

// probes are the runs that are made for a part: each device's own signal, each output operated and lost.
func (c *comparison) probes(p *part) []*stimulus {
	var list []*stimulus
	add := func(s *stimulus) {
		if s != nil && s.count() > 0 {
			list = append(list, s)
		}
	}
	for i := range p.changes {
		ch := &p.changes[i]
		if ch.output >= 0 {
			c.probeOutput(ch.output, add)
		}
		if ch.point >= 0 {
			c.probePoint(ch.point, add)
		}
		if ch.equipment >= 0 {
			for _, o := range c.p.drivers(ch.equipment) {
				add(c.operate(o))
			}
		}
		if ch.zone >= 0 {
			c.probeZone(ch.zone, add)
		}
		if ch.loop >= 0 {
			c.probeLoop(ch.loop, add)
		}
	}
	switch {
	case p.subject == calendarSubject && p.kind == "panel":
		c.probeCalendar(add)
	case p.kind == "panel":
		c.probePanel(add)
	case p.kind == "supply":
		if i := slices.Index(c.p.built[0].World.Supplies, p.subject); i >= 0 {
			add(&stimulus{again: -1, faults: []bdd.Setting{{Fact: term.Is(term.SupplyFault, i).Fact, On: true}}})
		}
	}
	return list
}

// signal is the stimulus of one device's own signal; nil for one that gives none.
func (c *comparison) signal(point int32, prealarm bool) *stimulus {
	pt := c.d.point(point)
	kind := term.DeviceActive
	switch {
	case pt == nil || pt.Input == loop.NoInput:
		return nil
	case prealarm:
		kind = term.DevicePrealarm
	case pt.Input.Fire():
		kind = term.DeviceFire
	case pt.Input == loop.Supervisory:
		kind = term.DeviceSupervisory
	}
	return &stimulus{again: -1, signals: []bdd.Setting{{Fact: term.Is(kind, int(point)).Fact, On: true}}}
}

// probePoint plays a device's own signal, by day and by night where the program tells them apart, and lets
// the device be taken out.
func (c *comparison) probePoint(point int32, add func(*stimulus)) {
	if s := c.signal(point, false); s != nil {
		s.lowest = true
		add(s)
		night := term.IsValue(term.PanelMode, 0, term.Night).Fact
		if slices.ContainsFunc(c.d.facts, func(f term.Fact) bool { return f.Kind == term.PanelMode }) && !c.d.rest[night] {
			at := *s
			at.given = []bdd.Setting{{Fact: night, On: true}}
			add(&at)
		}
		for side, b := range c.p.built {
			if i, ok := c.p.points.side(side, point); ok && b.Installation.Points[i].Prealarm {
				early := c.signal(point, true)
				early.lowest = true
				add(early)
				break
			}
		}
	}
	add(&stimulus{again: -1, faults: []bdd.Setting{{Fact: term.Is(term.DeviceFault, int(point)).Fact, On: true}}})
}

// operate is the smallest stimulus that operates an output on either side; nil if nothing does.
func (c *comparison) operate(output int32) *stimulus {
	for side := range c.d.sides {
		for _, state := range []term.State{term.Evacuate, term.Release, term.On, term.Alert} {
			if n := c.d.steady[side][output][state]; n != never {
				return c.d.smallest(n)
			}
		}
	}
	return nil
}

// probeOutput operates an output, and takes its module out at rest.
func (c *comparison) probeOutput(output int32, add func(*stimulus)) {
	add(c.operate(output))
	for side, b := range c.p.built {
		if o, ok := c.p.outputs.side(side, output); ok && b.Installation.Outputs[o].Circuit != nil {
			add(&stimulus{again: -1, faults: []bdd.Setting{{Fact: term.Is(term.OutputFault, int(output)).Fact, On: true}}})
			return
		}
	}
}

// probeZone plays the first two devices of a zone, each alone and one after the other, and acknowledged.
func (c *comparison) probeZone(zone int32, add func(*stimulus)) {
	var two []int32
	for side, b := range c.p.built {
		z, ok := c.p.zones.side(side, zone)
		if !ok {
			continue
		}
		for i := range b.Installation.Points {
			common := int32(i)
			if side == 1 {
				common = c.p.points.common(common)
			}
			if pt := &b.Installation.Points[i]; pt.Zone == z && pt.Input.Fire() && !slices.Contains(two, common) && len(two) < 2 {
				two = append(two, common)
			}
		}
	}
	var both stimulus
	for _, point := range two {
		s := c.signal(point, false)
		add(s)
		both.signals = append(both.signals, s.signals...)
	}
	if len(two) == 0 {
		return
	}
	both.again = -1
	add(&both)
	known := *c.signal(two[0], false)
	known.acts = []bdd.Setting{{Fact: term.Is(term.PanelAcknowledged, 0).Fact, On: true}}
	add(&known)
}

// probeLoop plays the first input of a loop, operates its first output, and takes its first device out.
func (c *comparison) probeLoop(l int32, add func(*stimulus)) {
	for side, b := range c.p.built {
		own, ok := c.p.loops.side(side, l)
		if !ok {
			continue
		}
		input, output := false, false
		for _, i := range b.Installation.Loops[own].Points {
			point, pt := i, &b.Installation.Points[i]
			if side == 1 {
				point = c.p.points.common(point)
			}
			if s := c.signal(point, false); s != nil && !input {
				input = true
				add(s)
				add(&stimulus{again: -1, faults: []bdd.Setting{{Fact: term.Is(term.DeviceFault, int(point)).Fact, On: true}}})
			}
			if pt.Output >= 0 && !output {
				output = true
				o := pt.Output
				if side == 1 {
					o = c.p.outputs.common(o)
				}
				add(c.operate(o))
			}
		}
		return
	}
}

// probePanel plays what the panel's settings turn on: a fire, a reset while it stands, a second device of
// the zone once silenced, a supervisory signal that comes and goes, a device taken out.
func (c *comparison) probePanel(add func(*stimulus)) {
	in := c.p.built[0].Installation
	fire, second, supervisory := int32(-1), int32(-1), int32(-1)
	for i := range in.Points {
		pt := &in.Points[i]
		switch {
		case pt.Input.Fire() && fire < 0:
			fire = int32(i)
		case pt.Input.Fire() && second < 0 && pt.Zone == in.Points[fire].Zone:
			second = int32(i)
		case pt.Input == loop.Supervisory && supervisory < 0:
			supervisory = int32(i)
		}
	}
	if fire >= 0 {
		add(c.signal(fire, false))
		standing := c.signal(fire, false)
		standing.standing = true
		add(standing)
		add(&stimulus{again: -1, faults: []bdd.Setting{{Fact: term.Is(term.DeviceFault, int(fire)).Fact, On: true}}})
	}
	if second >= 0 {
		again := c.signal(fire, false)
		again.again = second
		add(again)
	}
	if supervisory >= 0 {
		add(c.signal(supervisory, false))
	}
	for o := range in.Outputs {
		if in.Outputs[o].Point < 0 {
			if s := c.operate(int32(o)); s != nil {
				add(s)
				return
			}
		}
	}
}
