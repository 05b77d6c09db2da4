package verify

import (
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Two detectors that are decided at one instant complete a row together, and the time to its outputs counts
// from the one whose own output became active last, in whichever order the log has them; a third that the
// row does not ask about does not count (rule J13: the clock starts with the last signal).
func TestLastOrigin(t *testing.T) {
	fire := func(point int32) term.Fact { return term.Fact{Kind: term.DeviceFire, Index: point} }
	for _, order := range [][]int32{{0, 1, 2}, {2, 1, 0}, {1, 2, 0}} {
		log := sim.NewLog(6)
		active := map[int32]uint64{}
		for point, at := range []time.Duration{1 * time.Second, 3 * time.Second, 4 * time.Second} {
			active[int32(point)] = log.Add(sim.Event{At: at, Kind: drill.InputChanged, Subject: int32(point), Value: 1})
		}
		var changes []change
		for _, point := range order {
			n := log.Add(sim.Event{At: 5 * time.Second, Kind: drill.FireDecided, Subject: point, Value: 1, Parent: active[point]})
			changes = append(changes, change{fire(point), log.Event(n)})
		}
		w := &worker{v: &Verifier{index: factIndex{fire(0): {7}, fire(1): {7}, fire(2): {8}}}}
		if got := w.lastOrigin(7, changes, &log); got != 3*time.Second {
			t.Errorf("decided in the order %v: t0 is %v, want 3 s", order, got)
		}
	}
}
