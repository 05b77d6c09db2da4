package detection

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// twin states the rules again, in another way: it lives in ticks of a second, and at every tick asks
// of every zone whether its criterion is met and of every device whether its time has come. It knows
// nothing of events, agendas or lists.
type twin struct {
	zones []Zone
	at    []twinPoint
	sure  []bool
	now   int
	// looking is the device that is investigated, -1 for none; began whether the end of a tick has seen
	// it, until when it lasts, gone that somebody has acknowledged.
	looking, until int
	began, gone    bool
	ready          []int32 // of this tick
}

// twinPoint is one device; 0 is no time.
type twinPoint struct {
	Point
	fire, early, held, unready, again bool
	restart, window, hold, wait       int // the ticks at which they end
}

func newTwin(zones []Zone) *twin {
	n := &twin{zones: zones, sure: make([]bool, len(zones)), looking: -1}
	for _, p := range bureauPoints() {
		n.at = append(n.at, twinPoint{Point: p})
	}
	return n
}

func ticks(d time.Duration) int { return int(d / time.Second) }

func (n *twin) anyFire() bool {
	return slices.ContainsFunc(n.at, func(p twinPoint) bool { return p.fire })
}

// burn lets a device be in fire, and with it what is looked into anywhere.
func (n *twin) burn(i int) {
	p := &n.at[i]
	p.fire, p.early, p.held, p.again, p.restart, p.window = true, false, false, false, 0, 0
	if n.looking == i {
		n.looking = -1
		n.sure[p.Zone] = true
	}
	if n.looking >= 0 {
		n.burn(n.looking)
	}
}

// signal takes the signal of a device.
func (n *twin) signal(i int) {
	p := &n.at[i]
	switch {
	case n.looking == i || p.restart > 0 || p.fire && !p.held:
	case p.Zone < 0:
		n.burn(i)
	case p.Sense == Direct:
		n.burn(i)
		n.sure[p.Zone] = true
		for j := range n.at {
			if q := &n.at[j]; q.Zone == p.Zone && (q.held || q.restart > 0 || q.window > 0) {
				n.burn(j)
			}
		}
	case n.sure[p.Zone]:
		n.burn(i)
	case p.held:
		p.again = n.zones[p.Zone].Confirm == SameOrOther && !p.unready
	case p.Sense == Smoke && n.zones[p.Zone].Restart > 0 && p.window == 0:
		p.restart = n.now + ticks(n.zones[p.Zone].Restart)
	default:
		z := n.zones[p.Zone]
		p.window, p.held, p.again = 0, true, false
		p.hold, p.wait, p.unready = n.now+ticks(z.Within), n.now+ticks(z.ReadyAfter), z.Confirm == SameOrOther
		p.early = p.early || z.First == Prealarm
	}
	n.criteria()
	for j := range n.at { // type C: whatever is held is fire to look at
		if q := &n.at[j]; q.held && !q.fire && n.zones[q.Zone].First == Fire {
			n.burn(j)
			q.held = true
		}
	}
	n.criteria()
}

// criteria goes on asking every zone until none has anything more to say.
func (n *twin) criteria() {
	for z := 0; z < len(n.zones); z++ {
		var held []int
		again, beside := false, false
		for i, p := range n.at {
			if int(p.Zone) == z && p.held {
				held = append(held, i)
				again = again || p.again
			}
			beside = beside || slices.Contains(n.zones[z].Others, p.Zone) && p.Sense != Direct && (p.fire || p.held || n.looking == i)
		}
		if n.sure[z] || len(held) == 0 {
			continue
		}
		met := map[Confirm]bool{
			Nothing: true, SameOrOther: len(held) > 1 || again, Other: len(held) >= n.zones[z].Detectors, OtherZone: beside,
		}[n.zones[z].Confirm]
		met = met || n.looking >= 0 && int(n.at[n.looking].Zone) == z
		switch {
		case !met:
		case len(held) == 1 && n.zones[z].Investigate && n.looking < 0 && !n.anyFire():
			n.looking, n.began, n.gone = held[0], false, false
			n.at[held[0]].held = false
			z = -1
		default:
			for _, i := range held {
				n.burn(i)
			}
			n.sure[z] = true
			z = -1
		}
	}
}

// operate does what an operator does.
func (n *twin) operate(act string, latched func(int) bool) {
	switch {
	case act == "ack" && n.looking >= 0 && n.began && !n.gone:
		n.gone, n.until = true, n.now+ticks(n.zones[n.at[n.looking].Zone].Extra)
	case act == "reset":
		for i := range n.at {
			p := &n.at[i]
			switch {
			case !p.fire:
				n.drop(i)
			case !latched(i): // that its line decides anew goes without saying
				*p = twinPoint{Point: p.Point}
			}
		}
		for z := range n.sure {
			n.sure[z] = n.sure[z] && n.staysSure(z)
		}
		for i := range n.at { // type C, no longer sure: what is left is a first signal again
			if p := &n.at[i]; p.Zone >= 0 && p.fire && p.Sense != Direct && !n.sure[p.Zone] && n.zones[p.Zone].First == Fire {
				p.held = true
			}
		}
	case strings.HasPrefix(act, "drop "):
		if i := int(pointNamed(act[5:])); !n.at[i].fire {
			n.drop(i)
		}
	}
}

// staysSure says whether a zone that was sure is so after a reset.
func (n *twin) staysSure(z int) bool {
	own, beside, sure := 0, 0, false
	for _, p := range n.at {
		switch {
		case !p.fire:
		case int(p.Zone) == z && p.Sense == Direct:
			sure = true
		case int(p.Zone) == z:
			own++
		case slices.Contains(n.zones[z].Others, p.Zone) && p.Sense != Direct:
			beside++
		}
	}
	rule := n.zones[z]
	switch {
	case sure:
		return true
	case rule.First == Fire && rule.Confirm == Other:
		return own >= rule.Detectors
	case rule.First == Fire && rule.Confirm == OtherZone:
		return own > 0 && beside > 0
	}
	return own > 0
}

// drop forgets a device's signal.
func (n *twin) drop(i int) {
	p := &n.at[i]
	if p.held && !p.fire || p.restart > 0 || p.window > 0 || n.looking == i {
		n.ready = append(n.ready, int32(i))
	}
	*p = twinPoint{Point: p.Point, fire: p.fire}
	if n.looking == i {
		n.looking = -1
	}
}

// end ends a tick: whatever ends with it comes now.
func (n *twin) end(off bool) {
	if i := n.looking; i >= 0 {
		switch {
		case off || n.began && n.until == n.now:
			n.burn(i)
		case !n.began:
			n.began, n.until, n.at[i].early = true, n.now+ticks(n.zones[n.at[i].Zone].AcknowledgeWithin), true
		}
	}
	n.criteria()
	for i := range n.at {
		p := &n.at[i]
		switch {
		case p.restart == n.now && p.restart > 0:
			p.restart, p.window = 0, n.now+ticks(n.zones[p.Zone].Window)
			n.ready = append(n.ready, int32(i))
		case p.window == n.now:
			p.window = 0
		case p.held && p.unready && p.wait == n.now:
			p.unready = false
			n.ready = append(n.ready, int32(i))
		case p.held && !p.fire && p.hold == n.now:
			p.held, p.early = false, false
			if n.zones[p.Zone].Confirm != SameOrOther {
				n.ready = append(n.ready, int32(i))
			}
		}
	}
}

// drawZone draws a zone whose options go together.
func drawZone(t *rapid.T, number int) Zone {
	secs := func(name string, values ...int) time.Duration {
		return time.Duration(rapid.SampledFrom(values).Draw(t, name)) * time.Second
	}
	z := Zone{Detectors: rapid.IntRange(2, 3).Draw(t, "detectors"), Within: secs("within", 7, 12, 30), ReadyAfter: secs("ready", 2, 3, 5)}
	z.Confirm = rapid.SampledFrom([]Confirm{Nothing, SameOrOther, Other, OtherZone}).Draw(t, "confirm")
	if z.Confirm != Nothing {
		z.First = rapid.SampledFrom([]First{Unseen, Prealarm, Fire}).Draw(t, "first")
	}
	if z.Confirm == OtherZone {
		z.Others = []int32{int32(1 - number)}
	}
	if rapid.Bool().Draw(t, "verified") {
		z.Restart, z.Window = secs("restart", 1, 2, 4), secs("window", 3, 6)
	}
	if z.First != Fire && (z.Confirm == Nothing || z.Confirm == SameOrOther) && rapid.Bool().Draw(t, "investigated") {
		z.Investigate, z.AcknowledgeWithin, z.Extra = true, secs("acknowledge", 2, 4), secs("extra", 0, 5, 9)
	}
	return z
}

// Random zones and traces against the twin, compared at every second; and the same trace in a state
// that was copied half way gives the same.
func TestAgainstTwin(t *testing.T) {
	const name, byDefault = "rapid.checks", "100"
	if f := flag.Lookup(name); f.Value.String() == byDefault { // unless the command line asks for another number
		if err := flag.Set(name, "5000"); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = flag.Set(name, byDefault) })
	}
	seen := map[Kind]int{}
	rapid.Check(t, func(t *rapid.T) {
		zones := []Zone{drawZone(t, 0), drawZone(t, 1)}
		b, n := newBench(zones...), newTwin(zones)
		var script []string
		seconds := rapid.IntRange(5, 60).Draw(t, "seconds")
		for second := 1; second <= seconds; second++ { // 0 is no time to the twin
			b.runTo(time.Duration(second) * time.Second)
			b.ready = nil
			n.now, n.ready = second, nil
			for range rapid.SampledFrom([]int{0, 0, 0, 1, 1, 2}).Draw(t, "acts") {
				act := rapid.SampledFrom([]string{"s1", "s1", "s2", "h1", "c1", "t1", "t2", "g1", "d1", "u1", "ack", "ack", "ack", "ack", "reset",
					"clear s1", "clear h1", "clear c1", "clear t1", "clear d1", "clear u1", "drop s1", "drop t1", "given off", "given on"}).Draw(t, "act")
				script = append(script, fmt.Sprintf("%d %s", second, act))
				n.act(act, b.active)
				b.act(act)
				if p := pointNamed(act); p >= 0 && bureau[p].Sense == Direct {
					if _, fires := b.fire[p]; !fires {
						t.Fatalf("%s is held back at %v: %s", act, b.now, strings.Join(script, "; "))
					}
				}
			}
			b.settle()
			n.end(b.off)
			compare(t, b, n, zones, script)
			if second == 4 {
				copied := &State{}
				copied.CopyFrom(b.state)
				b.rules.Signal(b.state, b.now, 0, 1, newRecorder()) // what the old one does is nothing to the copy
				b.state = copied
			}
		}
		b.checkChains(t)
		for _, c := range b.events {
			seen[c.Kind]++
		}
	})
	t.Logf("changes by kind: %v", seen)
	for kind := VerificationStarted; kind <= InvestigationEnded; kind++ {
		if seen[kind] == 0 {
			t.Errorf("no change of kind %d came about", kind)
		}
	}
}

func (n *twin) act(act string, active map[int32]bool) {
	if p := pointNamed(act); p >= 0 {
		n.signal(int(p))
		return
	}
	n.operate(act, func(i int) bool { return active[int32(i)] })
}

// compare compares all there is to see.
func compare(t *rapid.T, b *bench, n *twin, zones []Zone, script []string) {
	var fire, early, twinFire, twinEarly []string
	for i, p := range n.at {
		if _, ok := b.fire[int32(i)]; ok {
			fire = append(fire, bureau[i].name)
		}
		if b.early[int32(i)] {
			early = append(early, bureau[i].name)
		}
		if p.fire {
			twinFire = append(twinFire, bureau[i].name)
		}
		if p.early {
			twinEarly = append(twinEarly, bureau[i].name)
		}
	}
	sure := []bool{b.sure[0], b.sure[1]}
	ready, twinReady := slices.Clone(b.ready), slices.Clone(n.ready)
	slices.Sort(ready)
	slices.Sort(twinReady)
	if !slices.Equal(fire, twinFire) || !slices.Equal(early, twinEarly) || !slices.Equal(sure, n.sure) || !slices.Equal(ready, twinReady) {
		t.Fatalf("at %v: fire %v, pre-alarm %v, sure %v, ready %v\ntwin:   fire %v, pre-alarm %v, sure %v, ready %v\n%+v\n%s\n%s",
			b.now, fire, early, sure, ready, twinFire, twinEarly, n.sure, twinReady, zones, strings.Join(script, "; "), strings.Join(b.lines, "; "))
	}
}
