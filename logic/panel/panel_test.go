package panel_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Several conditions stand at once, and fire is indicated before all others whatever came first
// (EN 54-2 and ISO 7240-2, from memory; the order of the others is common practice).
func TestFireIsIndicatedFirst(t *testing.T) {
	all := []panel.Condition{panel.Test, panel.Disablement, panel.Fault, panel.Supervisory, panel.Prealarm, panel.Fire}
	x := panel.NewIndication(len(all))
	if x.First() != panel.Quiescent || !x.Stands(panel.Quiescent) || x.All() != nil {
		t.Errorf("at rest: %v first, all %v", x.First(), x.All())
	}
	for i, c := range all {
		x.Begins(int32(i), c, uint64(i+1))
		if x.First() != c || x.Stands(panel.Quiescent) {
			t.Errorf("%v has come last: %v is indicated first", c, x.First())
		}
	}
	slices.Reverse(all)
	if got := x.All(); !slices.Equal(got, all) {
		t.Errorf("conditions that stand: %v, want %v", got, all)
	}
	var told []panel.Condition
	x.Settle(func(c panel.Condition, stands bool, by uint64) {
		if !stands || by != uint64(7-c) {
			t.Errorf("%v: stands %v by event %d", c, stands, by)
		}
		told = append(told, c)
	})
	if !slices.Equal(told, all) {
		t.Errorf("told: %v, want %v", told, all)
	}
	x.Settle(func(c panel.Condition, _ bool, _ uint64) { t.Errorf("%v is told twice", c) })
}

// The buzzer sounds for fire, pre-alarm, supervisory signals and faults, and not for what an operator
// has done: disablement and test (common practice). It falls silent when all is acknowledged, or gone.
func TestBuzzer(t *testing.T) {
	for c := panel.Fire; c <= panel.Test; c++ {
		x := panel.NewIndication(2)
		x.Begins(1, c, 5)
		if sounds, by := x.Buzzer(); sounds != c.News() || sounds != (c < panel.Disablement) || sounds && by != 5 {
			t.Errorf("%v: sounds %v by event %d", c, sounds, by)
		}
		acknowledged := panel.NewIndication(0)
		acknowledged.CopyFrom(&x)
		acknowledged.Acknowledge(time.Hour, 6)
		x.Ends(1, c, 7)
		if sounds, by := x.Buzzer(); sounds || c.News() && by != 7 {
			t.Errorf("%v gone: sounds %v by event %d", c, sounds, by)
		}
		if sounds, by := acknowledged.Buzzer(); sounds || c.News() && by != 6 {
			t.Errorf("%v acknowledged: sounds %v by event %d", c, sounds, by)
		}
	}
}

// A fault that was silenced and persists sounds again, once every 24 h at most (NFPA 72 chapter 10, 2019).
func TestFaultSoundsAgain(t *testing.T) {
	x := panel.NewIndication(1)
	x.Begins(0, panel.Fault, 1)
	x.Acknowledge(24*time.Hour, 2)
	if x.Next() != 24*time.Hour {
		t.Errorf("due at %v", x.Next())
	}
	if _, due := x.Reminds(24*time.Hour - 1); due {
		t.Error("it reminds before its time")
	}
	since, due := x.Reminds(24 * time.Hour)
	if !due || since != 2 {
		t.Errorf("at 24 h: due %v since event %d", due, since)
	}
	if _, again := x.Reminds(25 * time.Hour); again {
		t.Error("it reminds twice of one acknowledgement")
	}
	x.Acknowledge(48*time.Hour, 3)
	x.Ends(0, panel.Fault, 4)
	x.Settle(func(panel.Condition, bool, uint64) {})
	if _, due := x.Reminds(48 * time.Hour); due {
		t.Error("it reminds of a fault that is gone")
	}
}

// What needs a level is refused below it, and never to the bench itself (EN 54-2 and ISO 7240-2,
// from memory).
func TestLevels(t *testing.T) {
	for need := panel.Level(1); need <= 3; need++ {
		for have := panel.Level(0); have <= 3; have++ {
			if want := have == 0 || have >= need; have.May(need) != want {
				t.Errorf("level %d may work what needs %d: %v", have, need, !want)
			}
		}
	}
	if panel.LevelOf(false, 0) != panel.Trained || panel.LevelOf(true, 3) != 3 {
		t.Error("a key without a level is for trained people; one with a level for that level")
	}
}

// The firefighters' switch: off while switched off, automatic only in auto, the last move wins
// (local fire code on smoke control panels, as the trade press gives it).
func TestLastMoveRules(t *testing.T) {
	position := []int32{term.Auto, term.Auto}
	at := func(override int32) int32 { return position[override] }
	levers := []panel.Lever{{Override: 0, Operated: term.On}, {Override: 1, Operated: term.On, Opposes: true}}
	m := panel.NewMoves(2)
	ask := func() string {
		l, p, ok := m.Ruling(levers, at)
		if !ok {
			return "automatic"
		}
		return map[term.State]string{term.On: "on", term.Rest: "off"}[l.Demands(p)]
	}
	for i, step := range []struct {
		override, to int32
		want         string
	}{
		{0, term.SwitchedOff, "off"},
		{0, term.SwitchedOn, "on"},
		{1, term.SwitchedOn, "off"}, // it opposes
		{1, term.SwitchedOff, "on"},
		{0, term.SwitchedOff, "off"}, // moved last
		{0, term.Auto, "on"},         // the other is still away from auto
		{1, term.Auto, "automatic"},
	} {
		if i == 0 && ask() != "automatic" {
			t.Fatal("something rules before any move")
		}
		position[step.override] = step.to
		m.Move(step.override)
		if got := ask(); got != step.want {
			t.Errorf("move %d, override %d to %d: %s, want %s", i, step.override, step.to, got, step.want)
		}
	}
}

// What is wrong with a calendar: two modes at one moment, a mode beside it, and one that never changes.
func TestCalendarFindings(t *testing.T) {
	line := func(mode string, hour int, days ...string) *pb.ModeChange {
		return &pb.ModeChange{Mode: mode, Days: days, At: durationpb.New(time.Duration(hour) * time.Hour)}
	}
	for _, c := range []struct {
		name  string
		panel *pb.Panel
		want  string
	}{
		{"day and night", &pb.Panel{Calendar: []*pb.ModeChange{line("day", 8, "mon"), line("night", 18, "mon")}}, ""},
		{"one line twice", &pb.Panel{Calendar: []*pb.ModeChange{line("day", 8, "mon", "tue"), line("day", 8, "tue"), line("night", 18, "mon")}}, ""},
		{"two modes at once", &pb.Panel{Calendar: []*pb.ModeChange{line("day", 8, "mon", "tue"), line("night", 8, "tue")}}, "panel.calendar-conflict panel.calendar[1]"},
		{"a mode beside it", &pb.Panel{Mode: "day", Calendar: []*pb.ModeChange{line("day", 8, "mon"), line("night", 18, "mon")}}, "panel.mode-with-calendar panel.mode"},
		{"it never changes", &pb.Panel{Calendar: []*pb.ModeChange{line("day", 8, "mon"), line("day", 18, "tue")}}, "panel.calendar-one-mode panel.calendar"},
	} {
		_, findings := panel.ReadCalendar(c.panel)
		var got []string
		for _, f := range findings {
			got = append(got, f.GetCode()+" "+f.GetPath())
		}
		if strings.Join(got, "\n") != c.want {
			t.Errorf("%s: %v, want %q", c.name, got, c.want)
		}
	}
}

// A calendar is followed for five weeks from every hour of the week, against a look-up in the list of
// the hours at which it is day.
func TestCalendarHourByHour(t *testing.T) {
	workdays := []string{"mon", "tue", "wed", "thu", "fri"}
	calendar, findings := panel.ReadCalendar(&pb.Panel{Calendar: []*pb.ModeChange{
		{Mode: "day", Days: workdays, At: durationpb.New(8 * time.Hour)},
		{Mode: "night", Days: workdays, At: durationpb.New(18 * time.Hour)},
		{Mode: "day", Days: []string{"sat"}, At: durationpb.New(10 * time.Hour)},
		{Mode: "night", Days: []string{"sat"}, At: durationpb.New(13 * time.Hour)},
	}})
	if len(findings) > 0 {
		t.Fatal(findings)
	}
	isDay := func(hour int) bool {
		hour %= 7 * 24
		day, clock := hour/24, hour%24
		return day < 5 && clock >= 8 && clock < 18 || day == 5 && clock >= 10 && clock < 13
	}
	for begin := range 7 * 24 {
		mode, schedule := calendar.Begin(time.Duration(begin) * time.Hour)
		for hour := range 5 * 7 * 24 {
			due := schedule.Next() == time.Duration(hour)*time.Hour
			now, came := schedule.Pass(calendar, time.Duration(hour)*time.Hour)
			if came {
				mode = now
			}
			if came != due || (mode == term.Day) != isDay(begin+hour) {
				t.Fatalf("begun in hour %d of the week, after %d h: mode %d, came %v, due %v", begin, hour, mode, came, due)
			}
		}
		// A panel that was stopped meanwhile takes the last of the lines it slept through.
		mode, schedule = calendar.Begin(time.Duration(begin) * time.Hour)
		if now, came := schedule.Pass(calendar, 1000*time.Hour); !came || (now == term.Day) != isDay(begin+1000) {
			t.Errorf("begun in hour %d of the week, after a sleep of 1000 h: mode %d from %d, came %v", begin, now, mode, came)
		}
	}
}
