package verify

import (
	"math/bits"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
)

// mostPulses is how many pulses in a row are fitted together; more are judged by their tolerances alone.
const mostPulses = 12

// pulsesLast reports whether a state that pulses ask for, and nothing else, may have stood from one instant to
// another: a pulse lasts neither longer nor shorter for having begun elsewhere in its tolerance, and several of them
// without a gap are over when the last is. True where it is not for pulses to say.
func pulsesLast(c *matrix.Course, rise, fall *matrix.Transition, began, ended time.Duration) bool {
	if len(fall.Ended) == 0 {
		return true
	}
	state := c.Demands[fall.Ended[0]].State
	asks := func(k int) bool { return c.Demands[k].State == state }
	outranks := func(k int) bool { return c.Demands[k].State > state }
	if !slices.ContainsFunc(rise.Begun, asks) || slices.ContainsFunc(fall.Begun, outranks) {
		return true // it stood before, behind something stronger, or still stands behind it
	}
	var pulses []*matrix.Demand
	for i := range c.Demands {
		d := &c.Demands[i]
		if d.State != state || d.From >= fall.At || d.To <= rise.At {
			continue
		}
		if d.For == 0 || d.To != d.From+d.For || d.From < rise.At {
			return true
		}
		pulses = append(pulses, d)
	}
	return len(pulses) > mostPulses || fit(pulses, began, ended)
}

// fit reports whether pulses can be placed in their tolerances so that together they last from one instant to
// another without a gap. It goes through the sets of pulses by how far each can reach.
func fit(pulses []*matrix.Demand, began, ended time.Duration) bool {
	window := func(d *matrix.Demand) (least, most time.Duration) {
		return max(d.Begin.From, began), min(d.Begin.To, ended-d.For)
	}
	for _, d := range pulses {
		if least, most := window(d); least > most {
			return false
		}
	}
	reach := make([]time.Duration, 1<<len(pulses)) // by set: how far it goes at most; 0 where it cannot begin
	for set := 1; set < len(reach); set++ {
		for rest := set; rest != 0; rest &= rest - 1 {
			i := bits.TrailingZeros(uint(rest))
			least, most := window(pulses[i])
			before := reach[set&^(1<<i)]
			switch {
			case set == 1<<i && least == began:
				reach[set] = began + pulses[i].For
			case before > 0 && least <= before:
				reach[set] = max(reach[set], before, min(most, before)+pulses[i].For)
			}
		}
	}
	return slices.Contains(reach, ended) // those beyond it lie inside
}
