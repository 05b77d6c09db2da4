package circuit

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Where the cable comes from, and what is said if it comes from nowhere.
func TestCompileCable(t *testing.T) {
	mm2, odd := 1.5, 1.4
	for _, c := range []struct {
		name        string
		own, lent   *pb.Cable
		code        string
		milliOhmKm2 int64 // both cores over 1 km
	}{
		{"own", &pb.Cable{ConductorMm2: &mm2}, nil, "", 24_200},                               // IEC 60228: 12.1 ohm/km
		{"the loop's", nil, &pb.Cable{ConductorMm2: &mm2, Class: new(uint32(5))}, "", 26_600}, // class 5: 13.3 ohm/km
		{"own before the loop's", &pb.Cable{OhmPerKm: new(10.0)}, &pb.Cable{ConductorMm2: &mm2}, "", 20_000},
		{"none", nil, nil, "circuit.no-cable", 0},
		{"unknown size", &pb.Cable{ConductorMm2: &odd}, nil, "cable.resistance-unknown", 0},
		{"no figure", &pb.Cable{}, &pb.Cable{ConductorMm2: &mm2}, "cable.resistance-unknown", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			k := branch(1, 4700, sounder(1000, 20))
			k.Cable = c.own
			got, found := Compile(k, Options{Path: "panel.outputs[3].circuit", Cable: c.lent, LeastV: leastNFPA})
			code := ""
			for _, f := range found {
				code = f.GetCode()
				if f.GetPath() != "panel.outputs[3].circuit.cable" || f.GetDetail() == "" || f.GetTitle() == "" {
					t.Errorf("finding %v", f)
				}
			}
			if code != c.code || got.LoopMilliOhm() != c.milliOhmKm2 {
				t.Errorf("%q and %d milliohm, want %q and %d", code, got.LoopMilliOhm(), c.code, c.milliOhmKm2)
			}
		})
	}
}

// A load's own least voltage stands before the pack's.
func TestLeastVoltage(t *testing.T) {
	k := branch(12.1, 4700, sounder(1, 20), sounder(1, 20))
	k.GetLoads()[1].GetSounder().MinVoltageV = new(12.0)
	c := compile(t, k)
	if c.LeastMicroV(0) != 16_000_000 || c.LeastMicroV(1) != 12_000_000 {
		t.Errorf("least voltages %d and %d", c.LeastMicroV(0), c.LeastMicroV(1))
	}
}

// A circuit without loads is a resistor at the terminals.
func TestNoLoads(t *testing.T) {
	b := newBench(t, branch(12.1, 4700))
	r := b.rest()
	near(t, "ohms", float64(r.MilliOhm), 4_700_000, 1)
	if o := b.active(24); o.Collapsed || o.MicroA != 0 {
		t.Errorf("%+v", o)
	}
	b.s.SetShort(0, 0)
	if r := b.rest(); r.Verdict != Short {
		t.Errorf("reads %v", r.Verdict)
	}
}

// Any message, also one that the schema refuses, compiles and solves to finite figures.
func FuzzCompile(f *testing.F) {
	add := func(k *pb.Circuit) {
		bytes, err := proto.Marshal(k)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(bytes, 24.0, uint8(3), uint8(5))
	}
	add(branch(12.1, 4700, sounder(20, 30), powered(0, 3)))
	add(ring(1e9, -1, math.Inf(1), sounder(math.NaN(), -30), sounder(-20, math.Inf(1)), powered(1e300, 1e300)))
	add(&pb.Circuit{Wiring: "ring"})
	f.Fuzz(func(t *testing.T, message []byte, volts float64, run, core uint8) {
		var k pb.Circuit
		if proto.Unmarshal(message, &k) != nil || len(k.GetLoads()) > 100 {
			return
		}
		c, _ := Compile(&k, Options{Path: "circuit", LeastV: volts})
		s := c.NewState()
		var w Work
		try := func() {
			r := c.Rest(s, &w)
			if r.MicroV < 0 || r.MicroV > 24_000_001 || r.MicroA < 0 || r.MicroA > 24_001 {
				t.Errorf("reads %+v", r)
			}
			if o := c.Active(s, &w, micro(within(volts, 0, 60))); o.MicroA < -1 {
				t.Errorf("active %+v", o)
			}
			for i := range c.loads {
				if v := w.MicroV(i); v > 60_000_001 || v < -60_000_001 {
					t.Errorf("load %d has %d uV", i, v)
				}
			}
			c.PointToPoint(within(volts, 0, 60), FromFirst)
			c.EndOfLine(within(volts, 0, 60), FromFirst)
		}
		try()
		at := int(run) % c.Runs()
		s.Break(at, Core(core%3))
		s.SetEarth(int(core)%c.Runs(), Positive, volts)
		s.SetEarth(at, Negative, 0)
		if c.Len() > 0 {
			s.SetReversed(int(run)%c.Len(), true)
		}
		try()
		s.SetShort(at, volts)
		try()
	})
}
