package diff

import (
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// calendarSubject is the panel's part whose runs begin at a moment of the week.
const calendarSubject = "calendar"

// calendars are those of both sites.
func (p *pairing) calendars() (c [2]panel.Calendar) {
	for s, b := range p.built {
		c[s], _ = panel.ReadCalendar(b.Site.GetPanel())
	}
	return c
}

// calendar compares the calendars line by line, a line being one moment of the week: how the file groups them is
// spelling. A line that begins the mode already in force is none: it ends what an operator has chosen.
func (c *comparer) calendar() {
	of := c.p.calendars()
	if slices.Equal(of[0], of[1]) {
		return
	}
	c.subject = none("panel", calendarSubject)
	var only, paths [2]string
	for s := range of {
		lines, others := of[s].Lines(), of[1-s].Lines()
		only[s] = byTime(slices.DeleteFunc(lines, func(l string) bool { return slices.Contains(others, l) }))
		if len(of[s]) > 0 {
			paths[s] = "panel.calendar"
		}
	}
	c.add("lines", only[0], only[1], paths[0], paths[1])
}

// byTime joins the days of lines that are otherwise alike: `mon tue 07:00 day`.
func byTime(lines []string) string {
	var times []string
	days := map[string]string{}
	for _, l := range lines {
		day, at, _ := strings.Cut(l, " ")
		if days[at] == "" {
			times = append(times, at)
		}
		days[at] += day + " "
	}
	for i, at := range times {
		times[i] = days[at] + at
	}
	return strings.Join(times, ", ")
}

// apartAt is the longest time of the week in which the calendars are in different modes: the moment at which it begins.
// False where there is none.
func (p *pairing) apartAt() (begins time.Duration, ok bool) {
	of := p.calendars()
	mode := func(s int, at time.Duration) int32 {
		if len(of[s]) > 0 {
			mode, _ := of[s].Begin(at)
			return mode
		}
		if p.built[s].Site.GetPanel().GetMode() == "night" {
			return term.Night
		}
		return term.Day
	}
	moments := append(of[0].Moments(), of[1].Moments()...)
	slices.Sort(moments)
	moments = slices.Compact(moments)
	longest := time.Duration(0)
	for i, at := range moments {
		next := moments[0] + panel.Week
		if i+1 < len(moments) {
			next = moments[i+1]
		}
		if mode(0, at) != mode(1, at) && next-at > longest {
			begins, ok, longest = at, true, next-at
		}
	}
	return begins, ok
}

// probeCalendar plays, at a moment at which the calendars differ, the smallest stimulus of each output that depends on
// the mode, and a device of each zone that asks for the mode before it believes a signal.
func (c *comparison) probeCalendar(add func(*stimulus)) {
	begins, ok := c.p.apartAt()
	if !ok {
		return
	}
	at := func(s *stimulus) {
		if s == nil {
			return
		}
		s.begins = &begins
		add(s)
	}
	for side, b := range c.p.built {
		for _, d := range b.Site.GetProgram().GetDetection() {
			if z := c.zone(side, d.GetZone()); z >= 0 && strings.Contains(d.GetInvestigate().GetGiven(), "mode") {
				c.probeZone(z, at)
			}
		}
	}
	for side := range c.d.sides {
		for _, states := range c.d.steady[side] {
			for _, state := range []term.State{term.Evacuate, term.Release, term.On, term.Alert} {
				by := func(mode int32) function {
					return c.d.f.Assume(states[state], func(f term.Fact) (holds, known bool) { return f.Value == mode, f.Kind == term.PanelMode })
				}
				if n := c.d.f.differ(by(term.Day), by(term.Night)); n != never {
					at(c.d.smallest(n))
				}
			}
		}
	}
}
