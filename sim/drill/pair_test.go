package drill

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/sim"
)

// pairRun feeds one poller with a list of acts, in the order of an instant that DEVELOPERS.md gives
// (phases), and writes down every note. Slots last a few nanoseconds, so that acts fall on their
// edges all the time.
type pairRun struct {
	line  *line.Line
	p     poller
	now   time.Duration
	notes []pairNote
	moves []pairAct // outputs about to operate at this instant
	stuck []bool
	seed  uint64
}

type pairAct struct {
	at   time.Duration
	late bool
	kind string
	i    int32
	on   bool
	pre  bool
	n    int32
	rate float64
	pres line.Presence
}

// pairNote is a note, or with text an answer, at an instant.
type pairNote struct {
	at     time.Duration
	change line.Change
	text   string
}

// Note writes a change down and lets an output that heard its command operate.
func (r *pairRun) Note(c line.Change) uint64 {
	r.notes = append(r.notes, pairNote{at: r.now, change: c})
	if c.Kind == line.CommandDone && c.On && !r.stuck[c.Device] {
		r.moves = append(r.moves, pairAct{kind: "operate", i: c.Device, n: int32(c.State)})
	}
	return uint64(len(r.notes))
}

// Uniform draws as a drill does.
func (r *pairRun) Uniform(n uint64) uint64 { return sim.NewStream(r.seed, "line/1").At(n) }

func (r *pairRun) say(format string, args ...any) {
	r.notes = append(r.notes, pairNote{at: r.now, text: fmt.Sprintf(format, args...)})
}

// run executes the acts up to the horizon.
func (r *pairRun) run(acts []pairAct, horizon time.Duration) {
	for {
		at, moment, ok := r.p.Next()
		stage := 2 * int(moment) // 0 slots that end, 2 slots that begin
		if len(acts) > 0 {
			a, before := acts[0], -1
			if a.late {
				before = 1
			}
			if !ok || a.at < at || a.at == at && before < stage {
				if a.at > horizon {
					return
				}
				r.now, acts = a.at, acts[1:]
				r.act(a)
				continue
			}
		}
		if !ok || at > horizon {
			return
		}
		r.now = at
		r.p.Advance(at, moment, r)
		for _, m := range r.moves { // in the output phase of the same instant
			m.late = true
			r.act(m)
		}
		r.moves = r.moves[:0]
	}
}

func (r *pairRun) act(a pairAct) {
	event := uint64(1000000 + len(r.notes))
	switch a.kind {
	case "input":
		r.p.SetInput(r.now, a.i, a.on, a.pre, event)
	case "presence":
		r.p.SetPresence(r.now, a.i, a.pres, event)
	case "output", "operate":
		stage := line.Early
		if a.late {
			stage = line.Late
		}
		r.p.SetOutput(r.now, stage, a.i, line.OutputState(a.n), event)
	case "circuit":
		stage := line.Early
		if a.late {
			stage = line.Late
		}
		r.p.SetCircuit(r.now, stage, a.i, line.Circuit(a.n), event)
	case "watch":
		r.p.Watch(r.now, a.on, event)
	case "stuck":
		r.stuck[a.i] = a.on
	case "rate":
		r.p.SetErrorRate(r.now, a.rate, r)
	case "stop":
		r.p.Stop(r.now)
	case "start":
		r.p.Start(r.now, r)
		r.p.Presume(a.i, a.on)
	case "rearm":
		r.p.Rearm(r.now, a.i, a.on)
	case "send":
		r.p.Send(r.now, line.Command{Device: a.i, State: line.OutputState(a.n), Strength: uint8(a.n), Order: a.i / 2, Group: a.i % 3, Event: event})
	case "ask":
		r.say("device %d: fault %v, sampled again at %d; round %d", a.i, r.p.Fault(a.i), r.p.SampleAfter(a.i, r.now+1+time.Duration(a.n)), r.p.Round())
	case "copy":
		old := r.p
		r.p = old.Copy()
		if at, moment, ok := old.Next(); ok { // the old one goes on, to no effect on the copy
			old.Advance(at, moment, &pairRun{stuck: r.stuck, seed: r.seed})
		}
	}
}

// pairSite draws a line and its acts.
func pairSite(seed uint64) (line.Config, []pairAct) {
	r := rand.New(rand.NewPCG(seed, 1))
	slot := func() time.Duration { return time.Duration(1 + r.IntN(6)) }
	chance := func(p float64) bool { return r.Float64() < p }
	cfg := line.Config{
		PollSlot: slot(), NoReplySlot: slot(), CommandSlot: slot(),
		MissedReplies: 1 + r.Int32N(3), CommandsBetweenVisits: 1 + r.Int32N(3),
		OutOfTurn: chance(0.5), ProbeUnused: chance(0.5), SharedCommands: chance(0.5), ReplyCurrentCheck: chance(0.5),
	}
	if chance(0.3) {
		cfg.ErrorRate = r.Float64() * 0.1
	}
	n := r.IntN(9)
	if chance(0.05) {
		n = 66 // two words of marks
	}
	for i := range n {
		cfg.Devices = append(cfg.Devices, line.Device{Address: uint8(1 + 2*i), Output: chance(0.4), Fire: chance(0.7), Readings: 1 + r.Int32N(3)})
	}
	for i := range cfg.Devices {
		if cfg.Devices[i].Output {
			cfg.Devices[i].Fire = false
		}
	}
	if n == 0 {
		return cfg, nil
	}
	acts := pairActs(r, cfg)
	slices.SortStableFunc(acts, func(a, b pairAct) int {
		if a.at != b.at {
			return int(a.at - b.at)
		}
		return map[bool]int{false: 0, true: 1}[a.late] - map[bool]int{false: 0, true: 1}[b.late]
	})
	return cfg, acts
}

func pairActs(r *rand.Rand, cfg line.Config) []pairAct {
	chance := func(p float64) bool { return r.Float64() < p }
	n := len(cfg.Devices)
	var acts []pairAct
	at, stopped := time.Duration(0), false
	for range 10 + r.IntN(80) {
		if chance(0.04) { // by itself in its instant
			stopped = !stopped
			at++
			acts = append(acts, pairAct{at: at, kind: map[bool]string{true: "stop", false: "start"}[stopped], i: int32(r.IntN(n)), on: chance(0.3)})
			at++
		}
		if !chance(0.3) {
			at += time.Duration(r.IntN(40))
		}
		if chance(0.1) {
			at += time.Duration(r.IntN(1000))
		}
		a := pairAct{at: at, i: int32(r.IntN(n)), on: chance(0.5), pre: chance(0.2), n: r.Int32N(3)}
		output := cfg.Devices[a.i].Output
		switch k := r.IntN(22); {
		case k < 8 && !output:
			a.kind = "input"
			a.pre = a.pre || a.on && chance(0.5)
		case k < 8:
			a.kind, a.late = "send", true
		case k < 12:
			a.kind = "presence"
			a.pres = line.Presence{Unfed: chance(0.1), Removed: chance(0.2), Muted: chance(0.1), OtherKind: chance(0.1), Duplicate: line.Duplicate(max(0, r.IntN(8)-5))}
		case k < 13 && output:
			a.kind, a.late = "output", chance(0.5)
		case k < 14 && output:
			a.kind = "stuck"
		case k < 14:
			a.kind, a.late = "rearm", true
		case k < 15:
			a.kind, a.rate = "rate", float64(r.IntN(3))*0.05
		case k < 16:
			a.kind = "copy"
		case k < 18 && output:
			a.kind, a.late = "circuit", chance(0.5)
		case k < 18:
			a.kind = "watch"
		default:
			a.kind, a.n = "ask", r.Int32N(200)
		}
		if stopped && (a.kind == "send" || a.kind == "rearm" || a.kind == "watch" || a.kind == "ask") {
			continue // a controller that has stopped does none of this
		}
		acts = append(acts, a)
	}
	return acts
}

// pairSeeds is how many lines are compared.
func pairSeeds() uint64 {
	if os.Getenv("LOOPDRILL_LONG") == "1" {
		return 1_000_000
	}
	return 20_000
}

// The lazy line against the twin, alone: no drill around them, acts in the midst of everything.
func TestLineAgainstTwin(t *testing.T) {
	t.Parallel()
	notes := 0
	for seed := range pairSeeds() {
		cfg, acts := pairSite(seed)
		l := line.Compile(cfg)
		runs := [2]*pairRun{}
		for k, start := range []func(*line.Line, line.Sink) poller{newLazy, newTwin} {
			r := &pairRun{line: l, stuck: make([]bool, len(cfg.Devices)), seed: seed}
			r.p = start(l, r)
			r.run(acts, 4000)
			runs[k] = r
		}
		notes += len(runs[1].notes)
		if d := firstDifference(runs[0].notes, runs[1].notes); d >= 0 {
			t.Fatalf("seed %d: note %d differs\nlazy: %s\ntwin: %s\nline: %+v\nacts: %s", seed, d,
				around(runs[0].notes, d), around(runs[1].notes, d), cfg, pairStory(acts))
		}
	}
	if notes < 10*int(pairSeeds()) {
		t.Errorf("only %d notes on %d lines: the acts hardly do anything", notes, pairSeeds())
	}
}

func firstDifference[T comparable](a, b []T) int {
	for i := range max(len(a), len(b)) {
		if i >= len(a) || i >= len(b) || a[i] != b[i] {
			return i
		}
	}
	return -1
}

// around is the last few notes up to number i.
func around[T any](notes []T, i int) string {
	var b strings.Builder
	end := min(i+2, len(notes))
	for _, n := range notes[max(0, end-8):end] {
		fmt.Fprintf(&b, "\n  %+v", n)
	}
	return b.String()
}

func pairStory(acts []pairAct) string {
	var b strings.Builder
	for _, a := range acts {
		fmt.Fprintf(&b, "\n  %+v", a)
	}
	return b.String()
}
