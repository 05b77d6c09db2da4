// Package rule holds the figures of the rule packs: each number once, with its unit, the packs and
// editions that it applies to, and the standard and clause, or the practice, that it rests on.
//
// What it models. A site names its packs, the edition of nfpa72, and limits of its own that a data
// sheet or an agreement puts in place of a pack's. Of joins the three into a Set, which everybody
// asks: defaults, targets, and whoever judges. The first pack of the file that has a figure gives
// it.
//
// What it leaves out. What a figure is held against, and how severe a breach is: that is the
// judges'. Clause numbers move between editions: they are pointers for a reader, not quotations.
//
// Invariants: a Set is immutable, and the same message gives the same Set. Rows of one name do
// not overlap in pack and edition.
//
// Validated by tables of resolution by pack and edition, and by the tests of its readers, which hold
// results of published worked examples. Figures `from memory` were found on no public page.
package rule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Confidence says how sure a figure is.
type Confidence string

// How sure figures are.
const (
	Confirmed      Confidence = "confirmed by public pages"
	FromMemory     Confidence = "from memory"
	CommonPractice Confidence = "common practice"
)

// Limit is one figure.
type Limit struct {
	Name       string  // ends in its unit, or in `count`
	Unit       string  // as printed behind the value; empty for a count
	Value      float64 // in its unit
	Most       float64 // the greatest that a file may put in its place; 0: whatever the schema takes
	Packs      []string
	From       uint32 // first edition of nfpa72 that it applies to; 0: no bound
	Before     uint32 // first edition that it no longer applies to; 0: no bound
	Standard   string // standard and clause; empty for plain practice
	Confidence Confidence
	// Given is set where the file puts Value in place of BuiltIn, for the reason Why (may be empty).
	Given   bool
	BuiltIn float64
	Why     string
}

// BuiltInSource is what the pack's own figure rests on, for people.
func (l Limit) BuiltInSource() string {
	switch {
	case l.Standard == "":
		return string(l.Confidence)
	case l.Confidence != Confirmed:
		return l.Standard + ", " + string(l.Confidence)
	}
	return l.Standard
}

// Source is what the figure in force rests on, for people.
func (l Limit) Source() string {
	if !l.Given {
		return l.BuiltInSource()
	}
	text := fmt.Sprintf("rules.limits of the file, in place of %g (%s)", l.BuiltIn, l.BuiltInSource())
	if l.Why != "" {
		text += ": " + l.Why
	}
	return text
}

// Where says in words where the figure applies; empty: everywhere.
func (l Limit) Where() string {
	text := strings.Join(l.Packs, ", ")
	if l.From > 0 {
		text += fmt.Sprintf(" from %d", l.From)
	}
	if l.Before > 0 {
		text += fmt.Sprintf(" before %d", l.Before)
	}
	return text
}

// Micro is the value in whole millionths, the form in which figures are compared.
func (l Limit) Micro() int64 { return int64(math.Round(float64(min(l.Value, 1e12) * 1e6))) }

// Duration is the value of a figure in s, min or h; of any other it panics.
func (l Limit) Duration() time.Duration {
	unit, ok := map[string]time.Duration{"s": time.Second, "min": time.Minute, "h": time.Hour}[l.Unit]
	if !ok {
		panic("rule: " + l.Name + " is no time")
	}
	return time.Duration(math.Round(float64(l.Value * float64(unit))))
}

// Set is the figures in force for one site.
type Set struct {
	packs   []string
	edition uint32
	rows    []Limit // the table, with the file's values
}

// Of joins the packs with what the file overrides. Names that do not exist, or stand twice, are
// what Check reports; a pack that does not exist, which the schema refuses, counts for nothing.
func Of(rules *pb.Rules) *Set {
	s := &Set{edition: rules.GetEdition(), rows: Table()}
	for _, pack := range rules.GetPacks() {
		if slices.ContainsFunc(s.rows, func(l Limit) bool { return slices.Contains(l.Packs, pack) }) {
			s.packs = append(s.packs, pack)
		}
	}
	if s.edition == 0 {
		s.edition = DefaultEdition
	}
	for i := range s.rows {
		r := &s.rows[i]
		if at := slices.IndexFunc(rules.GetLimits(), func(l *pb.Limit) bool { return l.GetLimit() == r.Name }); at >= 0 {
			given := rules.GetLimits()[at]
			r.Given, r.BuiltIn, r.Value, r.Why = true, r.Value, given.GetValue(), given.GetWhy()
			if r.Most > 0 {
				r.Value = min(r.Value, r.Most)
			}
		}
	}
	return s
}

// Packs are the packs that exist, in the order of the file.
func (s *Set) Packs() []string { return s.packs }

// Has tells whether the file names a pack.
func (s *Set) Has(pack string) bool { return slices.Contains(s.packs, pack) }

// First is the pack that gives the defaults; empty where the file, wrongly, names none.
func (s *Set) First() string {
	if len(s.packs) == 0 {
		return ""
	}
	return s.packs[0]
}

// Lookup returns the figure in force of a name: that of the first pack of the file that has one. False:
// no pack of the file has it. A name that the table does not know is a broken contract: it panics.
func (s *Set) Lookup(name string) (Limit, bool) {
	for _, pack := range s.packs {
		if l, ok := s.For(pack, name); ok {
			return l, true
		}
	}
	last, known := Limit{}, false
	for i := range s.rows {
		if r := &s.rows[i]; r.Name == name {
			last, known = *r, true
			if len(r.Packs) == 0 {
				return *r, true
			}
		}
	}
	if !known {
		panic("rule: there is no limit " + name)
	}
	// A message without packs, which the schema refuses, still compiles.
	return last, len(s.packs) == 0
}

// For returns the figure that one pack has, with the file's value.
func (s *Set) For(pack, name string) (Limit, bool) {
	for i := range s.rows {
		r := &s.rows[i]
		if r.Name == name && slices.Contains(r.Packs, pack) && s.edition >= r.From && (r.Before == 0 || s.edition < r.Before) {
			return *r, true
		}
	}
	return Limit{}, false
}

// Of returns a figure that applies under every pack; where it does not, that is a broken contract, and it
// panics.
func (s *Set) Of(name string) Limit {
	l, ok := s.Lookup(name)
	if !ok {
		panic("rule: the limit " + name + " does not apply here; ask Lookup")
	}
	return l
}

// Value is the value of Of.
func (s *Set) Value(name string) float64 { return s.Of(name).Value }

// Source is the source of Of.
func (s *Set) Source(name string) string { return s.Of(name).Source() }

// Duration is the time of Of.
func (s *Set) Duration(name string) time.Duration { return s.Of(name).Duration() }

// InForce lists the figures in force, in the order of the table.
func (s *Set) InForce() []Limit {
	var list []Limit
	for _, name := range Names() {
		if l, ok := s.Lookup(name); ok {
			list = append(list, l)
		}
	}
	return list
}

// Overridden lists the figures in force that the file has put in place of a pack's.
func (s *Set) Overridden() []Limit {
	return slices.DeleteFunc(s.InForce(), func(l Limit) bool { return !l.Given })
}

// Names lists the names of the table, each once, in its order.
func Names() []string {
	var names []string
	for _, l := range Table() {
		if !slices.Contains(names, l.Name) {
			names = append(names, l.Name)
		}
	}
	return names
}

// Check refuses limits of the file that do not exist, stand twice or are out of range, and warns of
// those that no pack of the file has, because they change nothing.
func Check(rules *pb.Rules) []*pb.Finding {
	set, names := Of(rules), Names()
	seen := map[string]bool{}
	var found []*pb.Finding
	for i, l := range rules.GetLimits() {
		path, name := fmt.Sprintf("rules.limits[%d]", i), l.GetLimit()
		if !slices.Contains(names, name) {
			found = append(found, finding.Dangling(path+".limit", "limit", name, names))
			continue
		}
		if seen[name] {
			found = append(found, finding.Refuse("reference.duplicate", path+".limit", fmt.Sprintf("the limit %q is given twice", name), "keep one of the two"))
			continue
		}
		seen[name] = true
		limit, ok := set.Lookup(name)
		switch {
		case !ok:
			found = append(found, finding.Warn("rules.limit-without-effect", path+".limit", fmt.Sprintf("no pack of this site has the limit %q", name),
				"it changes nothing; name the pack that has it, or take it out"))
		case limit.Most > 0 && l.GetValue() > limit.Most:
			found = append(found, finding.Refuse("value.range", path+".value", fmt.Sprintf("%g is too large for %s", l.GetValue(), name), fmt.Sprintf("at most %g", limit.Most)))
		}
	}
	return found
}
