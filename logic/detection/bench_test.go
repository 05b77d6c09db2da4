package detection

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// The bureau of the tests: two zones of three detectors and a call point each, and one call point
// without a zone. s and t are smoke detectors, h and g heat detectors, c and d call points.
var bureau = []struct {
	name string
	Point
}{
	{"s1", Point{0, Smoke}}, {"s2", Point{0, Smoke}}, {"h1", Point{0, Automatic}}, {"c1", Point{0, Direct}},
	{"t1", Point{1, Smoke}}, {"t2", Point{1, Smoke}}, {"g1", Point{1, Automatic}}, {"d1", Point{1, Direct}},
	{"u1", Point{-1, Direct}},
}

func bureauPoints() (points []Point) {
	for _, p := range bureau {
		points = append(points, p.Point)
	}
	return points
}

func pointNamed(name string) int32 {
	for i, p := range bureau {
		if p.name == name {
			return int32(i)
		}
	}
	return -1
}

// recorder is the Sink of the tests.
type recorder struct {
	now    time.Duration
	events []Change // event n is at n-1; a signal or an operator's act has kind 0
	lines  []string
	fire   map[int32]uint64
	early  map[int32]bool
	sure   map[int32]bool
	ready  []int32 // of this instant
}

func newRecorder() *recorder {
	return &recorder{fire: map[int32]uint64{}, early: map[int32]bool{}, sure: map[int32]bool{}}
}

func (r *recorder) event(c Change) uint64 {
	r.events = append(r.events, c)
	return uint64(len(r.events))
}

func (r *recorder) line(format string, args ...any) {
	r.lines = append(r.lines, strconv.FormatFloat(r.now.Seconds(), 'g', -1, 64)+" "+fmt.Sprintf(format, args...))
}

func (r *recorder) Note(c Change) uint64 {
	word := [...]string{VerificationStarted: "verify", SignalVerified: "verified", DetectorReady: "ready", SignalHeld: "hold", SignalConfirmed: "confirm",
		SignalDropped: "drop", InvestigationStarted: "investigate", InvestigationAcknowledged: "look", InvestigationEnded: "end"}[c.Kind]
	r.line("%s %s", word, bureau[c.Point].name)
	if c.Kind == DetectorReady {
		r.ready = append(r.ready, c.Point)
	}
	return r.event(c)
}

func (r *recorder) Fire(p int32, event uint64) {
	r.line("fire %s", bureau[p].name)
	r.fire[p] = event
}

func (r *recorder) ShowPrealarm(p int32, on bool, _ uint64) {
	r.line("%s %s", map[bool]string{true: "prealarm", false: "no-prealarm"}[on], bureau[p].name)
	r.early[p] = on
}

func (r *recorder) Confirm(zone int32, on bool, _ uint64) {
	r.line("%s %d", map[bool]string{true: "sure", false: "unsure"}[on], zone)
	r.sure[zone] = on
}

// bench plays acts on one State.
type bench struct {
	rules *Rules
	state *State
	*recorder
	off    bool           // nobody is to go and look
	active map[int32]bool // last readings: what reset leaves latched
}

func newBench(zones ...Zone) *bench {
	for len(zones) < 2 {
		zones = append(zones, Zone{})
	}
	r := New(zones, bureauPoints())
	return &bench{rules: r, state: r.NewState(), recorder: newRecorder(), active: map[int32]bool{}}
}

// act does one act of the present instant: the name of a device signals; `clear NAME` is its reading.
func (b *bench) act(text string) {
	word, name, _ := strings.Cut(text, " ")
	p := pointNamed(name)
	switch word {
	case "ack":
		b.rules.Acknowledge(b.state, b.now, b.event(Change{}), b)
	case "reset":
		b.rules.Reset(b.state, b.event(Change{}), func(p int32) bool { return b.active[p] }, b)
		for p := range b.fire { // order does not show: each is judged alone
			if !b.active[p] {
				delete(b.fire, p)
			}
		}
	case "clear":
		b.active[p] = false
	case "drop":
		b.rules.Drop(b.state, p, b.event(Change{}), b)
	case "given":
		b.off = name == "off"
	default:
		p = pointNamed(word)
		b.active[p] = true
		b.rules.Signal(b.state, b.now, p, b.event(Change{Point: p}), b)
	}
}

func (b *bench) settle() {
	b.rules.Settle(b.state, b.now, func(int32) (bool, uint64) { return !b.off, 0 }, b)
}

// runTo lets time pass up to just before an instant.
func (b *bench) runTo(instant time.Duration) {
	for {
		next, ok := b.state.Next()
		if !ok || next >= instant {
			b.now = instant
			return
		}
		b.now = next
		b.settle()
	}
}

// play does the acts of a script, `10 s1; 14 ack`, those of one instant joined by a comma, and returns
// what came of them.
func (b *bench) play(script string) string {
	b.begin(script)
	b.runTo(24 * time.Hour)
	return strings.Join(b.lines, "; ")
}

// begin does the acts of a script and stops there.
func (b *bench) begin(script string) {
	for step := range strings.SplitSeq(script, ";") {
		at, acts, _ := strings.Cut(strings.TrimSpace(step), " ")
		seconds, err := strconv.ParseFloat(at, 64)
		if err != nil {
			panic(err)
		}
		b.runTo(time.Duration(seconds * 1e9))
		for act := range strings.SplitSeq(acts, ",") {
			if act = strings.TrimSpace(act); act != "" {
				b.act(act)
			}
		}
		b.settle()
	}
}

// only keeps the lines of some words.
func only(log string, words ...string) string {
	var kept []string
	for line := range strings.SplitSeq(log, "; ") {
		if parts := strings.Fields(line); len(parts) > 1 && slices.Contains(words, parts[1]) {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "; ")
}

// checkChains fails unless every step names an earlier one, and what led to each fire leads back to
// a signal of that very device.
func (b *bench) checkChains(t interface{ Errorf(string, ...any) }) {
	for i, c := range b.events {
		if c.Kind != 0 && (c.Parent == 0 || c.Parent > uint64(i) || c.Also > uint64(i)) {
			t.Errorf("event %d, %+v, names no earlier event", i+1, c)
		}
	}
	for p, event := range b.fire { // order does not show: each is judged alone
		at := event
		for b.events[at-1].Parent != 0 {
			at = b.events[at-1].Parent
		}
		if root := b.events[at-1]; root.Kind != 0 || root.Point != p {
			t.Errorf("the fire of %s leads back to %+v", bureau[p].name, root)
		}
	}
}
