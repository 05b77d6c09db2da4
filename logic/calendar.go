package logic

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// Week is the length of the calendar: it begins on Monday at midnight. Local time is taken to have
// no gaps: summer time is not modelled.
const Week = 7 * 24 * time.Hour

// weekdays are the words of the days, by number of days after Monday.
var weekdays = [...]string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

// InWeek returns how long after the beginning of the week a day's time of day is.
func InWeek(day string, at time.Duration) time.Duration {
	return time.Duration(max(slices.Index(weekdays[:], day), 0))*24*time.Hour + at
}

// modeChange is one moment of the week at which a mode begins.
type modeChange struct {
	at   time.Duration // after the beginning of the week
	mode int32
}

// calendar reads the weekly calendar of modes.
func (c *compiler) calendar() {
	panel := c.site.GetPanel()
	if len(panel.GetCalendar()) == 0 {
		return
	}
	if panel.GetMode() != "" {
		c.add(finding.Refuse("panel.mode-with-calendar", "panel.mode", "the calendar says which mode it is at the start", "take `mode` out, or the calendar"))
	}
	from := map[time.Duration]int{} // the line of the calendar that says what begins then
	for i, line := range panel.GetCalendar() {
		mode := term.Day
		if line.GetMode() == "night" {
			mode = term.Night
		}
		var days []string // on which an earlier line begins the other mode
		other := 0
		for _, day := range line.GetDays() {
			at := InWeek(day, duration(line.GetAt()))
			first, twice := from[at]
			if !twice {
				from[at] = i
				c.p.calendar = append(c.p.calendar, modeChange{at, mode})
				continue
			}
			if panel.GetCalendar()[first].GetMode() != line.GetMode() {
				days, other = append(days, day), first
			}
		}
		if len(days) > 0 {
			c.add(finding.Refuse("panel.calendar-conflict", fmt.Sprintf("panel.calendar[%d]", i), "the calendar begins two modes at once, on "+strings.Join(days, ", "),
				fmt.Sprintf("its entry %d begins %s at the same time; keep one of them", other+1, panel.GetCalendar()[other].GetMode())))
		}
	}
	slices.SortFunc(c.p.calendar, func(a, b modeChange) int { return cmp.Compare(a.at, b.at) })
	if first := c.p.calendar[0]; !slices.ContainsFunc(c.p.calendar, func(m modeChange) bool { return m.mode != first.mode }) {
		c.add(finding.Warn("panel.calendar-one-mode", "panel.calendar", "the calendar never changes the mode", "every line begins the same mode; add the line that ends it"))
	}
}

// HasCalendar reports whether the mode changes by a calendar where a beginning is given.
func (p *Program) HasCalendar() bool { return len(p.calendar) > 0 }

// NewStateAt is NewState for a drill that begins at a moment of the week (Week is the modulus): the
// mode is the calendar's, and moves with it. Without a calendar it is NewState.
func (p *Program) NewStateAt(begin time.Duration) *State {
	s := p.NewState()
	if len(p.calendar) == 0 {
		return s
	}
	moment := begin % Week
	// The line in force is the last that began, in the week before if none has in this one.
	next := 0
	for next < len(p.calendar) && p.calendar[next].at <= moment {
		next++
	}
	mode := p.calendar[(next+len(p.calendar)-1)%len(p.calendar)].mode
	s.net = wires{}
	p.settleAtRest(s, mode)
	s.nextMode, s.modeAt = int32(next%len(p.calendar)), p.calendar[next%len(p.calendar)].at-moment
	if next == len(p.calendar) {
		s.modeAt += Week
	}
	return s
}

// takeSchedule begins the mode that the calendar says, before all else of the instant: an operator
// of the same instant has the last word. A move that changes nothing is not noted, nor is one that came
// and went while the panel was stopped.
func (p *Program) takeSchedule(s *State, sink Sink) {
	for s.modeAt <= s.turn.now {
		now := p.calendar[s.nextMode]
		s.nextMode = (s.nextMode + 1) % int32(len(p.calendar))
		ahead := p.calendar[s.nextMode].at - now.at
		if ahead <= 0 {
			ahead += Week
		}
		if s.modeAt += ahead; s.modeAt <= s.turn.now {
			continue
		}
		if leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelMode, Value: now.mode}); !s.net.value[leaf] {
			p.setMode(s, now.mode, sink.Note(Change{Kind: ModeScheduled, Index: now.mode, On: true}), sink)
		}
	}
}
