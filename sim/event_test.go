package sim

import (
	"errors"
	"math"
	"math/bits"
	"testing"
	"time"
)

func sample() Log {
	l := NewLog(100)
	l.Add(Event{At: time.Second, Phase: Line, Kind: 3, Subject: 4, Value: -5, Extra: 6})
	l.Add(Event{At: time.Second, Phase: Logic, Kind: 7, Subject: -1, Value: 8, Parent: 1, Also: []uint64{1, 1}})
	return l
}

// The encoding is canonical: this digest is that of the listed integers, whatever the machine.
// The value was computed with another language (Python, hashlib) from the rule in the comment of
// Digest. It changes only with the encoding, which changes every digest that users have kept.
func TestDigestIsThatOfTheIntegers(t *testing.T) {
	l := sample()
	const want = "316099f770c6e3bb67e134c2fc18bff2b9baff8e55fd7a14f4b9f4177fbaf13e"
	if got := l.Digest(); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// Every field of an event is part of the digest.
func TestDigestSeesEveryField(t *testing.T) {
	base := sample()
	for name, change := range map[string]func(*Event){
		"time": func(e *Event) { e.At++ }, "phase": func(e *Event) { e.Phase++ }, "kind": func(e *Event) { e.Kind++ },
		"subject": func(e *Event) { e.Subject++ }, "value": func(e *Event) { e.Value++ }, "extra": func(e *Event) { e.Extra++ },
		"parent": func(e *Event) { e.Parent = 0 }, "also": func(e *Event) { e.Also = e.Also[:1] }, "which also": func(e *Event) { e.Also = []uint64{1, 2} },
	} {
		other := sample()
		change(other.Event(2))
		if other.Digest() == base.Digest() {
			t.Errorf("a change of the %s does not show", name)
		}
	}
}

// Two logs that share events grow apart without disturbing each other.
func TestForkSharesAndGrowsApart(t *testing.T) {
	l := sample()
	f := l.Fork()
	f.Add(Event{Kind: 1})
	l.Add(Event{Kind: 2})
	if l.Event(3).Kind != 2 || f.Event(3).Kind != 1 || l.Len() != 3 || f.Len() != 3 {
		t.Errorf("the original has %v, the fork %v", l.Event(3), f.Event(3))
	}
	if n := len(f.Since(2)); n != 1 {
		t.Errorf("%d events since number 2, want 1", n)
	}
}

// Reaching the bound is an error that names it.
func TestLogIsBounded(t *testing.T) {
	l := NewLog(1)
	l.Add(Event{})
	defer func() {
		var bound *BoundError
		if err, ok := recover().(error); !ok || !errors.As(err, &bound) || bound.Limit != 1 || bound.At != 7 {
			t.Errorf("the second event gives %v", err)
		}
	}()
	l.Add(Event{At: 7})
}

// A value depends on seed, name and counter alone, and neighbours of any of the three share no
// more bits than chance gives: of 64 bits half differ, with a standard deviation of 4.
func TestStreams(t *testing.T) {
	s := NewStream(1, "line/1")
	if s.At(5) != NewStream(1, "line/1").At(5) {
		t.Error("the same value twice is not the same")
	}
	const n = 20_000
	var seeds, names, counters, ones float64
	for i := range uint64(n) {
		v := NewStream(i, "line/1").At(3)
		seeds += float64(bits.OnesCount64(v ^ NewStream(i+1, "line/1").At(3)))
		names += float64(bits.OnesCount64(v ^ NewStream(i, "line/2").At(3)))
		counters += float64(bits.OnesCount64(s.At(i) ^ s.At(i+1)))
		ones += float64(bits.OnesCount64(s.At(i)))
	}
	limit := 5 * 4 / math.Sqrt(n) // five standard deviations of the mean
	for what, sum := range map[string]float64{"seeds": seeds, "names": names, "counters": counters, "ones": ones} {
		if mean := sum / n; math.Abs(mean-32) > limit {
			t.Errorf("%s: %.3f bits of 64 on average, want 32 +- %.3f", what, mean, limit)
		}
	}
}

func TestPhaseNames(t *testing.T) {
	seen := map[string]bool{}
	for p := range phases {
		seen[p.String()] = true
	}
	if len(seen) != int(phases) || seen[""] {
		t.Errorf("phases are called %v", seen)
	}
}
