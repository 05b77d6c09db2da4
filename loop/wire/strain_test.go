package wire

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A short that puts the driver at its limit is raised after 10 s, and ends 10 s after its repair; one of a little more ohms is never raised: 28 V over
// 400 mA less the 3.6 mA of twelve devices (Ohm's law) are 70.6 ohm beside the panel.
func TestShortThatShows(t *testing.T) {
	n := build(t, plan{devices: 12, run: 10}.loop())
	shown := float64(n.Figures().ShownMicroOhm) / 1e6
	if math.Abs(shown-28/(0.4-12*0.0003)) > 1e-6 {
		t.Errorf("up to %g ohm show", shown)
	}
	for _, c := range []struct {
		share float64
		raise bool
	}{{0.7, true}, {0.9999, true}, {1.0001, false}, {2, false}} {
		b := newBench(t, n)
		id := n.Place(b.s, 0, Fault{Kind: Short, Run: 0, Ohm: c.share * shown}, 1, b)
		b.run(OverloadTime - 1)
		if n.Overloaded(b.s) {
			t.Errorf("%g: raised too early", c.share)
		}
		b.run(time.Minute)
		if n.Overloaded(b.s) != c.raise || b.lost() != "" || n.Collapsed(b.s) {
			t.Errorf("%g: raised %v, lost %q", c.share, n.Overloaded(b.s), b.lost())
		}
		n.Repair(b.s, b.s.now, id, 1, b)
		b.run(b.s.now + OverloadTime - 1)
		if n.Overloaded(b.s) != c.raise {
			t.Errorf("%g: it ends before the driver has been out of its limit for 10 s", c.share)
		}
		b.run(b.s.now + 1)
		if n.Overloaded(b.s) {
			t.Errorf("%g: repaired, and it stays", c.share)
		}
	}
}

// Behind 70 ohm the driver never reaches its limit, and the short shows by what the devices lose: at
// 16 V (common practice) 12 V are left for the 70 ohm, which are 171.4 mA, 3.6 of them the devices'
// own, so that 95.3 ohm beside the panel take the other 167.8 (Ohm's law).
func TestShortThatShowsByDevices(t *testing.T) {
	l := plan{devices: 12}.loop()
	l.Driver.SourceOhm = new(70.0)
	n := build(t, l)
	shown := float64(n.Figures().ShownMicroOhm) / 1e6
	if want := 16 / (12.0/70 - 12*0.0003); math.Abs(shown-want) > 1e-3 {
		t.Errorf("up to %g ohm show, wanted %g", shown, want)
	}
	for share, lost := range map[float64]string{0.02: "1-12", 0.7: "1-12", 0.999: "1-12", 1.001: ""} { // order does not show: independent checks
		b := newBench(t, n)
		n.Place(b.s, 0, Fault{Kind: Short, Run: 0, Ohm: share * shown}, 1, b)
		b.run(time.Minute)
		if got := b.lost(); got != lost || n.Overloaded(b.s) {
			t.Errorf("%g of it: lost %q, wanted %q", share, got, lost)
		}
	}
}

// What the driver delivers, worked out without a solve where no solve is needed, is what a solve says.
func TestDrawn(t *testing.T) {
	checked := 0
	for seed := range uint64(400) {
		r := rand.New(rand.NewPCG(seed, 13))
		n := build(t, randomLoop(r, 14))
		s := n.NewState()
		for range 4 {
			switch e := int32(r.IntN(n.Entries())); {
			case !n.IsDevice(e):
			case r.IntN(3) == 0:
				n.TakeOut(s, s.now, e, r.IntN(2) == 0, 1, silent{})
			case r.IntN(4) == 0:
				f := randomFault(r, n)
				f.Kind, f.Core = Break, Both
				n.Place(s, s.now, f, 1, silent{})
			default:
				n.SetLoads(s, s.now, e, r.IntN(2) == 0, r.IntN(2) == 0, 1, silent{})
			}
			n.Advance(s, s.now+2*time.Second, silent{})
		}
		if s.safe {
			checked++
		}
		got := n.Drawn(s)
		if want := n.Current(s); got < want-1 || got > want+1 {
			t.Errorf("seed %d: drawn are %d microamperes, solved %d; safe %v", seed, got, want, s.safe)
		}
	}
	if checked < 200 {
		t.Errorf("only %d loops needed no solve", checked)
	}
}

// Loads that are too much bring the driver into its limit, lose their voltage and are gone. The third time within a
// minute is an overload, the third in more than a minute is none (rule H4, common practice).
func TestThirdTimeWithinAMinute(t *testing.T) {
	for _, c := range []struct {
		apart time.Duration
		want  bool
	}{{29 * time.Second, true}, {31 * time.Second, false}} {
		l := plan{devices: 4, run: 10}.loop()
		for _, d := range l.GetDevices() {
			d.Kind = &pb.Device_LoopSounder{LoopSounder: &pb.LoopSounder{CurrentMa: new(10.0)}}
		}
		l.Driver.CurrentLimitMa = new(20.0)
		n := build(t, l)
		b := newBench(t, n)
		for i := range 3 {
			at := time.Duration(i) * c.apart
			b.run(at)
			if n.Overloaded(b.s) {
				t.Fatalf("%v apart: an overload after %d times", c.apart, i)
			}
			for e := range int32(4) {
				n.SetLoads(b.s, b.s.now, e, false, true, 1, b)
			}
			if !n.Collapsed(b.s) {
				t.Fatalf("%v apart: 40 mA do not bring down a driver of 20 mA", c.apart)
			}
			b.run(at + time.Second)
		}
		if got := n.Overloaded(b.s); got != c.want {
			t.Errorf("three times %v apart: overload %v, want %v", c.apart, got, c.want)
		}
	}
}
