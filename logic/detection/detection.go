// Package detection is what stands between the signal of a detector and the fire condition: alarm
// verification, the dependency on more than one signal, and the time for somebody to go and look.
//
// Rules are compiled and immutable, a State is everything that changes and is plain data. Whoever
// owns time hands in each signal of a fire input as it is decided, acknowledgement and reset, and
// calls Settle once for each instant at which anything was handed in and at each instant that Next
// names; what comes of it goes to a Sink. Inside an instant signals come first, then operators, then
// Settle: a confirmation at the very instant at which the wait for it ends still counts.
//
// A signal of an automatic detector passes in this order:
//   - verification (smoke detectors alone): the detector is reset; while it restarts nothing of it
//     counts; a signal in the window after that passes, otherwise the first is dropped;
//   - confirmation: it is held until the zone's criterion is met, or dropped when its time is over;
//   - investigation: if it is the only one on the whole panel, it waits for somebody to acknowledge,
//     and then to go and look; whatever else would become fire anywhere ends the wait for it too.
//
// Call points, waterflow and fire inputs are never held: they become fire at once and so does
// whatever is held in their zone. A zone whose criterion is met holds nothing any more until reset.
//
// Left out: the zone of an unzoned input; disablement and test, which are the caller's: it does not
// hand in such signals and calls Drop for those that are held. What resetting a detector does to its
// readings is the caller's as well: DetectorReady says when it may signal anew.
//
// Sources: EN 54-2 7.11 and 7.12 and NFPA 72 23.8 on verification, all from memory; the positive
// alarm sequence of NFPA 72 23.8.1.2 as the trade press gives it. Validated against tables made from
// these, by enumeration of k of n, and against a twin that works everything out anew from the whole
// history, on random traces.
package detection

import "time"

// Confirm is what confirms the first signal of a zone.
type Confirm uint8

// Kinds of confirmation.
const (
	Nothing     Confirm = iota // the first signal is believed
	SameOrOther                // the same detector once more, or another of the zone
	Other                      // so many distinct detectors of the zone
	OtherZone                  // a detector of another zone
)

// First is what the first signal already does.
type First uint8

// Kinds of first signals: EN 54-2 7.12.1 to 7.12.3.
const (
	Unseen   First = iota // nothing: type A
	Prealarm              // a pre-alarm of the detector: type B
	Fire                  // the fire condition; only what waits for the zone to be confirmed waits: type C
)

// Sense is what the rules must know of a fire input.
type Sense uint8

// Kinds of fire inputs.
const (
	Direct    Sense = iota // call point, waterflow, fire input: never held
	Automatic              // a detector, or a conventional zone of detectors
	Smoke                  // a smoke detector: may be verified
)

// Zone says how one zone decides. The zero value believes every signal at once.
type Zone struct {
	Confirm Confirm
	First   First
	// Detectors must signal, with Other: at least 2.
	Detectors int
	// Others are the zones whose detectors confirm, with OtherZone.
	Others []int32
	// Within is how long a first signal is held, but for First Fire, which does not end by itself.
	Within time.Duration
	// ReadyAfter is the time from a first signal until its detector can signal again, with SameOrOther.
	ReadyAfter time.Duration
	// Restart is the time a smoke detector is out while it is verified, 0 for none; Window that in
	// which it must signal again after it.
	Restart, Window time.Duration
	// Investigate says that a lone signal waits: AcknowledgeWithin for somebody to acknowledge, and
	// Extra from then.
	Investigate              bool
	AcknowledgeWithin, Extra time.Duration
}

// Point says what one device is.
type Point struct {
	Zone  int32 // -1 for none
	Sense Sense
}

// Rules are the compiled rules of a site.
type Rules struct {
	zones  []Zone
	points []Point
	// detectors lists the automatic detectors of each zone; crossed the zones that wait for others.
	detectors [][]int32
	crossed   []int32
}

// New returns rules over the zones and points of a site; a point that is no fire input is never
// handed in, whatever is said of it here.
func New(zones []Zone, points []Point) *Rules {
	r := &Rules{zones: zones, points: points, detectors: make([][]int32, len(zones))}
	for i, p := range points {
		if p.Zone >= 0 && p.Sense != Direct {
			r.detectors[p.Zone] = append(r.detectors[p.Zone], int32(i))
		}
	}
	for z := range zones {
		if zones[z].Confirm == OtherZone {
			r.crossed = append(r.crossed, int32(z))
		}
	}
	return r
}

// Longest returns the longest time for which a lone signal that stands can be held and become fire
// after all; what its detector's new readings take is not in it.
func (r *Rules) Longest() time.Duration {
	longest := time.Duration(0)
	for i := range r.zones {
		z := &r.zones[i]
		held := z.Restart
		if z.Confirm == SameOrOther {
			held += z.ReadyAfter
		}
		if z.Investigate {
			held += z.AcknowledgeWithin + z.Extra
		}
		longest = max(longest, held)
	}
	return longest
}

// MayHold reports whether the signal of the device may be held, for whatever reason.
func (r *Rules) MayHold(point int32) bool {
	p := r.points[point]
	if p.Zone < 0 || p.Sense == Direct {
		return false
	}
	z := &r.zones[p.Zone]
	return z.Confirm != Nothing || z.Investigate || p.Sense == Smoke && z.Restart > 0
}
