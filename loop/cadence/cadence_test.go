package cadence

import (
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

const ms = time.Millisecond

// ISO 8201 as printed in the Ontario Building Code, appendix note B-3.2.4.18.(2): three pulses of
// 0.5 s with 0.5 s between them, then 1.5 s of silence, repeated; the cycle is 4.0 s.
func TestThreePulse(t *testing.T) {
	for cycle := range 3 {
		start := time.Duration(cycle*4) * time.Second
		for _, c := range []struct {
			from, to time.Duration
			on       bool
		}{
			{0, 500 * ms, true}, {500 * ms, 1000 * ms, false},
			{1000 * ms, 1500 * ms, true}, {1500 * ms, 2000 * ms, false},
			{2000 * ms, 2500 * ms, true}, {2500 * ms, 4000 * ms, false},
		} {
			from, to := start+c.from, start+c.to
			for _, at := range []time.Duration{from, (from + to) / 2, to - 1} {
				if ThreePulse.On(at) != c.on {
					t.Errorf("at %v the signal is on: %t", at, !c.on)
				}
				if next, ok := ThreePulse.Next(at); !ok || next != to {
					t.Errorf("after %v it changes at %v, want %v", at, next, to)
				}
			}
		}
	}
	if ThreePulse.Cycle() != 4*time.Second {
		t.Errorf("the cycle is %v", ThreePulse.Cycle())
	}
}

// 1 s on, 1 s off: common practice for an alert.
func TestIntermittent(t *testing.T) {
	for at, on := range map[time.Duration]bool{0: true, time.Second - 1: true, time.Second: false, 2*time.Second - 1: false, 2 * time.Second: true, 7 * time.Second: false} {
		if Intermittent.On(at) != on {
			t.Errorf("at %v it is on: %t", at, !on)
		}
	}
}

// Next gives every change and no other, as walking in steps of a millisecond finds them.
func TestNextIsEveryChange(t *testing.T) {
	for _, p := range []Pattern{Silent, Continuous, Intermittent, ThreePulse} {
		var walked, told []time.Duration
		for at := ms; at <= 20*time.Second; at += ms {
			if p.On(at) != p.On(at-ms) {
				walked = append(walked, at)
			}
		}
		for at, ok := p.Next(0); ok && at <= 20*time.Second; at, ok = p.Next(at) {
			told = append(told, at)
		}
		if len(walked) != len(told) {
			t.Fatalf("%v: %d changes, %d told", p, len(walked), len(told))
		}
		for i := range told {
			if told[i] != walked[i] {
				t.Errorf("%v: change %d is at %v, told %v", p, i, walked[i], told[i])
			}
		}
	}
	if Silent.On(0) || !Continuous.On(0) || !Continuous.On(time.Hour) {
		t.Error("silent sounds, or continuous does not")
	}
}

// span is one unbroken phase of a signal that somebody has measured.
type span struct {
	on   bool
	last time.Duration
}

// temporal judges measured phases, which begin with the first pulse of a group, by ISO 8201:
// 0.5 s +- 0.05 s for pulses and the pauses between them, 1.5 s +- 0.15 s for the pause behind the
// third (tolerances as the appendix cited above prints them). It returns the first phase that is
// out, -1 for none.
func temporal(spans []span) int {
	for i, s := range spans {
		want, tolerance := 500*ms, 50*ms
		if i%6 == 5 {
			want, tolerance = 1500*ms, 150*ms
		}
		if s.on != (i%2 == 0) || s.last < want-tolerance || s.last > want+tolerance {
			return i
		}
	}
	return -1
}

// measure lists the phases of a pattern over a time, as a sound level recorder would: by looking
// every millisecond.
func measure(p Pattern, over time.Duration) []span {
	var spans []span
	for at := time.Duration(0); at < over; at += ms {
		if n := len(spans); n > 0 && spans[n-1].on == p.On(at) {
			spans[n-1].last += ms
			continue
		}
		spans = append(spans, span{p.On(at), ms})
	}
	return spans
}

// The pattern is within ISO 8201's tolerances, and the judge of them is no formality: 0.44 s on
// and a pause of 1.70 s are out, the bounds themselves are in, and no other pattern passes.
func TestToleranceOfISO8201(t *testing.T) {
	group := func(on, between, pause time.Duration) []span {
		return []span{{true, on}, {false, between}, {true, on}, {false, between}, {true, on}, {false, pause}}
	}
	for _, c := range []struct {
		name  string
		spans []span
		out   int
	}{
		{"as made", measure(ThreePulse, 40*time.Second), -1},
		{"0.44 s on", group(440*ms, 500*ms, 1500*ms), 0},
		{"0.45 s on", group(450*ms, 500*ms, 1500*ms), -1},
		{"0.55 s between", group(500*ms, 550*ms, 1500*ms), -1},
		{"0.56 s between", group(500*ms, 560*ms, 1500*ms), 1},
		{"pause of 1.70 s", group(500*ms, 500*ms, 1700*ms), 5},
		{"pause of 1.65 s", group(500*ms, 500*ms, 1650*ms), -1},
		{"pause of 1.35 s", group(500*ms, 500*ms, 1350*ms), -1},
		{"intermittent", measure(Intermittent, 12*time.Second), 0},
		{"continuous", measure(Continuous, 12*time.Second), 0},
	} {
		if got := temporal(c.spans); got != c.out {
			t.Errorf("%s: phase %d is out, want %d", c.name, got, c.out)
		}
	}
}

// Patterns by rule pack and by the file's own words. NFPA 72 18.4 asks for the three-pulse signal
// of ISO 8201; a steady signal for evacuation under the European packs is common practice.
func TestRead(t *testing.T) {
	for _, c := range []struct {
		pack, alert, evacuate string
		want                  Signals
	}{
		{"nfpa72", "", "", Signals{Intermittent, ThreePulse}},
		{"en54", "", "", Signals{Intermittent, Continuous}},
		{"bs5839-1", "", "", Signals{Intermittent, Continuous}},
		{"en54", "continuous", "three-pulse", Signals{Continuous, ThreePulse}},
		{"nfpa72", "", "continuous", Signals{Intermittent, Continuous}},
	} {
		if got := Read(&pb.Cadences{Alert: c.alert, Evacuate: c.evacuate}, c.pack); got != c.want {
			t.Errorf("%s %q %q: %v", c.pack, c.alert, c.evacuate, got)
		}
	}
	for p := Silent; p <= ThreePulse; p++ {
		if back, ok := Of(p.String()); !ok || back != p {
			t.Errorf("%v does not read back", p)
		}
	}
	if _, ok := Of("bell"); ok {
		t.Error("a bell is no pattern")
	}
}
