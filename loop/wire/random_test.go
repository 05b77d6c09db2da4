package wire

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// randomLoop makes a loop of up to most devices: ring or branch, spurs, spurs on spurs, isolators
// built in and alone, runs of any length down to none.
func randomLoop(r *rand.Rand, most int) *pb.Loop {
	l := &pb.Loop{
		Loop: proto.Uint32(1), Wiring: "branch",
		Driver: &pb.Driver{VoltageV: new(20 + 12*r.Float64()), CurrentLimitMa: new(200 + 800*r.Float64())},
		Cable:  &pb.Cable{OhmPerKm: new(1 + 40*r.Float64())},
	}
	metres := func() *float64 {
		if r.IntN(8) == 0 {
			return proto.Float64(0)
		}
		return new(60 * r.Float64() * r.Float64())
	}
	if r.IntN(2) == 0 {
		l.Driver.SourceOhm = new(10 * r.Float64())
	}
	if r.IntN(3) > 0 {
		l.Wiring, l.ReturnCableM = "ring", metres()
	}
	for a := range uint32(1 + r.IntN(most)) {
		d := &pb.Device{Address: new(a + 1), Label: fmt.Sprint(a + 1), CableM: metres(), Kind: &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}}
		switch r.IntN(6) {
		case 0:
			d.Isolator = &pb.Isolator{}
		case 1:
			d.Kind = &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{CurrentMa: new(1 + 9*r.Float64())}}
		case 2:
			l.Devices = append(l.Devices, &pb.Device{Label: fmt.Sprint("I", a+1), CableM: metres(), Isolator: &pb.Isolator{}})
		}
		if a > 0 && r.IntN(4) == 0 {
			d.SpurFrom = new(1 + uint32(r.IntN(int(a))))
		}
		l.Devices = append(l.Devices, d)
	}
	return l
}

func randomFault(r *rand.Rand, n *Network) Fault {
	f := Fault{Kind: Break + FaultKind(r.IntN(5)), Run: int32(r.IntN(n.Runs())), Core: Core(r.IntN(3)), At: r.Float64()}
	switch f.Kind {
	case Short:
		f.Ohm = []float64{0, 1, 300, 1e5}[r.IntN(4)] * r.Float64()
	case Joint:
		f.Ohm = 20 * r.Float64()
	case Earth:
		f.Ohm = []float64{0, 10, 1e4}[r.IntN(3)] * r.Float64()
	}
	if r.IntN(5) == 0 {
		f.At = float64(r.IntN(2))
	}
	if f.Kind == Reversed && (f.Run == n.Return() || !n.entries[f.Run].device) {
		f.Kind = Short
	}
	return f
}

// randomState puts a loop into any state at all, whether the isolators would leave it there or not.
func randomState(r *rand.Rand, n *Network) *State {
	s := &State{next: never, iso: make([]isoState, len(n.iso)), dev: make([]devState, len(n.entries))}
	s.far = n.ring && r.IntN(2) == 0
	s.iso[farEnd].open = !s.far
	for i := range s.iso {
		s.iso[i].due = never
		if i > farEnd && r.IntN(6) == 0 {
			s.iso[i].open = true
		}
	}
	for range r.IntN(4) {
		s.insert(randomFault(r, n))
	}
	for e := range s.dev {
		if n.entries[e].device {
			if s.dev[e].out = r.IntN(8) == 0; !s.dev[e].out {
				s.setLoads(int32(e), r.IntN(6) == 0, r.IntN(4) == 0)
			}
		}
	}
	n.assemble(s)
	n.solveNow(s)
	return s
}

// element is a conductance between two named nodes of the circuit.
type element struct {
	a, b    string
	siemens float64
}

// source is a current from a to b, amperes, or a power in watts taken between them.
type source struct {
	a, b        string
	amps, watts float64
}

// circuit is a loop's circuit made the naive way: a node for every point where something happens, a
// named element for everything that conducts. "0" is the driver's negative terminal, "d" its
// positive one.
type circuit struct {
	elements []element
	sources  []source
	joints   map[string]string // parent in the forest of joined nodes
	beyond   map[int32]string
}

func (c *circuit) root(x string) string {
	for c.joints[x] != "" && c.joints[x] != x {
		x = c.joints[x]
	}
	return x
}

func (c *circuit) add(a, b string, ohm float64) {
	if math.IsInf(ohm, 1) || a == b {
		return
	}
	c.elements = append(c.elements, element{a, b, 1 / math.Max(ohm, 1e-4)})
}

// naive makes the circuit of a state without anything that the package derives: neither its nodes
// nor its reach.
func naive(n *Network, s *State) *circuit {
	c := &circuit{joints: map[string]string{}, beyond: map[int32]string{}}
	cores, turned := [2]string{"p", "n"}, map[int32]bool{}
	stretch := func(r int32, from, to string) {
		at, done := from, 0.0
		extra := [2]float64{}
		count := 0
		step := func(next string, length float64) {
			for k, core := range cores {
				c.add(core+at, core+next, n.runs[r].ohm*length+extra[k])
			}
			at, extra = next, [2]float64{}
		}
		for i := range s.faults {
			f := &s.faults[i]
			if f.Run != r {
				continue
			}
			hit := [2]bool{f.Core != Negative, f.Core != Positive}
			here := fmt.Sprintf("r%dx%d", r, count)
			count++
			switch f.Kind {
			case Reversed:
				if !s.dev[r].out && !turned[r] {
					c.add("p"+to, "n"+to, f.Ohm)
					if n.entries[r].iso >= 0 {
						c.add("p"+c.beyond[r], "n"+c.beyond[r], f.Ohm)
					}
					turned[r] = true
				}
			case Short, Earth:
				step(here, f.At-done)
				done = f.At
				if f.Kind == Short {
					c.add("p"+here, "n"+here, f.Ohm)
					continue
				}
				for k, core := range cores {
					if hit[k] {
						c.add(core+here, "earth", f.Ohm)
					}
				}
			case Break, Joint:
				for k := range cores {
					if hit[k] && f.Kind == Break {
						extra[k] = math.Inf(1)
					} else if hit[k] {
						extra[k] += f.Ohm
					}
				}
			}
		}
		step(to, 1-done)
	}
	names := make([]string, len(n.entries))
	if !s.iso[terminalA].open {
		c.add("d", "pa", 0)
		c.add("0", "na", 0)
	}
	chain := "a"
	for e := range n.entries {
		names[e] = fmt.Sprintf("e%d", e)
		c.beyond[int32(e)] = names[e]
		if n.entries[e].iso >= 0 {
			c.beyond[int32(e)] = fmt.Sprintf("f%d", e)
		}
	}
	for e := range n.entries {
		from := chain
		if n.entries[e].spur {
			from = c.beyond[n.entries[e].parent]
		} else {
			chain = c.beyond[int32(e)]
		}
		stretch(int32(e), from, names[e])
		if i := n.entries[e].iso; i >= 0 {
			c.add("n"+names[e], "n"+c.beyond[int32(e)], 0)
			if !s.iso[i].open {
				c.add("p"+names[e], "p"+c.beyond[int32(e)], n.iso[i].ohm)
			}
		}
	}
	if n.ring {
		stretch(n.Return(), chain, "b")
		if !s.iso[farEnd].open {
			c.add("d", "pb", 0)
			c.add("0", "nb", 0)
		}
	}
	c.load(n, s, names)
	for _, x := range c.elements { // who is joined to anything at all, for elimination
		c.joints[c.root(x.a)] = c.root(x.b)
	}
	return c
}

// load adds what the devices draw, where both cores lead back to the driver. Which ones have been
// starved is the solver's word; conservation and the driver's own voltage are checked elsewhere.
func (c *circuit) load(n *Network, s *State, names []string) {
	reached, wired := c.reach(), c.metal().reach()
	both := func(by map[string]bool, at string) bool { return by["p"+at] && by["n"+at] }
	asked := map[int32]bool{}
	for _, e := range s.lit[:min(len(s.lit), 10)] {
		asked[e] = true
	}
	for e := range n.entries {
		k := &n.entries[e]
		if !k.device || s.dev[e].out || s.work.off[e] || s.work.driver.collapsed {
			continue
		}
		at, other := names[e], c.beyond[int32(e)]
		if !both(reached, at) || !both(wired, at) && both(wired, other) {
			at = other
		}
		if !both(reached, at) {
			continue
		}
		amps, watts := k.standby, 0.0
		if s.dev[e].sounder && k.watts {
			watts = k.sounder * n.volts
		} else if s.dev[e].sounder {
			amps += k.sounder
		}
		if asked[int32(e)] {
			amps += k.indicator
		}
		if n.all {
			amps, watts = 0, watts+amps*n.volts
		}
		for _, x := range []source{{amps: amps}, {watts: watts}} {
			if x.amps > 0 || x.watts > 0 {
				c.sources = append(c.sources, source{"p" + at, "n" + at, x.amps, x.watts})
			}
		}
	}
}

// metal is the circuit without earth.
func (c *circuit) metal() *circuit {
	return &circuit{elements: slices.DeleteFunc(slices.Clone(c.elements), func(x element) bool { return x.b == "earth" })}
}

// reach finds the nodes that lead to a terminal of the driver along their own core, earth
// included where a driven core touches it; shorts do not count.
func (c *circuit) reach() map[string]bool {
	reached := map[string]bool{"d": true, "0": true}
	for more := true; more; {
		more = false
		for _, x := range c.elements {
			cross := x.a[0] == 'p' && x.b[0] == 'n'
			if !cross && reached[x.a] != reached[x.b] {
				reached[x.a], reached[x.b], more = true, true, true
			}
		}
	}
	return reached
}
