package logic

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// tower is a building of floors 0 to n-1, each with a detector Dk in a zone zk and sounders Sk.
func tower(n int) *term.World {
	w := &term.World{PointRefs: map[string]int{}, OutputRefs: map[string]int{}, Loops: []uint32{1}, Controls: []string{"hold", "hurry"}}
	for k := range n {
		w.Zones = append(w.Zones, fmt.Sprintf("z%d", k))
		w.Causes = append(w.Causes, fmt.Sprintf("fire-%d", k))
		w.PointRefs[fmt.Sprintf("D%d", k)] = k
		w.Points = append(w.Points, term.Point{Label: fmt.Sprintf("D%d", k), Address: fmt.Sprintf("1/%d", k+1), Zone: k, Place: -1, Input: term.Fire, Detector: true})
		w.OutputRefs[fmt.Sprintf("S%d", k)] = k
		w.Outputs = append(w.Outputs, term.Output{Label: fmt.Sprintf("S%d", k), Sounder: true})
	}
	return w
}

// towerSite is its program: one phasing in steps of 60 s.
func towerSite(n int, change func(*pb.Phasing)) *pb.Site {
	ph := &pb.Phasing{Phasing: "up", StepTime: durationpb.New(time.Minute)}
	site := &pb.Site{Program: &pb.Program{Controls: []*pb.Control{{Control: "hold"}, {Control: "hurry"}}}}
	for k := range n {
		site.Places = append(site.Places, &pb.Place{Place: fmt.Sprintf("p%d", k), Floor: fmt.Sprint(k)})
		site.Program.Causes = append(site.Program.Causes, &pb.Cause{Cause: fmt.Sprintf("fire-%d", k), When: fmt.Sprintf("zone('z%d').fire", k)})
		site.Program.Effects = append(site.Program.Effects, &pb.Effect{Effect: fmt.Sprintf("sound-%d", k), Outputs: []string{fmt.Sprintf("S%d", k)}})
		ph.Floors = append(ph.Floors, &pb.PhasedFloor{Floor: fmt.Sprint(k), Cause: fmt.Sprintf("fire-%d", k), Effect: fmt.Sprintf("sound-%d", k)})
	}
	if change != nil {
		change(ph)
	}
	site.Program.Phasings = []*pb.Phasing{ph}
	return site
}

func newTower(t *testing.T, n int, change func(*pb.Phasing)) *bench {
	t.Helper()
	site, w := towerSite(n, change), tower(n)
	p, findings := Compile(site, w)
	if finding.Worst(findings) == pb.Severity_SEVERITY_REFUSED {
		t.Fatalf("refused: %v", findings)
	}
	b := &bench{t: t, world: w, program: p, site: site, state: p.NewState()}
	b.evaluate()
	return b
}

// evacuations lists when each floor began to evacuate, in seconds, floor 0 first; `-` for never, and
// a trailing a where it was alerted before.
func (b *bench) evacuations() string {
	times := make([]string, len(b.world.Outputs))
	alerted := make([]bool, len(times))
	for i := range times {
		times[i] = "-"
	}
	for i, c := range b.changes {
		switch {
		case c.Kind != OutputDemanded:
		case c.State == term.Alert:
			alerted[c.Index] = true
		case c.State == term.Evacuate:
			times[c.Index] = fmt.Sprint(int(b.times[i] / time.Second))
		}
	}
	for i := range times {
		if alerted[i] {
			times[i] += "a"
		}
	}
	return strings.Join(times, " ")
}

// Phased evacuation: the floor that burns and its neighbours at once, all others alerted, then floor
// after floor by distance, of two the upper one first (common practice; that each floor has its own
// step is in the comments of the schema). Top and bottom floor have but one neighbour.
func TestPhasesByFloor(t *testing.T) {
	both := func(ph *pb.Phasing) { ph.Together = []string{"above", "below"} }
	for _, test := range []struct {
		floors, burns int
		change        func(*pb.Phasing)
		want          string
	}{
		{5, 2, nil, "180a 60a 0 0 120a"},
		{5, 2, both, "120a 0 0 0 60a"},
		{5, 0, nil, "0 0 60a 120a 180a"},
		{5, 4, nil, "240a 180a 120a 60a 0"},
		{5, 0, both, "0 0 60a 120a 180a"},
		{5, 4, both, "180a 120a 60a 0 0"},
		{5, 1, both, "0 0 0 60a 120a"},
		{2, 1, nil, "60a 0"},
		{5, 2, func(ph *pb.Phasing) { ph.Together = []string{"below"} }, "180a 0 0 60a 120a"},
		{5, 2, func(ph *pb.Phasing) { ph.Waiting = "nothing" }, "180 60 0 0 120"},
	} {
		b := newTower(t, test.floors, test.change)
		b.step(0, fmt.Sprintf("fire D%d", test.burns))
		b.runTo(time.Hour)
		if got := b.evacuations(); got != test.want {
			t.Errorf("floor %d of %d burns: %s, want %s", test.burns, test.floors, got, test.want)
		}
	}
}

// Hold and hurry: the steps stand still while held; each time the key goes on the next step comes
// now, the others keep their distance from it.
func TestPhasesHeldAndHurried(t *testing.T) {
	keys := func(ph *pb.Phasing) { ph.Hold, ph.Hurry = "hold", "hurry" }
	for name, test := range map[string]struct{ acts, want string }{
		"held for 100 s":                        {"10 control hold|110 control hold off", "280a 160a 0 0 220a"},
		"hurried once":                          {"10 control hurry", "130a 10a 0 0 70a"},
		"hurried twice":                         {"10 control hurry|11 control hurry off|12 control hurry", "72a 10a 0 0 12a"},
		"the key kept on":                       {"10 control hurry|200 control hurry off", "130a 10a 0 0 70a"},
		"hurried while held":                    {"10 control hold|20 control hurry|120 control hold off", "240a 20a 0 0 180a"},
		"hurried at the instant of a step":      {"60 control hurry", "180a 60a 0 0 120a"},
		"hurried before the fire":               {"-1 control hurry", "180a 60a 0 0 120a"},
		"a second fire drives steps of its own": {"30 fire D0", "30a 30a 0 0 120a"},
		"the earliest step of two fires counts": {"10 fire D4", "180a 60a 0 0 10a"},
		"hurry speeds both fires":               {"10 fire D0|20 control hurry", "10a 10a 0 0 80a"},
	} {
		b := newTower(t, 5, keys)
		if rest, before := strings.CutPrefix(test.acts, "-1 "); before {
			b.step(0, rest)
			test.acts = ""
		}
		b.step(0, "fire D2")
		for act := range strings.SplitSeq(test.acts, "|") {
			if at, text, ok := strings.Cut(act, " "); ok {
				b.step(seconds(t, at), text)
			}
		}
		b.runTo(time.Hour)
		if got := b.evacuations(); got != test.want {
			t.Errorf("%s: %s, want %s\n%s", name, got, test.want, strings.Join(b.log, "\n"))
		}
		comes := slices.ContainsFunc(b.changes, func(c Change) bool { return c.Kind == DelayHurried })
		if moves := strings.Contains(test.acts, "hurry") && !strings.HasPrefix(test.acts, "60 "); comes != moves {
			t.Errorf("%s: that steps come nearer is noted: %v\n%s", name, comes, strings.Join(b.log, "\n"))
		}
	}
}

// A pair of a phasing says where in the file it stands.
func TestPairsOfPhasings(t *testing.T) {
	b := newTower(t, 3, nil)
	var got []string
	for i := range b.program.Pairs() {
		pair := b.program.Pair(i)
		got = append(got, fmt.Sprintf("%s %d>%d %v %v", b.program.PairPath(i), pair.Floor, pair.Effect, pair.State, pair.After))
		if pair.Action != -1 || pair.Phasing != 0 || pair.Cause != pair.Floor {
			t.Errorf("pair %d: %+v", i, pair)
		}
	}
	want := []string{
		"program.phasings[0].floors[0] 0>0 evacuate 0s", "program.phasings[0].floors[0] 0>1 evacuate 0s", "program.phasings[0].floors[0] 0>2 alert 0s", "program.phasings[0].floors[0] 0>2 evacuate 1m0s",
		"program.phasings[0].floors[1] 1>1 evacuate 0s", "program.phasings[0].floors[1] 1>2 evacuate 0s", "program.phasings[0].floors[1] 1>0 alert 0s", "program.phasings[0].floors[1] 1>0 evacuate 1m0s",
		"program.phasings[0].floors[2] 2>2 evacuate 0s", "program.phasings[0].floors[2] 2>1 alert 0s", "program.phasings[0].floors[2] 2>1 evacuate 1m0s", "program.phasings[0].floors[2] 2>0 alert 0s", "program.phasings[0].floors[2] 2>0 evacuate 2m0s",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// What a phasing names must be there, once, and able to sound.
func TestPhasingsRefused(t *testing.T) {
	site := towerSite(3, func(ph *pb.Phasing) {
		ph.Floors[0].Floor, ph.Floors[1].Cause, ph.Floors[2].Effect = "9", "fire-2", "sound-7"
		ph.Hold, ph.Hurry = "hodl", "hurry"
	})
	w := tower(3)
	w.Outputs[1].Sounder = false
	_, findings := Compile(site, w)
	var got []string
	for _, f := range findings {
		if f.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
			got = append(got, f.GetCode()+" "+f.GetPath())
		}
	}
	slices.Sort(got)
	want := []string{
		"program.phasing-twice program.phasings[0].floors[2].cause",
		"reference.unknown program.phasings[0].floors[0].floor",
		"reference.unknown program.phasings[0].floors[2].effect",
		"reference.unknown program.phasings[0].hold",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v", got)
	}
	site = towerSite(3, nil)
	_, findings = Compile(site, w)
	if len(findings) == 0 || findings[0].GetCode() != "program.vocabulary" || findings[0].GetPath() != "program.phasings[0].floors[1].effect" {
		t.Errorf("sounders that are none: %v", findings)
	}
}
