package wire

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// plan describes a loop in a few words.
type plan struct {
	ring    bool
	devices int     // addresses 1, 2, ...
	run     float64 // metres, every run
	after   []int   // isolators on their own, after these addresses
	built   []int   // addresses with an isolator built in
	mm2     float64
	volts   float64
	spurs   map[int]int // address -> address it tees from
}

func (p plan) loop() *pb.Loop {
	if p.mm2 == 0 {
		p.mm2 = 1.5
	}
	if p.volts == 0 {
		p.volts = 28
	}
	l := &pb.Loop{Loop: proto.Uint32(1), Wiring: "branch", Driver: &pb.Driver{VoltageV: &p.volts}, Cable: &pb.Cable{ConductorMm2: &p.mm2}}
	if p.ring {
		l.Wiring, l.ReturnCableM = "ring", &p.run
	}
	for a := 1; a <= p.devices; a++ {
		d := &pb.Device{Address: new(uint32(a)), Label: fmt.Sprint(a), CableM: &p.run, Kind: &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}}
		if from, ok := p.spurs[a]; ok {
			d.SpurFrom = new(uint32(from))
		}
		if slices.Contains(p.built, a) {
			d.Isolator = &pb.Isolator{}
		}
		l.Devices = append(l.Devices, d)
		if slices.Contains(p.after, a) {
			l.Devices = append(l.Devices, &pb.Device{Label: fmt.Sprintf("I%d", a), CableM: proto.Float64(0), Isolator: &pb.Isolator{}})
		}
	}
	return l
}

func build(t testing.TB, l *pb.Loop) *Network {
	t.Helper()
	n, found := Compile("loops[0]", l, nil)
	for _, f := range found {
		t.Errorf("%s at %s: %s (%s)", f.GetCode(), f.GetPath(), f.GetTitle(), f.GetDetail())
	}
	if n == nil || finding.Worst(found) >= pb.Severity_SEVERITY_REFUSED {
		t.Fatal("the loop does not compile")
	}
	return n
}

// bench runs one loop and writes down what happens.
type bench struct {
	t   testing.TB
	n   *Network
	s   *State
	log []string
	ids uint64
}

func newBench(t testing.TB, n *Network) *bench { return &bench{t: t, n: n, s: n.NewState(), ids: 1} }

func (b *bench) Note(c Change) uint64 {
	// 0 is the start itself, where the supply cannot carry the loop; 1 the calls that a test makes
	if c.Parent == 0 && b.n.safe || c.Parent > b.ids {
		b.t.Errorf("the event after %d has the parent %d: %+v", b.ids, c.Parent, c)
	}
	b.ids++
	what := map[ChangeKind]string{FedChanged: "fed", HoldEnded: "hold-up over", IsolatorChanged: "isolator closed", TerminalChanged: "terminal closed", CollapsedChanged: "collapsed", OverloadChanged: "overload"}[c.Kind]
	name := ""
	switch c.Kind {
	case FedChanged, HoldEnded, IsolatorChanged:
		name = b.n.Label(c.Index) + " "
	case TerminalChanged:
		name = string('A'+c.Index) + " "
	}
	b.log = append(b.log, fmt.Sprintf("%v %s%s=%v", b.s.now, name, what, c.On))
	return b.ids
}

// run advances to an instant, checking conservation at each step.
func (b *bench) run(to time.Duration) {
	b.t.Helper()
	for {
		next, due := b.n.Next(b.s)
		if !due || next > to {
			break
		}
		b.n.Advance(b.s, next, b)
		conserved(b.t, b.s)
	}
	b.n.Advance(b.s, to, b)
}

// at places a fault before the device with an address (0: in the return run).
func (b *bench) at(f Fault, before int) int32 {
	f.Run = b.n.Return()
	if before > 0 {
		f.Run, _ = b.n.ByAddress(uint32(before))
	}
	if f.At == 0 {
		f.At = 0.5
	}
	b.ids++
	id := b.n.Place(b.s, b.s.now, f, b.ids, b)
	conserved(b.t, b.s)
	return id
}

// lost lists the addresses that are not fed, as a text like "4-6 9".
func (b *bench) lost() string {
	var parts []string
	from, last := 0, -1
	flush := func() {
		switch {
		case last < 0:
		case from == last:
			parts = append(parts, fmt.Sprint(from))
		default:
			parts = append(parts, fmt.Sprintf("%d-%d", from, last))
		}
	}
	for e := range b.n.Entries() {
		if a := int(b.n.entries[e].address); a > 0 && !b.n.Fed(b.s, int32(e)) {
			if a != last+1 || last < 0 {
				flush()
				from = a
			}
			last = a
		}
	}
	flush()
	return strings.Join(parts, " ")
}

// conserved checks every node for current, and the whole for power: what goes in comes out.
// Tolerances: 1 nA + 1e-9 of the current through the node's links; 1 nW + 1e-9 of the power in.
func conserved(t testing.TB, s *State) {
	t.Helper()
	w := &s.work
	if !w.fresh || !w.solved || w.driver.collapsed && w.driver.volts == 0 {
		return
	}
	sum, size := make([]pair, len(w.nodes)), make([]pair, len(w.nodes))
	spent, earth := 0.0, 0.0
	flow := func(v, ohm float64, a, b, as, bs *float64) {
		if math.IsInf(ohm, 1) {
			return
		}
		i := v / ohm
		*a -= i
		*b += i
		*as += math.Abs(i)
		*bs += math.Abs(i)
		spent += i * v
	}
	var top, topSize pair
	terminal := func(k int32, ohm pair) {
		flow(w.driver.volts-w.v[k].p, ohm.p, &top.p, &sum[k].p, &topSize.p, &size[k].p)
		flow(-w.v[k].n, ohm.n, &top.n, &sum[k].n, &topSize.n, &size[k].n)
	}
	for k := range w.nodes {
		d := &w.nodes[k]
		if d.parent < 0 {
			terminal(int32(k), d.ohm)
		} else {
			u := d.parent
			flow(w.v[u].p-w.v[k].p, d.ohm.p, &sum[u].p, &sum[k].p, &size[u].p, &size[k].p)
			flow(w.v[u].n-w.v[k].n, d.ohm.n, &sum[u].n, &sum[k].n, &size[u].n, &size[k].n)
		}
		if d.short > 0 {
			flow(w.v[k].p-w.v[k].n, 1/d.short, &sum[k].p, &sum[k].n, &size[k].p, &size[k].n)
		}
		if w.earths > 1 {
			var unused float64
			if d.earth.p > 0 {
				flow(w.v[k].p-w.border.ve, 1/d.earth.p, &sum[k].p, &earth, &size[k].p, &unused)
			}
			if d.earth.n > 0 {
				flow(w.v[k].n-w.border.ve, 1/d.earth.n, &sum[k].n, &earth, &size[k].n, &unused)
			}
		}
	}
	if w.end >= 0 && !s.iso[farEnd].open {
		terminal(w.end, pair{leastOhm, leastOhm})
	}
	if !w.driver.collapsed {
		for e, amps := range w.draw {
			if amps != 0 && !w.off[e] {
				at := w.at[e]
				sum[at].p -= amps
				sum[at].n += amps
				spent += amps * (w.v[at].p - w.v[at].n)
			}
		}
	}
	for k := range sum {
		if math.Abs(sum[k].p) > 1e-9+1e-9*size[k].p || math.Abs(sum[k].n) > 1e-9+1e-9*size[k].n {
			t.Fatalf("node %d does not conserve current: %g and %g A of %g and %g", k, sum[k].p, sum[k].n, size[k].p, size[k].n)
		}
	}
	if math.Abs(earth) > 1e-9 {
		t.Fatalf("%g A go to earth and do not come back", earth)
	}
	in := w.driver.volts * w.driver.amps
	if math.Abs(in-spent) > 1e-9+1e-9*in || math.Abs(top.p+w.driver.amps) > 1e-9+1e-9*topSize.p || math.Abs(top.n-w.driver.amps) > 1e-9+1e-9*topSize.n {
		t.Fatalf("the driver gives %g A, %g W; the loop takes %g A, returns %g A, spends %g W", w.driver.amps, in, -top.p, top.n, spent)
	}
}
