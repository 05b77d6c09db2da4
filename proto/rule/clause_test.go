package rule

import (
	"regexp"
	"slices"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

var (
	american = regexp.MustCompile(`NFPA|ASME|IBC|\bUL \d`)
	european = regexp.MustCompile(`\bEN \d|\bBS \d|CEN/TS`)
)

// A site is held against the standards that it names, and against common practice: under no pack does a
// figure or a rule rest on a standard of the other side of the ocean.
func TestPacksCiteTheirOwn(t *testing.T) {
	for pack, foreign := range map[string]*regexp.Regexp{"nfpa72": european, "en54": american, "bs5839-1": american} {
		for _, edition := range []uint32{2013, 2016, 2022} {
			set := Of(&pb.Rules{Packs: []string{pack}, Edition: &edition})
			for _, l := range set.InForce() {
				if foreign.MatchString(l.Source()) {
					t.Errorf("%s: %s rests on %s", pack, l.Name, l.Source())
				}
			}
			for _, c := range clauses() {
				if text := set.Clause(c.name); text == "" || foreign.MatchString(text) {
					t.Errorf("%s: %s rests on %q", pack, c.name, text)
				}
			}
		}
	}
}

// The first pack of the file that has a clause gives it; a rule is written once for each pack, and for
// packs without a clause of their own it is common practice.
func TestClauses(t *testing.T) {
	of := func(packs ...string) *Set { return Of(&pb.Rules{Packs: packs}) }
	for _, c := range []struct {
		set        *Set
		name, want string
	}{
		{of("en54", "nfpa72"), LiftFirstHolds, "EN 81-73 5.1.2"},
		{of("nfpa72", "en54"), LiftFirstHolds, "ASME A17.1, from memory"},
		{of("en54", "nfpa72"), LiftPower, "NFPA 72 21.4"},
		{of("en54"), LiftPower, "common practice"},
		{of("nfpa72"), LiftWireCut, "common practice"},
		{of("en54"), PathwayClass, "required_class of the file; common practice"},
	} {
		if got := c.set.Clause(c.name); got != c.want {
			t.Errorf("%v: %s rests on %q, want %q", c.set.Packs(), c.name, got, c.want)
		}
	}
	table := clauses()
	for i, a := range table {
		last := !slices.ContainsFunc(table[i+1:], func(b clause) bool { return b.name == a.name })
		if last != (len(a.packs) == 0) {
			t.Errorf("%s: its last row, and no other, applies everywhere", a.name)
		}
		for _, b := range table[i+1:] {
			if a.name == b.name && slices.ContainsFunc(a.packs, func(p string) bool { return slices.Contains(b.packs, p) }) {
				t.Errorf("%s stands twice under one pack", a.name)
			}
		}
	}
}
