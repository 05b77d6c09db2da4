package diff

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// weekly is the bench whose loft sounds at once at night alone, with a calendar.
func weekly(t *testing.T, calendar string) *site.Built {
	t.Helper()
	return read(t, bench+"panel: {"+calendar+"}\n"+strings.Replace(program, "after: 30s, pause_while: \"control('hold').on\"", "unless: \"panel.mode == 'day'\"", 1))
}

// How a file groups and orders the lines of its calendar is spelling; every moment at which a line begins a
// mode is not, for it ends what an operator has chosen.
func TestCalendarSpelling(t *testing.T) {
	whole := weekly(t, "calendar: [{days: [mon, tue], at: 7h, mode: day}, {days: [mon, tue], at: 19h, mode: night}]")
	same := weekly(t, "calendar: [{days: [tue], at: 19h, mode: night}, {days: [tue, mon], at: 7h, mode: day}, {days: [mon], at: 19h, mode: night}, {days: [mon], at: 19h, mode: night}]")
	if r := compare(t, whole, same); len(r.GetDifferences()) > 0 {
		t.Errorf("another spelling of one week: %v", r.GetDifferences())
	}
	again := weekly(t, "calendar: [{days: [mon, tue], at: 7h, mode: day}, {days: [mon], at: 12h, mode: day}, {days: [mon, tue], at: 19h, mode: night}]")
	r := compare(t, whole, again)
	if len(r.GetDifferences()) != 1 || r.GetDifferences()[0].GetKnown() != unseen || !strings.Contains(r.GetDifferences()[0].GetTitle(), "mon 12:00 day") {
		t.Errorf("a line that begins the mode in force: %v", r.GetDifferences())
	}
}

// A calendar that differs is shown by a fire at a moment at which the modes differ: by the old calendar it is
// night then, and the loft sounds.
func TestCalendarIsRun(t *testing.T) {
	long := "calendar: [{days: [mon, tue], at: %s, mode: day}, {days: [mon, tue], at: 19h, mode: night}]"
	for _, c := range []struct{ name, old, changed, begins string }{
		{"the day begins later", fmt.Sprintf(long, "9h"), fmt.Sprintf(long, "7h"), "begins mon 07:00"},
		{"no calendar any more", fmt.Sprintf(long, "7h"), "mode: day", "begins tue 19:00"},
		{"a calendar where there was none", "mode: night", fmt.Sprintf(long, "7h"), "begins mon 07:00"},
	} {
		r := compare(t, weekly(t, c.old), weekly(t, c.changed))
		found := false
		for _, d := range r.GetDifferences() {
			if d.GetSubjects()[0] != "calendar" {
				continue
			}
			found = true
			if d.GetKnown() != simulated || !strings.HasPrefix(d.GetStimulus(), "LOFT-") || !strings.Contains(d.GetStimulus(), c.begins) {
				t.Errorf("%s: %s, %s", c.name, d.GetKnown(), d.GetStimulus())
			}
			if len(d.GetOldCourse().GetChain()) == 0 && len(d.GetNewCourse().GetChain()) == 0 {
				t.Errorf("%s: no chain of events", c.name)
			}
		}
		if !found {
			t.Errorf("%s: no difference of the calendar: %v", c.name, r.GetDifferences())
		}
	}
}

// The moment at which calendars are apart, against a look at every quarter of an hour of the week.
func TestCalendarsApart(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	days := []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}
	apart := 0
	for range 300 {
		var built [2]*site.Built
		var modes [2][7 * 96]string
		for s := range built {
			m := proto.CloneOf(weekly(t, "mode: day").Site)
			m.Panel = &pb.Panel{Mode: "day"}
			begun := map[int]string{}
			if r.IntN(8) > 0 {
				m.Panel.Mode = ""
				for range 1 + r.IntN(4) {
					day, quarter := r.IntN(7), r.IntN(96)
					if begun[day*96+quarter] != "" {
						continue
					}
					mode := []string{"day", "night"}[r.IntN(2)]
					begun[day*96+quarter] = mode
					m.Panel.Calendar = append(m.Panel.Calendar, &pb.ModeChange{Days: []string{days[day]}, At: durationpb.New(time.Duration(quarter) * 15 * time.Minute), Mode: mode})
				}
			}
			mode := "day"
			for range 2 { // the second time round the week begins as it ended
				for q := range modes[s] {
					if begun[q] != "" {
						mode = begun[q]
					}
					modes[s][q] = mode
				}
			}
			b, ok := made(m)
			if !ok {
				t.Fatal("a site is refused")
			}
			built[s] = b
		}
		p := &pairing{built: built}
		begins, ok := p.apartAt()
		differ := modes[0] != modes[1]
		if ok != differ {
			t.Fatalf("apart: %v, and quarter by quarter %v", ok, differ)
		}
		if q := begins / (15 * time.Minute); ok && modes[0][q] == modes[1][q] {
			t.Errorf("in the quarter %d of the week both are in the mode %s", q, modes[0][q])
		}
		if ok {
			apart++
		}
	}
	if apart < 100 || apart > 299 {
		t.Errorf("%d of 300 pairs of calendars are apart", apart)
	}
}
