package wire

import (
	"slices"
	"strings"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A ring of 1 km and 24.2 ohm, 100 devices of 0.3 mA evenly spaced, 24 V. Computed load by load; the
// textbook's uniform load drops I R/2 = 0.363 V from one end and I R/8 = 0.0908 V from both.
func TestUniformRing(t *testing.T) {
	f := build(t, plan{ring: true, devices: 100, run: 1000.0 / 101, volts: 24}.loop()).Figures()
	near(t, "last device, one end", float64(f.OneEndRest.MicroVolt)/1e6, 23.637, 0.0005)
	near(t, "where", float64(f.OneEndRest.Entry), 99, 0)
	near(t, "middle device, both ends", float64(f.BothEndsRest.MicroVolt)/1e6, 23.9084, 0.0001)
	near(t, "where", float64(f.BothEndsRest.Entry), 49.5, 0.5)
	near(t, "metres", float64(f.Millimetres)/1000, 1000, 0.001)
	near(t, "current at rest, mA", float64(f.RestMicroAmp)/1000, 30, 1e-9)
}

// By hand: 126 devices of 0.3 mA, 10 indicators of 4 mA, 20 sounders of 5 mA: 177.8 mA.
// The sounders are among the 126.
func TestAlarmCurrent(t *testing.T) {
	l := plan{ring: true, devices: 126, run: 5}.loop()
	for _, d := range l.GetDevices()[50:70] {
		d.Kind = &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{}}
	}
	f := build(t, l).Figures()
	near(t, "alarm current, mA", float64(f.AlarmMicroAmp)/1000, 177.8, 1e-9)
	near(t, "rest current, mA", float64(f.RestMicroAmp)/1000, 37.8, 1e-9)
}

// By hand: ring lengths for 40 ohm: 1105, 1653, 2699 m; 0.18 and 0.48 uF; 20 closed isolators of
// 0.1 ohm make 24.2 ohm 26.2.
func TestLengthCapacitanceIsolators(t *testing.T) {
	for mm2, m := range map[float64]float64{1: 1105, 1.5: 1653, 2.5: 2699} { // order does not show: independent checks
		f := build(t, plan{ring: true, run: m, mm2: mm2}.loop()).Figures()
		near(t, "ohm", float64(f.LoopMicroOhm)/1e6, 40, 0.02)
	}
	for pf, c := range map[float64]struct{ m, uf float64 }{120: {1500, 0.18}, 240: {2000, 0.48}} { // order does not show: independent checks
		l := plan{ring: true, run: c.m}.loop()
		l.Cable.CapacitancePfPerM = &pf
		near(t, "uF", float64(build(t, l).Figures().Picofarads)/1e6, c.uf, 1e-9)
	}
	var all []int
	for a := 1; a <= 20; a++ {
		all = append(all, a)
	}
	n := build(t, plan{ring: true, devices: 20, run: 1000.0 / 21, built: all}.loop())
	near(t, "ohm with isolators", float64(n.Figures().LoopMicroOhm)/1e6, 26.2, 1e-6)
	// A branch counts to its worst end, here that of a spur on a spur: 30 m of 24.2 ohm/km.
	spurred := plan{devices: 4, run: 10, spurs: map[int]int{3: 1, 4: 3}}.loop()
	near(t, "ohm of a branch", float64(build(t, spurred).Figures().LoopMicroOhm)/1e6, 0.726, 1e-6)
}

// twelve is a ring for the class rules: A-1-2-...-12-B, isolators in the gaps 3|4, 6|7, 9|10.
var twelve = plan{ring: true, devices: 12, run: 20, after: []int{3, 6, 9}}

// look lets the panel look at continuity, as it does at the end of every round.
func (b *bench) look() {
	b.t.Helper()
	b.ids++
	if !b.n.Continuity(b.s) {
		b.n.DriveFarEnd(b.s, b.s.now, true, b.ids, b)
		conserved(b.t, b.s)
	} else if b.s.Faults() == 0 {
		b.n.DriveFarEnd(b.s, b.s.now, false, b.ids, b)
	}
}

// The class rules of NFPA 72 chapter 12, reckoned by hand for the ring of twelve: what one fault, or
// two, take away once all has settled.
func TestWhoIsLost(t *testing.T) {
	short, cut, earth, joint := Fault{Kind: Short}, Fault{Kind: Break}, Fault{Kind: Earth, Core: Positive}, Fault{Kind: Joint, Ohm: 10e3}
	branch := twelve
	branch.ring = false
	bare := twelve
	bare.after = nil
	bareBranch := bare
	bareBranch.ring = false
	built := bare
	built.built = []int{3, 6, 9}
	type where struct {
		f      Fault
		before int
	}
	for _, c := range []struct {
		name   string
		p      plan
		faults []where
		lost   string
	}{
		{"short between 5 and 6", twelve, []where{{short, 6}}, "4-6"},
		{"short between 5 and 6, and an open between 8 and 9", twelve, []where{{short, 6}, {cut, 9}}, "4-8"},
		{"branch, short between 5 and 6", branch, []where{{short, 6}}, "4-12"},
		{"ring without isolators, short", bare, []where{{short, 6}}, "1-12"},
		{"branch, open between 5 and 6", branch, []where{{cut, 6}}, "6-12"},
		{"ring, one open", twelve, []where{{cut, 6}}, ""},
		{"opens 3|4 and 8|9", twelve, []where{{cut, 4}, {cut, 9}}, "4-8"},
		{"single earth", twelve, []where{{earth, 6}}, ""},
		{"isolators built into 3, 6, 9", built, []where{{short, 6}}, "4-5"},
		{"branch, short, no isolators", bareBranch, []where{{short, 6}}, "1-12"},
		{"ring without isolators, open", bare, []where{{cut, 6}}, ""},
		{"branch, earth", bareBranch, []where{{earth, 6}}, ""},
		{"two earths on opposite cores behave as a short", twelve, []where{{earth, 6}, {Fault{Kind: Earth, Core: Negative}, 11}}, "4-6"},
		{"the same, isolators built in: 3 and 6 have a side that lives", built, []where{{earth, 5}, {Fault{Kind: Earth, Core: Negative}, 11}}, "4-5"},
		{"two earths on one core", twelve, []where{{earth, 6}, {earth, 11}}, ""},
		{"one core broken", twelve, []where{{Fault{Kind: Break, Core: Negative}, 6}}, ""},
		{"one core broken on a branch", branch, []where{{Fault{Kind: Break, Core: Negative}, 6}}, "6-12"},
		{"short in the first run", twelve, []where{{short, 1}}, "1-3"},
		{"short in the return run", twelve, []where{{short, 0}}, "10-12"},
		{"short of 1 ohm", twelve, []where{{Fault{Kind: Short, Ohm: 1}, 6}}, "4-6"},
		// 10 kohm in each core: the 2.1 mA of seven devices would drop 42 V of 28, and one of more than 1 kohm
		// counts as a break where a ring looks for one. What lies before it keeps its voltage.
		{"bad joint on a branch", branch, []where{{joint, 6}}, "6-12"},
		{"bad joint on a branch without isolators", bareBranch, []where{{joint, 6}}, "6-12"},
		{"bad joint on a ring", twelve, []where{{joint, 6}}, ""},
		{"bad joint on a ring, and a short in the first run", twelve, []where{{joint, 6}, {short, 1}}, "1-5"},
		{"bad joint in one core", branch, []where{{Fault{Kind: Joint, Core: Negative, Ohm: 20e3}, 6}}, "6-12"},
		{"short of a megohm", twelve, []where{{Fault{Kind: Short, Ohm: 1e6}, 6}}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, build(t, c.p.loop()))
			earthed := false
			for _, w := range c.faults {
				b.at(w.f, w.before)
				earthed = earthed || w.f.Kind == Earth
			}
			for range 4 {
				b.run(b.s.now + 5*time.Second)
				b.look()
			}
			b.run(b.s.now + time.Minute)
			if got := b.lost(); got != c.lost {
				t.Errorf("lost %q, want %q\n%q", got, c.lost, b.log)
			}
			if b.n.EarthFault(b.s) != earthed {
				t.Errorf("earth fault seen: %v, want %v", !earthed, earthed)
			}
		})
	}
}

// A single earth moves no isolator: isolators do not clear a ground
// (https://www.securitysales.com/contributed/fire-side-chat-digging-deeper-to-solve-ground-faults/).
func TestEarthMovesNothing(t *testing.T) {
	b := newBench(t, build(t, twelve.loop()))
	id := b.at(Fault{Kind: Earth, Core: Negative}, 6)
	if next, due := b.n.Next(b.s); due || len(b.log) > 0 {
		t.Errorf("an earth has consequences: %v at %v", b.log, next)
	}
	if !b.n.EarthFault(b.s) || !b.n.Continuity(b.s) {
		t.Error("the panel must see the earth, and no loss of continuity")
	}
	b.n.Repair(b.s, b.s.now, id, 1, b)
	if b.n.EarthFault(b.s) {
		t.Error("the earth is gone and still seen")
	}
}

// A short, step by step: all isolators open after 5 ms, the section's neighbours come back
// isolator by isolator, and the whole heals from the live ends inwards when the short is gone.
func TestShortStory(t *testing.T) {
	b := newBench(t, build(t, twelve.loop()))
	b.run(time.Second)
	id := b.at(Fault{Kind: Short}, 6)
	b.run(3 * time.Second)
	b.look()
	b.run(6 * time.Second)
	if got := b.lost(); got != "4-6" {
		t.Fatalf("lost %q", got)
	}
	var moves []string
	for _, l := range b.log {
		if strings.Contains(l, "isolator") || strings.Contains(l, "terminal") {
			moves = append(moves, l)
		}
	}
	want := []string{
		"1.005s A terminal closed=false", "1.005s I3 isolator closed=false", "1.005s I6 isolator closed=false", "1.005s I9 isolator closed=false",
		"1.105s A terminal closed=true", "3s B terminal closed=true", "3.1s I9 isolator closed=true",
	}
	if !slices.Equal(moves, want) {
		t.Errorf("moves\n%q\nwant\n%q", moves, want)
	}
	b.log = nil
	b.n.Repair(b.s, b.s.now, id, 1, b)
	b.run(8 * time.Second)
	if got := b.lost(); got != "" || !b.n.Continuity(b.s) {
		t.Errorf("after repair lost %q, continuity %v: %q", got, b.n.Continuity(b.s), b.log)
	}
	b.look()
	if b.n.FarDriven(b.s) || b.lost() != "" {
		t.Error("the ring is whole: the far end is watched again, and nobody loses voltage")
	}
}

// A break on a ring: full service within 200 s (NFPA 72, A5 and A6), devices beyond restart.
func TestBreakStory(t *testing.T) {
	b := newBench(t, build(t, twelve.loop()))
	b.at(Fault{Kind: Break}, 6)
	if got := b.lost(); got != "6-12" {
		t.Fatalf("lost %q at once", got)
	}
	b.run(30 * time.Millisecond)
	b.look() // sooner than the hold-up, but the isolators beyond have opened
	if got := b.lost(); got != "6-9" {
		t.Fatalf("lost %q once the far end is driven", got)
	}
	b.run(time.Second)
	if got := b.lost(); got != "" {
		t.Fatalf("lost %q after a second", got)
	}
}

// Stuck isolators: one that does not open enlarges the lost section; one stuck open parts the ring.
func TestStuckIsolators(t *testing.T) {
	b := newBench(t, build(t, twelve.loop()))
	i6, _ := b.n.ByLabel("I6")
	b.n.Stick(b.s, 0, i6, StuckClosed, 1, b)
	b.at(Fault{Kind: Short}, 6)
	b.run(time.Second)
	b.look()
	b.run(10 * time.Second)
	if got := b.lost(); got != "4-9" {
		t.Errorf("stuck closed: lost %q", got)
	}
	b.n.Stick(b.s, b.s.now, i6, StuckOpen, 1, b) // what it parts from the short is looked at again
	b.run(20 * time.Second)
	if got := b.lost(); got != "4-6" {
		t.Errorf("opened by hand: lost %q", got)
	}
	b = newBench(t, build(t, twelve.loop()))
	b.n.Stick(b.s, 0, i6, StuckOpen, 1, b)
	if b.n.Continuity(b.s) {
		t.Error("stuck open: continuity")
	}
	b.run(time.Second)
	if got := b.lost(); got != "7-12" {
		t.Errorf("stuck open: lost %q", got)
	}
	b.look()
	b.run(10 * time.Second)
	if got := b.lost(); got != "" {
		t.Errorf("stuck open, both ends driven: lost %q", got)
	}
}

// Spurs, and spurs on spurs; a spur at a device with an isolator tees at the terminal turned
// away from the panel.
func TestSpurs(t *testing.T) {
	p := plan{ring: true, devices: 8, run: 10, built: []int{2, 4}, spurs: map[int]int{5: 2, 6: 5, 7: 6}}
	for _, c := range []struct {
		f      FaultKind
		before int
		lost   string
	}{{Break, 5, "5-7"}, {Break, 6, "6-7"}, {Short, 7, "3 5-7"}, {Short, 2, "1"}, {Short, 8, "8"}} {
		b := newBench(t, build(t, p.loop()))
		b.at(Fault{Kind: c.f}, c.before)
		b.run(time.Second)
		b.look()
		b.run(10 * time.Second)
		if got := b.lost(); got != c.lost {
			t.Errorf("fault %d before %d: lost %q, want %q", c.f, c.before, got, c.lost)
		}
	}
}

// A loop that is fine at rest and not in alarm: the far devices drop out after the hold-up, the
// sounders with them, and nothing chatters.
func TestBrownOut(t *testing.T) {
	l := plan{devices: 40, run: 100, mm2: 0.5, volts: 24}.loop() // 2 x 36 ohm/km over 4 km
	for _, d := range l.GetDevices()[20:] {
		d.Kind = &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{}}
	}
	for _, k := range []float64{400, 20} { // milliamperes of the driver: drop, and overload
		l.Driver.CurrentLimitMa = &k
		n := build(t, l)
		b := newBench(t, n)
		if b.lost() != "" || b.s.safe {
			t.Fatalf("at rest: lost %q, safe %v", b.lost(), b.s.safe)
		}
		for e := range n.Entries() {
			if n.entries[e].sounder > 0 {
				b.ids++
				n.SetLoads(b.s, b.s.now, int32(e), false, true, b.ids, b)
				conserved(t, b.s)
			}
		}
		if b.lost() == "" {
			t.Fatal("nobody drops out")
		}
		events := len(b.log)
		b.run(time.Minute)
		if got := b.lost(); got != "" {
			t.Errorf("limit %g mA: lost %q once the sounders have dropped out", k, got)
		}
		if len(b.log)-events > 3*40+4 {
			t.Errorf("limit %g mA: chatter: %d changes %q", k, len(b.log)-events, b.log)
		}
	}
}

// Ten indicators and no more are lit, in the order in which they were asked for.
func TestIndicators(t *testing.T) {
	n := build(t, plan{ring: true, devices: 14, run: 10}.loop())
	b := newBench(t, n)
	if !b.s.safe {
		t.Fatal("a small healthy loop needs no solve")
	}
	for e := range int32(14) {
		n.SetLoads(b.s, 0, 13-e, true, false, 1, b)
	}
	near(t, "mA", float64(n.Current(b.s))/1000, 14*0.3+10*4, 1e-3)
	if n.Voltage(b.s, 0) <= n.Voltage(b.s, 5) {
		t.Error("the voltage falls along the line")
	}
	solves := b.s.Solves()
	n.SetLoads(b.s, 0, 13, false, false, 1, b)
	if b.s.Solves() != solves {
		t.Error("a load of a healthy loop cost a solve")
	}
	near(t, "mA", float64(n.Current(b.s))/1000, 14*0.3+10*4, 1e-3)
	for e := range int32(5) {
		n.SetLoads(b.s, 0, e, false, false, 1, b)
	}
	near(t, "mA", float64(n.Current(b.s))/1000, 14*0.3+8*4, 1e-3)
}

// A device rides through 50 ms without voltage (rule H6, common practice): in them it still takes what it is
// told of its indicator, and shows it when the line is back. What is dark for longer takes no notice.
func TestIndicatorInHoldUp(t *testing.T) {
	for _, c := range []struct {
		name     string
		told     time.Duration // after the break; the line is whole 10 ms later
		milliamp float64       // a second later: at rest, and 4 mA of the indicator
	}{
		{"in the hold-up", 30 * time.Millisecond, 0.3 + 4},
		{"in the dark", 60 * time.Millisecond, 0.3},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, build(t, plan{devices: 1, run: 10}.loop()))
			id := b.at(Fault{Kind: Break}, 1)
			b.run(c.told)
			b.n.SetLoads(b.s, b.s.now, 0, true, false, 1, b)
			b.run(c.told + 10*time.Millisecond)
			b.n.Repair(b.s, b.s.now, id, 1, b)
			b.run(b.s.now + time.Second)
			near(t, "mA", float64(b.n.Current(b.s))/1000, c.milliamp, 1e-3)
		})
	}
}

// Pathway classes that wiring achieves (NFPA 72 chapter 12; table of section 2.2 row by row).
func TestClass(t *testing.T) {
	for _, c := range []struct {
		p    plan
		want string
	}{
		{plan{devices: 12, run: 20}, "b"},
		{plan{devices: 12, run: 20, after: []int{3, 6, 9}}, "b"},
		{plan{ring: true, devices: 12, run: 20}, "a"},
		{plan{ring: true, devices: 12, run: 20, after: []int{12}}, "a"},
		{twelve, "x"},
		{plan{ring: true, devices: 12, run: 20, built: []int{3, 6, 9}}, "x"},
		{plan{ring: true, devices: 12, run: 20, after: []int{3, 6, 9}, spurs: map[int]int{5: 4}}, "b"},
	} {
		if got, run := build(t, c.p.loop()).Class(); got != c.want {
			t.Errorf("%+v achieves %q (run %d), want %q", c.p, got, run, c.want)
		}
	}
}

// A dead short in the first run is the worst: the panel must first notice, then the isolators of the
// far end close one after another; the last device restarts. Reckoned by hand: just before a look,
// so that the isolators open just after; in the round that follows nobody answers.
func TestBlind(t *testing.T) {
	n := build(t, twelve.loop())
	visits := Visits{Reply: 12 * time.Millisecond, NoReply: 20 * time.Millisecond, Switch: time.Millisecond}
	for e := range int32(n.Entries()) {
		if n.IsDevice(e) {
			visits.Entries = append(visits.Entries, e)
		}
	}
	// far end at the look, 9|10 after 100 ms, 6|7 after 200 ms, 3|4 stays; restart 500 ms
	want := OpenTime + 12*visits.NoReply + visits.Switch + 2*CloseTime + RestartTime
	if got := n.Blind(0, visits); got != want {
		t.Errorf("blind for %v, want %v", got, want)
	}
	visits.Probe = true
	if got := n.Blind(0, visits); got != want+visits.NoReply {
		t.Errorf("with a probe blind for %v, want %v", got, want+visits.NoReply)
	}
	// 9|10 borders the return run: terminal, 3|4, 6|7 one after another; restart
	if got, want := n.Blind(n.Return(), visits), OpenTime+3*CloseTime+RestartTime; got != want {
		t.Errorf("blind for %v, want %v", got, want)
	}
	// Slow polling: 1, 2 and 3 are back 605 ms after the short, and from then on answer.
	visits.NoReply, visits.Reply, visits.Probe = 500*time.Millisecond, 100*time.Millisecond, false
	slow := OpenTime + 2*500*time.Millisecond + 100*time.Millisecond + 9*500*time.Millisecond + visits.Switch + 2*CloseTime + RestartTime
	beyond, _ := n.ByAddress(4)
	if got := n.Blind(beyond, visits); got != slow-CloseTime {
		t.Errorf("blind for %v, want %v", got, slow-CloseTime)
	}
	if got := build(t, plan{devices: 3, run: 1}.loop()).Blind(0, visits); got != 0 {
		t.Errorf("all lost for good, and yet blind for %v", got)
	}
}

// NFPA 72 23.6.1 (2016 and later): a short between 5 and 6 takes 4, 5 and 6; with 4 and 5 in one zone and 6 in another
// one short takes devices in two zones. The zones are the caller's; the devices are found here.
func TestOneShortOneZone(t *testing.T) {
	n := build(t, twelve.loop())
	zone := map[string]int{"4": 1, "5": 1, "6": 2}
	six, _ := n.ByAddress(6)
	hit := map[int]bool{}
	for _, e := range n.Survey().Lost(Short, six, nil) {
		hit[zone[n.Label(e)]] = true
	}
	if len(hit) != 2 || !hit[1] || !hit[2] {
		t.Errorf("zones hit: %v", hit)
	}
}

// The driver at its limit: a load of more than the limit's worth collapses the line, a short folds it
// back to a quarter, and half a short holds it at the limit (28 V, 400 mA, 60 ohm: 24 V).
func TestDriver(t *testing.T) {
	short := func(ohm float64) *bench {
		b := newBench(t, build(t, plan{devices: 1, run: 0}.loop()))
		b.at(Fault{Kind: Short, Ohm: ohm}, 1)
		return b
	}
	b := short(60)
	near(t, "at the limit, mA", float64(b.n.Current(b.s))/1000, 400, 1e-9)
	near(t, "V at 60 ohm", float64(b.n.Voltage(b.s, 0))/1e6, 60*(0.4-0.0003), 0.001)
	if b.n.Collapsed(b.s) || b.lost() != "" {
		t.Errorf("60 ohm across the line: collapsed %v, lost %q", b.n.Collapsed(b.s), b.lost())
	}
	if b = short(0); !b.n.Collapsed(b.s) || b.lost() != "1" {
		t.Errorf("a dead short: collapsed %v, lost %q", b.n.Collapsed(b.s), b.lost())
	}
	near(t, "folded back, mA", float64(b.n.Current(b.s))/1000, 100, 1e-9)
	b.run(time.Second)
	near(t, "parted, mA", float64(b.n.Current(b.s))/1000, 0, 1e-9)
	b = short(43) // 17.2 V less the load: the device keeps what it has, and would not start
	if b.lost() != "" {
		t.Errorf("above its drop-out the device works on: lost %q at %d uV", b.lost(), b.n.Voltage(b.s, 0))
	}
	if b = short(39); b.lost() != "1" { // 15.6 V
		t.Errorf("below its drop-out the device stops: %d uV", b.n.Voltage(b.s, 0))
	}
	var limit float64 = 1
	l := plan{devices: 10, run: 1}.loop()
	l.Driver.CurrentLimitMa = &limit
	n := build(t, l)
	if s := n.NewState(); !n.Collapsed(s) || n.Fed(s, 0) || n.Fed(s, 9) {
		t.Error("a supply that cannot carry the standby current collapses at once")
	}
	if !n.Figures().OneEndRest.Collapsed {
		t.Error("and the figures say so")
	}
}

// A copy goes on as the original does.
func TestCopy(t *testing.T) {
	b := newBench(t, build(t, twelve.loop()))
	b.at(Fault{Kind: Short}, 6)
	b.run(50 * time.Millisecond)
	c := &bench{t: t, n: b.n, s: &State{}, ids: b.ids}
	c.s.CopyFrom(b.s)
	b.log = nil
	for _, x := range []*bench{b, c} {
		x.run(time.Second)
		x.look()
		x.run(5 * time.Second)
	}
	if !slices.Equal(b.log, c.log) || len(b.log) == 0 {
		t.Errorf("original\n%q\ncopy\n%q", b.log, c.log)
	}
}
