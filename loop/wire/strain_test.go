package wire

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// A short that puts the driver at its limit is raised after 10 s, one of a little more ohms never: 28 V over
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
		if n.Overloaded(b.s) {
			t.Errorf("%g: repaired, and it stays", c.share)
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
