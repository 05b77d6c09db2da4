package logic

import (
	"testing"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// What confirms a zone, against the sentences of EN 54-2 7.12 (from memory) and of cross-zoned
// release, in which a call point of the other zone confirms no detector: enumerated over all sets of signals of two zones with two detectors and a call point each.
func TestSignalsThatConfirm(t *testing.T) {
	w := &term.World{Zones: []string{"a", "b"}}
	for zone := range 2 {
		for range 2 {
			w.Points = append(w.Points, term.Point{Zone: zone, Input: term.Fire, Detector: true, Automatic: true})
		}
		w.Points = append(w.Points, term.Point{Zone: zone, Input: term.CallPoint})
	}
	two := uint32(2)
	cases := []struct {
		name string
		d    *pb.Detection
		want func(first, second, call, otherZone bool) bool
	}{
		{"nothing said", nil, func(f, s, c, _ bool) bool { return f || s || c }},
		{"the same once more", &pb.Detection{Zone: "a", Confirm: "same-or-other"}, func(f, s, c, _ bool) bool { return f || s || c }},
		{"another", &pb.Detection{Zone: "a", Confirm: "other", Detectors: &two}, func(f, s, c, _ bool) bool { return f && s || c }},
		{"another zone", &pb.Detection{Zone: "a", Confirm: "other-zone", OtherZones: []string{"b"}}, func(f, s, c, o bool) bool { return (f || s) && o || c }},
		{"any other zone", &pb.Detection{Zone: "a", Confirm: "other-zone"}, func(f, s, c, o bool) bool { return (f || s) && o || c }},
	}
	for _, c := range cases {
		program := &pb.Program{}
		if c.d != nil {
			program.Detection = append(program.Detection, c.d)
		}
		when := Signals(term.Negate(term.Is(term.ZoneConfirmed, 0)), program, w)
		for set := range 1 << len(w.Points) {
			in := func(i int) bool { return set>>i&1 == 1 }
			got := !when.Eval(func(f term.Fact) bool { return f.Kind == term.DeviceFire && in(int(f.Index)) })
			if want := c.want(in(0), in(1), in(2), in(3) || in(4)); got != want {
				t.Errorf("%s, signals %06b: confirmed %v, want %v", c.name, set, got, want)
			}
		}
	}
}

// The fire of a detector whose zone waits for another is the two signals; where the first signal is fire
// already (type C), where nothing is waited for, and of a call point, it is the one.
func TestSignalsThatAreFire(t *testing.T) {
	w := &term.World{Zones: []string{"a"}}
	w.Points = []term.Point{
		{Input: term.Fire, Detector: true, Automatic: true}, {Input: term.Fire, Detector: true, Automatic: true}, {Input: term.CallPoint},
	}
	for _, c := range []struct {
		d    *pb.Detection
		want func(first, second, call bool) bool
	}{
		{&pb.Detection{Zone: "a", Confirm: "other"}, func(f, s, c bool) bool { return f && s || c }},
		{&pb.Detection{Zone: "a", Confirm: "other", FirstSignal: "prealarm"}, func(f, s, c bool) bool { return f && s || c }},
		{&pb.Detection{Zone: "a", Confirm: "other", FirstSignal: "fire"}, func(f, s, c bool) bool { return f || s || c }},
		{&pb.Detection{Zone: "a", Confirm: "same-or-other"}, func(f, s, c bool) bool { return f || s || c }},
	} {
		when := Signals(term.Or(term.Is(term.DeviceFire, 0), term.Is(term.DeviceFire, 1), term.Is(term.DeviceFire, 2)), &pb.Program{Detection: []*pb.Detection{c.d}}, w)
		for set := range 8 {
			in := func(i int) bool { return set>>i&1 == 1 }
			if got := when.Eval(func(f term.Fact) bool { return in(int(f.Index)) }); got != c.want(in(0), in(1), in(2)) {
				t.Errorf("%v, signals %03b: fire %v", c.d, set, got)
			}
		}
	}
}
