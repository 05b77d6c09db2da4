package line

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// busy is a script that leaves nothing in its first state.
const busy = `0 in 0 on; 3 in 5 on pre; 4 removed 1; 7 send 2 1 1 1 1; 7 send 3 1 1 2 1; 30 other 4; 31 stuck 3; 55 in 0 off;
	60 send 3 2 3 1; 61 duplicate 0 other; 90 send 2 0; 140 removed 1 off; 150 in 0 on; 151 rearm 0; 170 duplicate 0 off; 171 in 5 off; 200 send 3 1`

// busyRig has noise on the line that depends on the draw alone, so that copies draw alike.
func busyRig() *rig {
	cfg := rigConfig("f2,i,o,o,i,f1")
	cfg.OutOfTurn, cfg.ProbeUnused, cfg.SharedCommands, cfg.ReplyCurrentCheck, cfg.CommandsBetweenVisits = true, true, true, true, 2
	cfg.ErrorRate = 0.5
	return newRig(cfg, 3, 7, 11, 5, 9, 2, 30)
}

// A copy goes on as the original does, and neither disturbs the other: a fork is a copy.
func TestCopyFrom(t *testing.T) {
	acts := readScript(busy)
	for cut := time.Duration(0); cut < 260; cut += 7 {
		n := slices.IndexFunc(acts, func(a rigAct) bool { return a.at > cut })
		if n < 0 {
			n = len(acts)
		}
		r := busyRig()
		r.play(acts[:n], cut)

		f := busyRig()
		f.s = &State{}
		f.s.CopyFrom(busyRig().s) // memory to be used again
		f.s.CopyFrom(r.s)
		f.draws, f.count, f.now = r.draws, r.count, r.now
		maps.Copy(f.stuck, r.stuck)
		before := fmt.Sprintf("%+v", *f.s)
		if before != fmt.Sprintf("%+v", *r.s) {
			t.Fatalf("the copy at %d differs from its original", cut)
		}
		done := len(r.notes)
		r.play(acts[n:], 400)
		if fmt.Sprintf("%+v", *f.s) != before {
			t.Fatalf("the original's way after %d changed the copy", cut)
		}
		f.play(acts[n:], 400)
		if want := r.notes[done:]; !slices.Equal(f.notes, want) {
			t.Fatalf("the copy at %d goes on with\n%q\nthe original with\n%q", cut, f.notes, want)
		}
	}
}

// uniformSink draws from a generator of the standard library.
type uniformSink struct{ r *rand.Rand }

func (u uniformSink) Note(Change) uint64    { return 0 }
func (u uniformSink) Uniform(uint64) uint64 { return u.r.Uint64() }

// Gaps are geometric: mean (1 - rate) / rate and variance (1 - rate) / rate^2 of the visits
// before the garbled one (any textbook of probability; failures before the first success).
func TestGapsAreGeometric(t *testing.T) {
	const draws = 200_000
	for _, rate := range []float64{0.5, 0.1, 0.01, 0.001, 1e-6} {
		l := Compile(Config{PollSlot: 1, NoReplySlot: 1, CommandSlot: 1, MissedReplies: 1, CommandsBetweenVisits: 1, ErrorRate: rate})
		sink := uniformSink{rand.New(rand.NewPCG(1, 5))}
		s := l.NewState(sink)
		var sum, none float64
		for range draws {
			s.visits = 1000
			l.drawError(s, sink)
			sum += float64(s.nextError - s.visits)
			if s.nextError == s.visits {
				none++
			}
		}
		want, sigma := (1-rate)/rate, math.Sqrt((1-rate)/draws)/rate
		if mean := sum / draws; math.Abs(mean-want) > 5*sigma {
			t.Errorf("rate %g: mean gap %g, want %g +- 5 x %g", rate, mean, want, sigma)
		}
		if share, sigma := none/draws, math.Sqrt(rate*(1-rate)/draws); math.Abs(share-rate) > 5*sigma {
			t.Errorf("rate %g: %g of the gaps are nought, want the rate +- 5 x %g", rate, share, sigma)
		}
	}
}

// fixedSink draws one number for ever.
type fixedSink uint64

func (f fixedSink) Note(Change) uint64    { return 0 }
func (f fixedSink) Uniform(uint64) uint64 { return uint64(f) }

// By inversion the gap is the greatest k with (1 - rate)^k > u: against the logarithms of the
// mathematical library, which the line itself must not use.
func TestGapsAgainstLogarithms(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	for _, rate := range []float64{0.9, 0.5, 0.1, 0.001, 1e-5} {
		l := Compile(Config{PollSlot: 1, NoReplySlot: 1, CommandSlot: 1, MissedReplies: 1, CommandsBetweenVisits: 1, ErrorRate: rate})
		for range 1000 {
			bits := r.Uint64()
			s := l.NewState(fixedSink(bits))
			u := float64(bits>>11) / (1 << 53)
			k := math.Log(u) / math.Log1p(-rate)
			got := float64(s.nextError)
			if got != math.Ceil(k)-1 && math.Abs(k-math.Round(k)) > 1e-6*k {
				t.Fatalf("rate %g, u %g: gap %g, want the whole number below %g", rate, u, got, k)
			}
		}
	}
	never := Compile(Config{PollSlot: 1, NoReplySlot: 1, CommandSlot: 1, MissedReplies: 1, CommandsBetweenVisits: 1})
	if s := never.NewState(fixedSink(0)); s.nextError != math.MaxUint64 {
		t.Errorf("without an error rate visit %d is garbled", s.nextError)
	}
}

// Worst latency to the signal: readings x round, computed by hand in the table, to which rule B5
// adds the device's own slot. The limits are NFPA 72 10.11.1 (2016 and later: 10 s from the device
// to notification) and BS 5839-1 (3 s from a call point to the sounders of its area). The worst moment is just after a sample; none of a hundred others is
// worse.
func TestWorstLatency(t *testing.T) {
	const slot = 12 * time.Millisecond
	for _, c := range []struct {
		period   time.Duration
		readings int32
		latency  time.Duration // n x P, as the table has it
		limit    time.Duration
		meets    bool
	}{
		{3 * time.Second, 3, 9 * time.Second, 10 * time.Second, true},
		{3 * time.Second, 1, 3 * time.Second, 3 * time.Second, true}, // just met
		{4 * time.Second, 3, 12 * time.Second, 10 * time.Second, false},
	} {
		cfg := Config{PollSlot: c.period / 250, NoReplySlot: slot, CommandSlot: slot, MissedReplies: 3, CommandsBetweenVisits: 8}
		for i := range 250 {
			cfg.Devices = append(cfg.Devices, Device{Address: uint8(i + 1), Fire: true, Readings: c.readings})
		}
		measure := func(at time.Duration) time.Duration {
			r := newRig(cfg)
			r.words = []string{"signal"}
			r.play([]rigAct{{at: at, verb: "in", i: 100}}, time.Minute)
			if len(r.notes) != 1 {
				t.Fatalf("want one signal, got %q", r.notes)
			}
			return r.now - at
		}
		sample := newRig(cfg)
		start := sample.l.SampleAfter(sample.s, 100, c.period)
		worst := measure(start + 1)
		if want := c.latency + cfg.PollSlot - 1; worst != want {
			t.Errorf("P %v, n %d: worst latency %v, want n x P + the slot less one unit: %v", c.period, c.readings, worst, want)
		}
		if meets := worst-cfg.PollSlot+1 <= c.limit; meets != c.meets {
			t.Errorf("P %v, n %d: within %v is %v, want %v", c.period, c.readings, c.limit, meets, c.meets)
		}
		for k := range 100 {
			if at := start + c.period*time.Duration(k)/100; measure(at) > worst {
				t.Errorf("P %v, n %d: a stimulus at %v takes longer than the worst", c.period, c.readings, at)
			}
		}
	}
}

// As many readings and missed visits in a row as the schema allows are counted, and no more are compiled.
func TestHighestCount(t *testing.T) {
	cfg := rigConfig(fmt.Sprintf("f%d,i", highestCount))
	cfg.MissedReplies = highestCount
	r := newRig(cfg)
	r.words = []string{"signal", "missing"}
	r.play(readScript("0 in 0 on; 0 removed 1"), 101*30)
	if want := []string{"2980 signal 0", "3000 missing 1 on"}; !slices.Equal(r.notes, want) { // rounds of 10 and 20
		t.Errorf("%q, want %q", r.notes, want)
	}
	for _, more := range []func(*Config){func(c *Config) { c.MissedReplies++ }, func(c *Config) { c.Devices[0].Readings++ }} {
		wide := rigConfig(fmt.Sprintf("f%d", highestCount))
		wide.MissedReplies = highestCount
		more(&wide)
		if !panics(func() { Compile(wide) }) {
			t.Errorf("compiled: %+v", wide)
		}
	}
}

func panics(f func()) (did bool) {
	defer func() { did = recover() != nil }()
	f()
	return false
}
