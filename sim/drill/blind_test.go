package drill

import (
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// The time without devices after a short that is worked out from the wiring and the polling is the longest
// that drills show, whatever the phase of the round in which the short comes. Judge: the drill itself,
// slot by slot, a short each millisecond of a round.
func TestBlindIsTheWorstPhase(t *testing.T) {
	t.Parallel()
	for _, z := range []dozen{{ring: true, gaps: true}, {ring: true, builtIn: true}, {gaps: true}} {
		for _, k := range []int{1, 6, 12} {
			site := z.site()
			site.Loops[0].Line = &pb.Line{ProbeUnused: true}
			quiet := newBench(t, site)
			step := short(k)
			run, _ := quiet.plan.In.Loops[0].Wire.ByAddress(uint32(k))
			blind := quiet.plan.In.Loops[0].Wire.Blind(run, quiet.plan.In.Visits(0))
			longest := time.Duration(0)
			for at := 10 * time.Second; at < 10*time.Second+quiet.Round(0); at += time.Millisecond {
				b := newBench(t, site)
				b.do(at, step)
				b.run(at + 30*time.Second)
				longest = max(longest, b.lastFed(at)-at)
			}
			if longest > blind || blind > 0 && longest < blind-time.Millisecond {
				t.Errorf("%v, short before %d: blind for %v, worked out %v", z, k, longest, blind)
			}
		}
	}
}

// lastFed is when a device last came back, at the earliest from.
func (b *bench) lastFed(from time.Duration) time.Duration {
	last := from
	for _, e := range b.log.Since(0) {
		if e.Kind == FeedChanged && e.Value == 1 {
			last = max(last, e.At)
		}
	}
	return last
}
