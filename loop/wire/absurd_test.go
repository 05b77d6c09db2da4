package wire

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// absurd are figures that no file should hold and some will.
var absurd = []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1), 1e-300, 1e300, 1e-9, 1e9, math.Copysign(0, -1), 1e4}

// spoil replaces some figures of a loop by absurd ones.
func spoil(r *rand.Rand, l *pb.Loop) *pb.Loop {
	any1 := func() *float64 { return new(absurd[r.IntN(len(absurd))]) }
	for range r.IntN(5) {
		var d *pb.Device
		if len(l.GetDevices()) > 0 {
			d = l.GetDevices()[r.IntN(len(l.GetDevices()))]
		}
		switch k := r.IntN(12); {
		case k == 0:
			l.Driver.VoltageV = any1()
		case k == 1:
			l.Driver.SourceOhm = any1()
		case k == 2:
			l.Driver.CurrentLimitMa = any1()
		case k == 3:
			l.Cable = &pb.Cable{OhmPerKm: any1()}
		case k == 4:
			l.Cable = nil
		case k == 5:
			l.Driver = nil
			return l
		case k == 6 && d != nil:
			d.CableM = any1()
		case k == 7 && d != nil:
			d.SpurFrom = new(uint32(r.IntN(30)))
		case k == 8 && d != nil:
			d.Kind = &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{CurrentMa: any1()}}
		case k == 9 && d != nil:
			d.Type = "strange"
		case k == 10 && d != nil:
			d.Address = new(uint32(r.IntN(4)))
		case k == 11:
			l.Devices = nil
		}
	}
	return l
}

// Whatever the file says: findings with a remedy, or a loop that can be run. Never a panic, never
// a loop that does not come to rest.
func FuzzLoop(f *testing.F) {
	for seed := range uint64(300) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		r := rand.New(rand.NewPCG(seed, 13))
		l := spoil(r, randomLoop(r, 30))
		strange := &pb.DeviceType{
			Type: "strange", StandbyMa: new(absurd[r.IntN(len(absurd))]), IsolatorOhm: new(absurd[r.IntN(len(absurd))]),
			IsolatorOpensV: new(60 * r.Float64()), DropOutV: new(60 * r.Float64()),
		}
		n, found := Compile("loops[0]", l, []*pb.DeviceType{strange})
		for _, f := range found {
			if f.GetPath() == "" || f.GetTitle() == "" || f.GetDetail() == "" || f.GetCode() == "" {
				t.Errorf("a finding without place or remedy: %v", f)
			}
		}
		if (n == nil) != (len(found) > 0) {
			t.Fatalf("network %v with %d findings", n != nil, len(found))
		}
		if n == nil {
			return
		}
		n.Figures()
		n.Class()
		if r.IntN(3) == 0 {
			n = n.ConstantPower()
		}
		b := newBench(t, n)
		if n.Runs() == 0 {
			return
		}
		for range 1 + r.IntN(5) {
			f := randomFault(r, n)
			if r.IntN(4) == 0 {
				f.Ohm = 1e9 * r.Float64()
			}
			n.Place(b.s, b.s.now, f, 1, b)
			for e := range n.Entries() {
				switch r.IntN(8) {
				case 0, 1:
					n.SetLoads(b.s, b.s.now, int32(e), true, true, 1, b)
				case 2:
					n.TakeOut(b.s, b.s.now, int32(e), r.IntN(2) == 0, 1, b)
				}
			}
			b.run(b.s.now + time.Duration(r.IntN(5_000))*time.Millisecond)
			b.look()
		}
		b.run(b.s.now + 10*time.Minute)
		if next, due := n.Next(b.s); due {
			t.Fatalf("not at rest after ten minutes: next at %v", next)
		}
		if len(b.log) > 20_000 {
			t.Fatalf("%d changes: chatter", len(b.log))
		}
	})
}

// Ten thousand spurs are refused in words; two thousand run.
func TestManySpurs(t *testing.T) {
	long := func(count int) *pb.Loop {
		l := plan{ring: true, devices: 1, run: 1}.loop()
		for i := range count - 1 {
			d := &pb.Device{Label: fmt.Sprint("I", i), CableM: proto.Float64(1), Isolator: &pb.Isolator{}}
			if i%2 == 0 {
				d.SpurFrom = proto.Uint32(1)
			}
			l.Devices = append(l.Devices, d)
		}
		return l
	}
	if n, found := Compile("loops[0]", long(10_000), nil); n != nil || len(found) != 1 || found[0].GetCode() != "wiring.too-long" {
		t.Errorf("10,000 spurs: %v", found)
	}
	b := newBench(t, build(t, long(400)))
	b.at(Fault{Kind: Short}, 0)
	b.run(3 * time.Second)
	b.look()
	b.run(time.Minute)
	if got := b.lost(); got != "" {
		t.Errorf("lost %q", got)
	}
}

// Spurs that hang on each other, or on nothing, are findings.
func TestSpurFindings(t *testing.T) {
	for code, spurs := range map[string]map[int]int{ // order does not show: independent checks
		"wiring.spur-circle":       {2: 3, 3: 2},
		"wiring.spur-from-nowhere": {2: 77},
	} {
		n, found := Compile("loops[0]", plan{ring: true, devices: 4, run: 1, spurs: spurs}.loop(), nil)
		if n != nil || len(found) == 0 || found[0].GetCode() != code {
			t.Errorf("%v: %v", spurs, found)
		}
	}
	if n, _ := Compile("loops[0]", plan{devices: 2, run: 1, spurs: map[int]int{2: 2}}.loop(), nil); n != nil {
		t.Error("a device hangs on itself")
	}
}

// Calls that no caller may make are broken invariants.
func TestPanics(t *testing.T) {
	n := build(t, twelve.loop())
	s := n.NewState()
	n.Advance(s, time.Second, silent{})
	for name, call := range map[string]func(){ // order does not show: independent checks
		"a run that is not there":   func() { n.Place(s, time.Second, Fault{Kind: Break, Run: 99}, 1, silent{}) },
		"a negative resistance":     func() { n.Place(s, time.Second, Fault{Kind: Short, Ohm: -1}, 1, silent{}) },
		"a place outside the run":   func() { n.Place(s, time.Second, Fault{Kind: Short, At: math.NaN()}, 1, silent{}) },
		"a fault that is not there": func() { n.Repair(s, time.Second, 5, 1, silent{}) },
		"time that runs back":       func() { n.Advance(s, 0, silent{}) },
		"no isolator":               func() { n.Stick(s, time.Second, 0, StuckOpen, 1, silent{}) },
	} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("%s: no panic", name)
				}
			}()
			call()
		}()
	}
}
