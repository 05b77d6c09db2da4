package detection

import (
	"testing"
	"time"
)

const (
	second = time.Second
	minute = time.Minute
)

// look is a zone whose lone signals are investigated, as NFPA 72 23.8.1.2 allows at most.
var look = Zone{Investigate: true, AcknowledgeWithin: 15 * second, Extra: 180 * second}

// The positive alarm sequence. Source: NFPA 72 23.8.1.2 (23.8.1.3 in some editions), as a trade
// article sums it up: acknowledged within 15 s or full alarm, then 180 s to look, and full alarm at
// once when a second detector of the sequence operates. That any other initiating device, such as a
// manual box or waterflow, ends it too is from memory.
func TestPositiveAlarmSequence(t *testing.T) {
	for _, c := range []struct{ name, script, want string }{
		{"nobody acknowledges", "0 s1", "0 prealarm s1; 15 fire s1; 15 no-prealarm s1; 15 sure 0"},
		{"acknowledged at 14, no reset", "0 s1; 14 ack", "0 prealarm s1; 194 fire s1; 194 no-prealarm s1; 194 sure 0"},
		{"acknowledged at the last instant", "0 s1; 15 ack", "0 prealarm s1; 195 fire s1; 195 no-prealarm s1; 195 sure 0"},
		{"acknowledged again, nothing gained", "0 s1; 14 ack; 100 ack", "0 prealarm s1; 194 fire s1; 194 no-prealarm s1; 194 sure 0"},
		{"acknowledged at the very instant it begins, when nobody can have known", "0 s1, ack; 14 ack", "0 prealarm s1; 194 fire s1; 194 no-prealarm s1; 194 sure 0"}, // rule K6
		{"second detector at 60", "0 s1; 14 ack; 60 h1", "0 prealarm s1; 60 fire h1; 60 fire s1; 60 no-prealarm s1; 60 sure 0"},
		{"second detector of another zone", "0 s1; 14 ack; 60 t1", "0 prealarm s1; 60 fire t1; 60 fire s1; 60 no-prealarm s1; 60 sure 0; 60 sure 1"},
		{"second detector before acknowledgement", "0 s1; 5 s2", "0 prealarm s1; 5 fire s2; 5 fire s1; 5 no-prealarm s1; 5 sure 0"},
		{"two at one instant", "0 s1, s2", "0 fire s2; 0 fire s1; 0 sure 0"},
		{"reset at 100, cause cleared", "0 s1; 14 ack; 90 clear s1; 100 reset", "0 prealarm s1; 100 no-prealarm s1; 100 ready s1"},
		{"reset at the very instant of its end", "0 s1; 14 ack; 194 reset", "0 prealarm s1; 194 no-prealarm s1; 194 ready s1"},
		{"reset, and it signals anew", "0 s1; 14 ack; 100 reset; 105 s1", "0 prealarm s1; 100 no-prealarm s1; 100 ready s1; 105 prealarm s1; 120 fire s1; 120 no-prealarm s1; 120 sure 0"},
		{"call point of the zone", "0 s1; 14 ack; 60 c1", "0 prealarm s1; 60 fire c1; 60 fire s1; 60 no-prealarm s1; 60 sure 0"},
		{"call point of another zone", "0 s1; 14 ack; 60 d1", "0 prealarm s1; 60 fire d1; 60 fire s1; 60 no-prealarm s1; 60 sure 0; 60 sure 1"},
		{"call point without a zone", "0 s1; 60 u1", "0 prealarm s1; 15 fire s1; 15 no-prealarm s1; 15 sure 0; 60 fire u1"},
		{"nobody goes to look any more", "0 s1; 14 ack; 60 given off", "0 prealarm s1; 60 fire s1; 60 no-prealarm s1; 60 sure 0"},
		{"nobody is there", "0 given off; 1 s1", "1 fire s1; 1 sure 0"},
		{"call point alone", "0 c1", "0 fire c1; 0 sure 0"},
		{"while another fire is latched", "0 d1; 60 s1", "0 fire d1; 0 sure 1; 60 fire s1; 60 sure 0"},
		{"the detector is disabled meanwhile", "0 s1; 14 ack; 60 drop s1", "0 prealarm s1; 60 no-prealarm s1; 60 ready s1"},
	} {
		b := newBench(look, look)
		got := only(b.play(c.script), "fire", "prealarm", "no-prealarm", "sure", "ready")
		if got != c.want {
			t.Errorf("%s: %s\n got %s\nwant %s", c.name, c.script, got, c.want)
		}
		b.checkChains(t)
	}
	alone := newBench(look, Zone{}) // a detector that is in no sequence is a second device like any other
	if got, want := only(alone.play("0 s1; 14 ack; 60 t1"), "fire"), "60 fire t1; 60 fire s1"; got != want {
		t.Errorf("detector outside the sequence: got %s, want %s", got, want)
	}
}

// Dependency on more than one signal, types A, B and C. Source: EN 54-2 7.12.1 to 7.12.3, from
// memory: the first signal is held back (A), shown as a first stage (B), or fire while outputs wait
// (C); a detector must be ready to confirm within 60 s; first signals of A and B end by themselves.
func TestDependency(t *testing.T) {
	typeA := Zone{Confirm: Other, Detectors: 2, Within: 30 * minute}
	typeB, typeC := typeA, typeA
	typeB.First, typeC.First = Prealarm, Fire
	self := func(z Zone) Zone {
		z.Confirm, z.ReadyAfter = SameOrOther, 30*second
		return z
	}
	for _, c := range []struct {
		name         string
		zone         Zone
		script, want string
	}{
		{"A: one", typeA, "0 s1", "0 hold s1; 1800 drop s1; 1800 ready s1"},
		{"A: the same again is no other", typeA, "0 s1; 60 s1", "0 hold s1; 1800 drop s1; 1800 ready s1"},
		{"A: another", typeA, "0 s1; 60 h1", "0 hold s1; 60 confirm s1; 60 confirm h1; 60 fire s1; 60 fire h1; 60 sure 0"},
		{"A: at one instant", typeA, "0 s1, h1", "0 hold s1; 0 confirm s1; 0 confirm h1; 0 fire s1; 0 fire h1; 0 sure 0"},
		{"A: a third passes", typeA, "0 s1; 60 h1; 90 s2", "0 hold s1; 60 confirm s1; 60 confirm h1; 60 fire s1; 60 fire h1; 60 sure 0; 90 fire s2"},
		{"A: another at the last instant", typeA, "0 s1; 1800 h1", "0 hold s1; 1800 confirm s1; 1800 confirm h1; 1800 fire s1; 1800 fire h1; 1800 sure 0"},
		{"A: another too late", typeA, "0 s1; 1801 h1", "0 hold s1; 1800 drop s1; 1800 ready s1; 1801 hold h1; 3601 drop h1; 3601 ready h1"},
		{"A: dropped, and signals anew", typeA, "0 s1; 1810 s1; 1820 h1", "0 hold s1; 1800 drop s1; 1800 ready s1; 1810 hold s1; 1820 confirm s1; 1820 confirm h1; 1820 fire s1; 1820 fire h1; 1820 sure 0"},
		{"A: of another zone is no confirmation", typeA, "0 s1; 60 t1", "0 hold s1; 60 fire t1; 60 sure 1; 1800 drop s1; 1800 ready s1"},
		{"A: call point", typeA, "0 s1; 60 c1", "0 hold s1; 60 fire c1; 60 sure 0; 60 confirm s1; 60 fire s1"},
		{"A: call point of another zone", typeA, "0 s1; 60 d1", "0 hold s1; 60 fire d1; 60 sure 1; 1800 drop s1; 1800 ready s1"},
		{"A: reset", typeA, "0 s1; 60 reset; 70 h1", "0 hold s1; 60 drop s1; 60 ready s1; 70 hold h1; 1870 drop h1; 1870 ready h1"},
		{"A: disabled", typeA, "0 s1; 60 drop s1; 70 h1", "0 hold s1; 60 drop s1; 60 ready s1; 70 hold h1; 1870 drop h1; 1870 ready h1"},
		{"A: reset of a fire that still stands", typeA, "0 s1; 60 h1; 90 clear h1; 100 reset; 110 h1", "0 hold s1; 60 confirm s1; 60 confirm h1; 60 fire s1; 60 fire h1; 60 sure 0; 110 fire h1"},
		{"A: reset of a fire that is over", typeA, "0 s1; 60 h1; 90 clear h1, clear s1; 100 reset; 110 h1", "0 hold s1; 60 confirm s1; 60 confirm h1; 60 fire s1; 60 fire h1; 60 sure 0; 100 unsure 0; 110 hold h1; 1910 drop h1; 1910 ready h1"},
		{"A: the same detector", self(typeA), "0 s1; 40 s1", "0 hold s1; 30 ready s1; 40 confirm s1; 40 fire s1; 40 sure 0"},
		{"A: the same before it is ready", self(typeA), "0 s1; 29 s1", "0 hold s1; 30 ready s1; 1800 drop s1"},
		{"A: another need not wait", self(typeA), "0 s1; 5 h1", "0 hold s1; 5 confirm s1; 5 confirm h1; 5 fire s1; 5 fire h1; 5 sure 0"},
		{"B: one", typeB, "0 s1", "0 hold s1; 0 prealarm s1; 1800 drop s1; 1800 no-prealarm s1; 1800 ready s1"},
		{"B: another", typeB, "0 s1; 60 h1", "0 hold s1; 0 prealarm s1; 60 confirm s1; 60 confirm h1; 60 fire s1; 60 no-prealarm s1; 60 fire h1; 60 sure 0"},
		{"B: cancelled by hand", typeB, "0 s1; 60 reset", "0 hold s1; 0 prealarm s1; 60 drop s1; 60 no-prealarm s1; 60 ready s1"},
		{"B: the same detector", self(typeB), "0 s1; 40 s1", "0 hold s1; 0 prealarm s1; 30 ready s1; 40 confirm s1; 40 fire s1; 40 no-prealarm s1; 40 sure 0"},
		{"C: one", typeC, "0 s1", "0 hold s1; 0 fire s1"},
		{"C: another", typeC, "0 s1; 7200 h1", "0 hold s1; 0 fire s1; 7200 confirm s1; 7200 confirm h1; 7200 fire h1; 7200 sure 0"},
		{"C: the same again is no other", typeC, "0 s1; 60 s1", "0 hold s1; 0 fire s1"},
		{"C: the same detector", self(typeC), "0 s1; 40 s1", "0 hold s1; 0 fire s1; 30 ready s1; 40 confirm s1; 40 sure 0"},
		{"C: call point", typeC, "0 s1; 60 c1", "0 hold s1; 0 fire s1; 60 fire c1; 60 sure 0; 60 confirm s1"},
		{"C: reset of a first that stands", typeC, "0 s1; 60 reset; 90 h1", "0 hold s1; 0 fire s1; 90 confirm s1; 90 confirm h1; 90 fire h1; 90 sure 0"},
		{"C: reset of a first that is over", typeC, "0 s1; 50 clear s1; 60 reset; 90 h1", "0 hold s1; 0 fire s1; 90 hold h1; 90 fire h1"},
	} {
		b := newBench(c.zone)
		if got := b.play(c.script); got != c.want {
			t.Errorf("%s: %s\n got %s\nwant %s", c.name, c.script, got, c.want)
		}
		b.checkChains(t)
	}
}

// Zones that confirm each other. Source: the sequence of cross-zoned release of government guides
// (first detector: pre-alarm; one of the other zone: alarm and what follows).
func TestCrossZone(t *testing.T) {
	zone := func(other int32) Zone {
		return Zone{Confirm: OtherZone, First: Prealarm, Within: 30 * minute, Others: []int32{other}}
	}
	for _, c := range []struct{ name, script, want string }{
		{"one zone alone", "0 s1; 10 s2; 20 h1", "0 prealarm s1; 10 prealarm s2; 20 prealarm h1; 1800 no-prealarm s1; 1810 no-prealarm s2; 1820 no-prealarm h1"},
		{"one of each", "0 s1; 20 t1", "0 prealarm s1; 20 fire t1; 20 sure 1; 20 fire s1; 20 no-prealarm s1; 20 sure 0"},
		{"all that is held", "0 s1; 5 s2; 20 t1", "0 prealarm s1; 5 prealarm s2; 20 fire t1; 20 sure 1; 20 fire s1; 20 no-prealarm s1; 20 fire s2; 20 no-prealarm s2; 20 sure 0"},
		{"a call point of the other zone confirms nothing here", "0 s1; 20 d1; 30 reset", "0 prealarm s1; 20 fire d1; 20 sure 1; 30 no-prealarm s1"},
		{"but the detector that it lets through does", "0 s1; 20 d1; 30 t1", "0 prealarm s1; 20 fire d1; 20 sure 1; 30 fire t1; 30 fire s1; 30 no-prealarm s1; 30 sure 0"},
	} {
		b := newBench(zone(1), zone(0))
		if got := only(b.play(c.script), "fire", "prealarm", "no-prealarm", "sure"); got != c.want {
			t.Errorf("%s: %s\n got %s\nwant %s", c.name, c.script, got, c.want)
		}
		b.checkChains(t)
	}
	// A zone that believes every signal confirms as well, and is not itself held.
	b := newBench(zone(1), Zone{})
	if got, want := only(b.play("0 t1; 20 s1"), "fire", "hold", "sure"), "0 fire t1; 0 sure 1; 20 fire s1; 20 sure 0"; got != want {
		t.Errorf("plain other zone: got %s, want %s", got, want)
	}
}

// Alarm verification. Source: NFPA 72 23.8.5.4 and UL 864, from memory: smoke detectors only, at most
// 60 s added, a signal in the window after restart confirms; manual boxes, waterflow and heat
// detectors are not delayed.
func TestVerification(t *testing.T) {
	zone := Zone{Restart: 30 * second, Window: 60 * second}
	both := zone
	both.Confirm, both.Detectors, both.Within = Other, 2, 30*minute
	looked := zone
	looked.Investigate, looked.AcknowledgeWithin, looked.Extra = true, 15*second, 180*second
	for _, c := range []struct {
		name         string
		zone         Zone
		script, want string
	}{
		{"a puff", zone, "0 s1", "0 verify s1; 30 ready s1; 90 drop s1"},
		{"it stands", zone, "0 s1; 36 s1", "0 verify s1; 30 ready s1; 36 verified s1; 36 fire s1; 36 sure 0"},
		{"nothing counts during restart", zone, "0 s1; 29 s1", "0 verify s1; 30 ready s1; 90 drop s1"},
		{"at the last instant", zone, "0 s1; 90 s1", "0 verify s1; 30 ready s1; 90 verified s1; 90 fire s1; 90 sure 0"},
		{"too late is a first", zone, "0 s1; 91 s1", "0 verify s1; 30 ready s1; 90 drop s1; 91 verify s1; 121 ready s1; 181 drop s1"},
		{"heat is not verified", zone, "0 h1", "0 fire h1; 0 sure 0"},
		{"nor a call point, which lets through what waits", zone, "0 s1; 10 c1", "0 verify s1; 10 fire c1; 10 sure 0; 10 confirm s1; 10 fire s1"},
		{"in a zone in fire nothing is", zone, "0 h1; 10 s1", "0 fire h1; 0 sure 0; 10 fire s1"},
		{"each for itself", zone, "0 s1; 10 s2; 36 s1", "0 verify s1; 10 verify s2; 30 ready s1; 36 verified s1; 36 fire s1; 36 sure 0; 40 ready s2; 100 drop s2"},
		{"reset", zone, "0 s1; 10 reset", "0 verify s1; 10 drop s1; 10 ready s1"},
		{"before confirmation", both, "0 s1; 36 s1; 50 h1", "0 verify s1; 30 ready s1; 36 verified s1; 36 hold s1; 50 confirm s1; 50 confirm h1; 50 fire s1; 50 fire h1; 50 sure 0"},
		{"an unverified signal is none", both, "0 s1; 10 h1; 20 reset", "0 verify s1; 10 hold h1; 20 drop s1; 20 ready s1; 20 drop h1; 20 ready h1"},
		{"before somebody goes to look", looked, "0 s1; 36 s1", "0 verify s1; 30 ready s1; 36 verified s1; 36 investigate s1; 36 prealarm s1; 51 end s1; 51 fire s1; 51 no-prealarm s1; 51 sure 0"},
	} {
		b := newBench(c.zone)
		if got := b.play(c.script); got != c.want {
			t.Errorf("%s: %s\n got %s\nwant %s", c.name, c.script, got, c.want)
		}
		b.checkChains(t)
	}
}

// How long a lone signal can be held and be fire after all: restart, the time until the same detector confirms,
// and investigation add up (rule K1); of several zones the longest counts, wherever it stands.
func TestLongest(t *testing.T) {
	careful := Zone{Restart: 30 * second, Confirm: SameOrOther, ReadyAfter: 20 * second, Investigate: true, AcknowledgeWithin: 15 * second, Extra: 180 * second}
	for _, c := range []struct {
		zones []Zone
		want  time.Duration
	}{
		{nil, 0},
		{[]Zone{{}}, 0},
		{[]Zone{{Restart: 30 * second}}, 30 * second},
		{[]Zone{{Confirm: Other, Detectors: 2, Within: 30 * minute}}, 0}, // alone it is never fire
		{[]Zone{look}, 195 * second},
		{[]Zone{careful, look}, 245 * second},
		{[]Zone{{}, careful, {}}, 245 * second},
	} {
		if got := New(c.zones, nil).Longest(); got != c.want {
			t.Errorf("%+v: %v, want %v", c.zones, got, c.want)
		}
	}
}
