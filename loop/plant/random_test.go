package plant

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"pgregory.net/rapid"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// act is one random command.
type act struct {
	at     time.Duration
	e, in  int
	on     bool
	fault  bool
	kind   Fault
	factor float64
}

// drawActs makes commands in order of time, often at the same instant and often, on the whole
// seconds of the rig's times, at the instant of an arrival.
func drawActs(t *rapid.T, p *Plant) []act {
	var acts []act
	at := time.Duration(0)
	for range rapid.IntRange(1, 60).Draw(t, "acts") {
		at += time.Duration(rapid.IntRange(0, 16).Draw(t, "gap")) * 500 * time.Millisecond
		if rapid.IntRange(0, 3).Draw(t, "odd") == 0 {
			at += time.Duration(rapid.IntRange(0, 1_000_000_000).Draw(t, "ns"))
		}
		a := act{at: at, e: rapid.IntRange(0, p.Len()-1).Draw(t, "equipment")}
		if rapid.IntRange(0, 5).Draw(t, "fault") == 0 {
			a.fault = true
			a.kind = Fault(rapid.IntRange(0, 7).Draw(t, "kind"))
			a.factor = float64(rapid.IntRange(1000, 5000).Draw(t, "factor")) / 1000
		} else {
			a.in = rapid.IntRange(0, p.InputCount(a.e)-1).Draw(t, "input")
			a.on = rapid.Bool().Draw(t, "on")
		}
		acts = append(acts, a)
	}
	return acts
}

func (r *rig) do(a act) {
	r.now = a.at
	r.event++
	if a.fault {
		r.p.SetFault(r.s, a.at, a.e, a.kind, a.factor, r.event, r)
	} else {
		r.p.Drive(r.s, a.at, a.e, a.in, a.on, r.event, r)
	}
}

// inOneGo takes everything before a command with a single Advance, so that rig.now is not the
// time of each change; the changes themselves must be the same.
func (r *rig) inOneGo(to time.Duration) {
	if to > r.s.now {
		r.p.Advance(r.s, to-1, r)
	}
}

func (r *rig) finely(to time.Duration) {
	for at := r.s.now; at < to; at += 317 * time.Millisecond {
		r.p.Advance(r.s, at, r)
	}
	if to > r.s.now {
		r.p.Advance(r.s, to-1, r)
	}
}

const theEnd = 20 * time.Hour

func compileAll(t *rapid.T) *Plant {
	p, found := Compile(oneOfEach())
	if len(found) > 0 {
		t.Fatalf("compile: %v", found)
	}
	return p
}

// TestStepsDoNotShow: event by event, in one go and in fine steps, the same changes.
func TestStepsDoNotShow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := compileAll(t)
		byEvent, one, fine := &rig{p: p, s: p.NewState()}, &rig{p: p, s: p.NewState()}, &rig{p: p, s: p.NewState()}
		for _, a := range drawActs(t, p) {
			byEvent.until(a.at, false)
			one.inOneGo(a.at)
			fine.finely(a.at)
			byEvent.do(a)
			one.do(a)
			fine.do(a)
		}
		byEvent.until(theEnd, true)
		one.p.Advance(one.s, theEnd, one)
		fine.finely(time.Hour)
		fine.p.Advance(fine.s, theEnd, fine)
		byEvent.p.Advance(byEvent.s, theEnd, byEvent)
		if diff := cmp.Diff(byEvent.changes, one.changes); diff != "" {
			t.Fatalf("in one go (-by event +in one go):\n%s", diff)
		}
		if diff := cmp.Diff(byEvent.changes, fine.changes); diff != "" {
			t.Fatalf("in fine steps (-by event +fine):\n%s", diff)
		}
		sameState(t, byEvent.s, one.s)
		sameState(t, byEvent.s, fine.s)
	})
}

func sameState(t *rapid.T, a, b *State) {
	t.Helper()
	if diff := cmp.Diff(*a, *b, cmp.AllowUnexported(State{}, unitState{}, motion{}), cmpopts.EquateEmpty()); diff != "" {
		t.Fatalf("states differ:\n%s", diff)
	}
}

// TestForkGoesOnAlike: a copy taken at any moment goes on identically, and neither touches the
// other.
func TestForkGoesOnAlike(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := compileAll(t)
		acts := drawActs(t, p)
		cut := rapid.IntRange(0, len(acts)).Draw(t, "cut")
		straight, before := &rig{p: p, s: p.NewState()}, &rig{p: p, s: p.NewState()}
		after := &rig{p: p, s: &State{}}
		var left State
		for i, a := range acts {
			if i == cut {
				after.s.CopyFrom(before.s)
				after.event = before.event
				after.lines, after.changes = before.lines, before.changes
				left.CopyFrom(before.s)
			}
			straight.until(a.at, false)
			straight.do(a)
			r := before
			if i >= cut {
				r = after
			}
			r.until(a.at, false)
			r.do(a)
		}
		if cut < len(acts) {
			sameState(t, before.s, &left)
			after.until(theEnd, true)
		} else {
			after = before
			after.until(theEnd, true)
		}
		straight.until(theEnd, true)
		if diff := cmp.Diff(straight.lines, after.lines); diff != "" {
			t.Fatalf("(-straight +forked):\n%s", diff)
		}
		sameState(t, straight.s, after.s)
	})
}

// proofWords says, for every signal, in which states it shows: written down from the meaning of
// the words, not from the code. Signals that power or a second state decide are missing here.
func proofWords() map[string][]string {
	return map[string][]string{
		"lift/at-floor":        {"at-recall-floor", "at-alternate-floor"},
		"fan/running":          {"running"},
		"fan/tripped":          {"tripped"},
		"supply-fan/running":   {"running"},
		"supply-fan/tripped":   {"tripped"},
		"damper/opened":        {"open"},
		"damper/closed":        {"closed"},
		"shut-damper/opened":   {"open"},
		"shut-damper/closed":   {"closed"},
		"door/closed":          {"closed"},
		"lock/locked":          {"locked", "releasing"},
		"voice/speaking":       {"message-evacuate", "message-alert"},
		"trip/tripped":         {"tripped"},
		"main/tripped":         {"tripped"},
		"valve/closed":         {"closed"},
		"gas/released":         {"released"},
		"gas/low-pressure":     {"released"},
		"dialler/acknowledged": {"acknowledged"}, "dialler/failed": {"failed"},
		"siren/running": {"running"},
		"bms/seen":      {"seen"},
		"thing/done":    {"done"},
	}
}

// TestInvariants: after every command and at the end, signals agree with state words, parents
// point back, every input is done at most once for each time it is operated, nothing is due in
// the past, following again changes nothing, and a cut fan or lift never runs.
func TestInvariants(t *testing.T) {
	words := proofWords()
	rapid.Check(t, func(t *rapid.T) {
		p := compileAll(t)
		r := &rig{p: p, s: p.NewState()}
		unproven := make([]bool, p.Len())
		asked := map[string]int{}
		for _, a := range drawActs(t, p) {
			r.until(a.at, false)
			if a.fault {
				unproven[a.e] = a.kind&Unproven != 0
			} else if a.on && !p.Operated(r.s, a.e, a.in) {
				asked[p.ID(a.e)+" done "+p.InputName(a.e, a.in)]++
			}
			r.do(a)
			r.checkSignals(t, words, unproven)
			r.checkSettled(t)
		}
		r.until(theEnd, true)
		r.checkSignals(t, words, unproven)
		r.checkSettled(t)
		r.checkLog(t, asked)
		if _, ok := p.Next(r.s); ok {
			t.Fatal("it never comes to rest")
		}
	})
}

func (r *rig) checkSignals(t *rapid.T, words map[string][]string, unproven []bool) {
	t.Helper()
	for e := range r.p.Len() {
		word := r.p.States(e)[r.p.StateIndex(r.s, e)]
		for k := range r.p.SignalCount(e) {
			name := r.p.ID(e) + "/" + r.p.SignalName(e, k)
			showing, ok := words[name]
			if !ok || unproven[e] {
				continue
			}
			want := false
			for _, w := range showing {
				want = want || w == word
			}
			if got := r.p.Signal(r.s, e, k); got != want {
				t.Fatalf("at %v %s is %v in state %s", r.now, name, got, word)
			}
		}
		if fan := r.p.ID(e) == "fan"; fan && r.p.Powered(r.s, e) == (word == "tripped") {
			t.Fatalf("at %v the fan is %s", r.now, word)
		}
	}
	lift, _ := r.p.Lookup("lift")
	off, _ := r.p.InputIndex(lift, "power-off")
	dark := !r.p.Powered(r.s, lift) || r.p.Operated(r.s, lift, off)
	if part := r.p.machines[lift].firstTrack; dark && (r.s.place[part+car] >= 0 || r.s.place[part+doors] >= 0) {
		t.Fatalf("at %v the lift moves without power", r.now)
	}
}

func (r *rig) checkSettled(t *rapid.T) {
	t.Helper()
	if next, ok := r.p.Next(r.s); ok && next < r.now {
		t.Fatalf("at %v something was due at %v", r.now, next)
	}
	for at, part := range r.s.due {
		if int(r.s.place[part]) != at || (at > 0 && r.s.before(part, r.s.due[(at-1)/2])) {
			t.Fatal("the heap is out of order")
		}
	}
	for i, m := range r.s.motions {
		if m.pos < 0 || m.pos > r.p.tracks[i].full || m.fresh {
			t.Fatalf("part %d at %d of %d, fresh %v", i, m.pos, r.p.tracks[i].full, m.fresh)
		}
	}
	var again State
	again.CopyFrom(r.s)
	for e := range r.p.Len() {
		if next, ok := r.p.Next(&again); !ok || next > r.now {
			r.p.run(&again, e, 0, nobody{t})
		}
	}
}

// nobody expects no change.
type nobody struct{ t *rapid.T }

func (n nobody) Note(c Change) uint64 {
	n.t.Fatalf("following again: %+v", c)
	return 0
}

// checkLog reads the lines back: parents are earlier events, and an input is done at most once for
// each time it was operated.
func (r *rig) checkLog(t *rapid.T, asked map[string]int) {
	t.Helper()
	for i, parent := range r.parents {
		if parent == 0 || parent >= r.ids[i] {
			t.Fatalf("%s (event %d) has parent %d", r.lines[i], r.ids[i], parent)
		}
		_, what, _ := strings.Cut(r.lines[i], " ")
		if strings.Contains(what, " done ") {
			if asked[what]--; asked[what] < 0 {
				t.Fatalf("%s, without being operated again", r.lines[i])
			}
		}
	}
}

// TestChains: the parents of one fan's course, by number. Events 1 and 6 are the commands.
func TestChains(t *testing.T) {
	r := newRig(t, aTrip("main", "fan"), aFan(false))
	r.play(t, "0s fan/start; 20s main/trip")
	want := []string{
		"2 <- 1: 0s fan = running-up",
		"3 <- 2: 12s fan = running", "4 <- 3: 12s fan +running", "5 <- 3: 12s fan done start",
		"7 <- 6: 20s main = opening",
		"8 <- 7: 20.1s main = tripped", "9 <- 8: 20.1s main +tripped", "10 <- 8: 20.1s main done trip",
		"11 <- 8: 20.1s fan = tripped", "12 <- 11: 20.1s fan -running", "13 <- 11: 20.1s fan +tripped",
	}
	var got []string
	for i, line := range r.lines {
		got = append(got, fmt.Sprintf("%d <- %d: %s", r.ids[i], r.parents[i], line))
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// TestMulDiv against identities and the same expression in floating point.
func TestMulDiv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Int64Range(0, math.MaxInt64/2).Draw(t, "a")
		c := rapid.Int64Range(1, math.MaxInt64/2).Draw(t, "c")
		b := rapid.Int64Range(0, c).Draw(t, "b")
		down, up := mulDiv(a, b, c, false), mulDiv(a, b, c, true)
		if up-down != 0 && up-down != 1 {
			t.Fatalf("down %d, up %d", down, up)
		}
		if exact := float64(a) * (float64(b) / float64(c)); math.Abs(float64(down)-exact) > 2+exact*1e-12 {
			t.Fatalf("%d * %d / %d = %d, about %g", a, b, c, down, exact)
		}
		if mulDiv(a, c, c, true) != a || mulDiv(a, 0, c, true) != 0 {
			t.Fatal("a*c/c is not a")
		}
	})
}

// FuzzCompile: any message that decodes compiles, and whatever Compile does not refuse, runs.
func FuzzCompile(f *testing.F) {
	for _, eq := range oneOfEach() {
		bytes, err := proto.Marshal(&pb.Site{Equipment: []*pb.Equipment{eq}})
		if err != nil {
			f.Fatal(err)
		}
		f.Add(bytes)
	}
	wild := []*pb.Equipment{nil, {}, {Kind: &pb.Equipment_Lift{}}, named("l", &pb.Equipment{Kind: &pb.Equipment_Lift{Lift: &pb.Lift{
		Floors: make([]string, 5000), RecallFloor: "x", FloorTime: durationpb.New(math.MaxInt64), DoorTime: &durationpb.Duration{Seconds: -5, Nanos: math.MinInt32}}}})}
	if p, _ := Compile(wild); p.Len() != 4 {
		f.Fatal("wild messages are dropped")
	}
	f.Fuzz(func(t *testing.T, bytes []byte) {
		site := &pb.Site{}
		if proto.Unmarshal(bytes, site) != nil {
			return
		}
		p, found := Compile(site.GetEquipment())
		for _, x := range found {
			if x.GetPath() == "" || x.GetDetail() == "" || x.GetTitle() == "" {
				t.Fatalf("an empty finding: %v", x)
			}
		}
		r := &rig{p: p, s: p.NewState()}
		for e := range p.Len() {
			p.SetFault(r.s, 0, e, Slow, 1000, 1, r)
			for in := range p.InputCount(e) {
				p.Drive(r.s, 0, e, in, true, 1, r)
			}
		}
		p.Advance(r.s, math.MaxInt64, r)
	})
}

func BenchmarkCopy(b *testing.B) {
	var eq []*pb.Equipment
	for i := range 100 {
		for _, x := range oneOfEach() {
			if x.GetTrip() == nil {
				eq = append(eq, named(x.GetEquipment()+strconv.Itoa(i), x))
			}
		}
	}
	p, _ := Compile(eq)
	from, to := p.NewState(), &State{}
	to.CopyFrom(from)
	b.ReportAllocs()
	for b.Loop() {
		to.CopyFrom(from)
	}
	b.ReportMetric(float64(p.Len()), "pieces")
}
