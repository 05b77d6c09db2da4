// Package cadence says when a sounder sounds within the signal that its output gives.
//
// What it models. The pattern of each state of a sounder output as a function of the time since
// the output took that state: silent, continuous, intermittent (1 s on, 1 s off, common practice),
// and the three-pulse evacuation signal of ISO 8201. A module makes the pattern by itself after one
// command, so nothing here is an event; all loads of one circuit are in step because they share one
// origin.
//
// What it leaves out. Pitch, loudness, the ramp of a horn, single-stroke bells (three strokes, then
// 2 s of silence), and sounders that make a pattern of their own on a steady supply.
//
// Invariants. On changes exactly at the instants that Next gives; a pattern repeats for ever.
//
// Validated against the timing and the tolerances of ISO 8201 as the appendix of a building code
// prints them (Ontario Building Code, note B-3.2.4.18.(2)).
package cadence

import "time"

// Pattern is how a sounder sounds while its output is in one state.
type Pattern uint8

// The patterns. Their numbers are those of the conditions' fact, so that none is translated.
const (
	Silent Pattern = iota
	Continuous
	Intermittent
	ThreePulse
)

var words = [...]string{Silent: "silent", Continuous: "continuous", Intermittent: "intermittent", ThreePulse: "three-pulse"}

// String returns the word that files and conditions use.
func (p Pattern) String() string { return words[p] }

// Of returns the pattern of a word, and false for any other text.
func Of(word string) (Pattern, bool) {
	for p, w := range words {
		if w == word {
			return Pattern(p), true
		}
	}
	return Silent, false
}

// Lengths of the patterns.
const (
	pulse      = 500 * time.Millisecond  // ISO 8201: on, and off between the pulses of one group
	groupPause = 1500 * time.Millisecond // ISO 8201: off behind the third pulse
	beat       = time.Second             // intermittent: on, and off (common practice)
)

// phases lists, for each pattern that changes, the lengths of its phases in turn, the first of them
// on. Their number is even: a pattern ends with silence.
var phases = [...][]time.Duration{
	Silent:       nil,
	Continuous:   nil,
	Intermittent: {beat, beat},
	ThreePulse:   {pulse, pulse, pulse, pulse, pulse, groupPause},
}

// Cycle returns the time after which the pattern repeats; 0 for one that never changes.
func (p Pattern) Cycle() time.Duration {
	whole := time.Duration(0)
	for _, length := range phases[p] {
		whole += length
	}
	return whole
}

// On reports whether the pattern sounds at the given time since it began. A phase owns its first
// instant and not its last: the first pulse of ISO 8201 is [0 s, 0.5 s).
func (p Pattern) On(since time.Duration) bool {
	on, _ := p.at(since)
	return on
}

// Next returns the first time, counted from the beginning of the pattern and later than since, at
// which On changes; false for a pattern that never changes.
func (p Pattern) Next(since time.Duration) (time.Duration, bool) {
	_, left := p.at(since)
	return since + left, left > 0
}

// at returns whether the pattern sounds, and how long the phase still lasts; 0 for ever.
func (p Pattern) at(since time.Duration) (on bool, left time.Duration) {
	cycle := p.Cycle()
	if cycle == 0 {
		return p == Continuous, 0
	}
	since %= cycle
	for i, length := range phases[p] {
		if since < length {
			return i%2 == 0, length - since
		}
		since -= length
	}
	panic("cadence: a time within the cycle lies in one of its phases")
}
