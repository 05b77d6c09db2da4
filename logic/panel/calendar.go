package panel

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
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

// Calendar lists the moments of the week at which a mode begins, in order; it is empty where no
// calendar runs.
type Calendar []moment

type moment struct {
	at   time.Duration // after the beginning of the week
	mode int32
}

// Moments lists the moments of the week at which a line begins, in order.
func (c Calendar) Moments() []time.Duration {
	var list []time.Duration
	for _, m := range c {
		list = append(list, m.at)
	}
	return list
}

// Lines writes each line in words, in order: `mon 07:00 day`.
func (c Calendar) Lines() []string {
	var list []string
	for _, m := range c {
		list = append(list, MomentText(m.at)+" "+map[int32]string{term.Day: "day", term.Night: "night"}[m.mode])
	}
	return list
}

// MomentText writes a moment of the week in words: `mon 07:00`, with seconds where there are any.
func MomentText(at time.Duration) string {
	at %= Week
	text := fmt.Sprintf("%s %02d:%02d", weekdays[at/(24*time.Hour)], at/time.Hour%24, at/time.Minute%60)
	if seconds := at % time.Minute; seconds > 0 {
		text += fmt.Sprintf(":%06.3f", seconds.Seconds())
	}
	return text
}

// ReadCalendar reads the weekly calendar of modes. Findings: panel.mode-with-calendar,
// panel.calendar-conflict (refused), panel.calendar-one-mode (a warning).
func ReadCalendar(panel *pb.Panel) (Calendar, []*pb.Finding) {
	if len(panel.GetCalendar()) == 0 {
		return nil, nil
	}
	var calendar Calendar
	var findings []*pb.Finding
	if panel.GetMode() != "" {
		findings = append(findings, finding.Refuse("panel.mode-with-calendar", "panel.mode", "the calendar says which mode it is at the start", "take `mode` out, or the calendar"))
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
			at := InWeek(day, line.GetAt().AsDuration())
			first, twice := from[at]
			if !twice {
				from[at] = i
				calendar = append(calendar, moment{at, mode})
				continue
			}
			if panel.GetCalendar()[first].GetMode() != line.GetMode() {
				days, other = append(days, day), first
			}
		}
		if len(days) > 0 {
			findings = append(findings, finding.Refuse("panel.calendar-conflict", fmt.Sprintf("panel.calendar[%d]", i), "the calendar begins two modes at once, on "+strings.Join(days, ", "),
				fmt.Sprintf("its entry %d begins %s at the same time; keep one of them", other+1, panel.GetCalendar()[other].GetMode())))
		}
	}
	slices.SortFunc(calendar, func(a, b moment) int { return cmp.Compare(a.at, b.at) })
	if lines := panel.GetCalendar(); !slices.ContainsFunc(lines, func(m *pb.ModeChange) bool { return m.GetMode() != lines[0].GetMode() }) {
		findings = append(findings, finding.Warn("panel.calendar-one-mode", "panel.calendar", "the calendar never changes the mode", "every line begins the same mode; add the line that ends it"))
	}
	return calendar, findings
}

// Schedule is where a running panel stands in its calendar: the line that comes next, and when.
type Schedule struct {
	next int32
	at   time.Duration
}

// Unscheduled is the schedule of a panel on which no calendar runs.
func Unscheduled() Schedule { return Schedule{at: never} }

// Begin returns the mode at a moment of the week (Week is the modulus), and the schedule of a panel
// whose t = 0 is that moment. The calendar must not be empty.
func (c Calendar) Begin(begin time.Duration) (mode int32, s Schedule) {
	begin %= Week
	// The line in force is the last that began, in the week before if none has in this one.
	next := 0
	for next < len(c) && c[next].at <= begin {
		next++
	}
	mode = c[(next+len(c)-1)%len(c)].mode
	s = Schedule{next: int32(next % len(c)), at: c[next%len(c)].at - begin}
	if next == len(c) {
		s.at += Week
	}
	return mode, s
}

// Next returns when the next line of the calendar comes, the greatest time for never.
func (s *Schedule) Next() time.Duration { return s.at }

// Pass goes on to the instant now, and returns the mode in force then where any line came on the
// way. Of several that came at once, after a stop of the panel, only the last counts.
func (s *Schedule) Pass(c Calendar, now time.Duration) (mode int32, came bool) {
	for s.at <= now {
		line := c[s.next]
		s.next = (s.next + 1) % int32(len(c))
		ahead := c[s.next].at - line.at
		if ahead <= 0 {
			ahead += Week
		}
		s.at += ahead
		mode, came = line.mode, true
	}
	return mode, came
}
