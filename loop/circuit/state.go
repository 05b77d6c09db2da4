package circuit

import "math"

// Core names one or both conductors of a cable.
type Core uint8

// The conductors. Positive is the one that is positive while the circuit is active.
const (
	Both Core = iota
	Positive
	Negative
)

// State is everything about one circuit that changes: its faults. The zero value is not a state;
// NewState makes a healthy one.
type State struct {
	runs     []runFault
	reversed []bool  // by load
	resistor float64 // siemens in place of the end-of-line resistor; 0: missing
	second   float64 // siemens beside it
}

// runFault is what is wrong in the middle of one run of cable. The zero value is nothing.
type runFault struct {
	series [2]float64 // ohms in each core; +Inf: broken
	short  float64    // siemens between the cores
	earth  [2]float64 // siemens from each core to earth
}

// NewState returns the circuit as the file describes it, without faults.
func (c *Circuit) NewState() *State {
	return &State{
		runs:     make([]runFault, c.Runs()),
		reversed: make([]bool, len(c.loads)),
		resistor: 1 / c.endOfLine,
	}
}

// Heal takes every fault away. Where two faults of one kind may meet on one run, as two steps of a
// script can make them, heal and set again those that remain.
func (c *Circuit) Heal(s *State) {
	clear(s.runs)
	clear(s.reversed)
	s.resistor, s.second = 1/c.endOfLine, 0
}

// CopyFrom makes s equal to o and independent of it; s may be the zero State.
func (s *State) CopyFrom(o *State) {
	s.runs = append(s.runs[:0], o.runs...)
	s.reversed = append(s.reversed[:0], o.reversed...)
	s.resistor, s.second = o.resistor, o.second
}

// Break parts a core, or both, in the middle of a run.
func (s *State) Break(run int, core Core) { s.SetSeries(run, core, math.Inf(1)) }

// SetSeries puts a resistance of 0 ohms or more, such as a bad joint, into the middle of a run.
func (s *State) SetSeries(run int, core Core, ohm float64) {
	for k := range s.runs[run].series {
		if core == Both || int(core) == k+1 {
			s.runs[run].series[k] = max(ohm, 0)
		}
	}
}

// SetShort connects the cores in the middle of a run with 0 ohms or more.
func (s *State) SetShort(run int, ohm float64) { s.runs[run].short = siemens(ohm) }

// SetEarth connects a core to earth in the middle of a run with 0 ohms or more.
func (s *State) SetEarth(run int, core Core, ohm float64) {
	for k := range s.runs[run].earth {
		if core == Both || int(core) == k+1 {
			s.runs[run].earth[k] = siemens(ohm)
		}
	}
}

// SetResistor replaces the end-of-line resistor.
func (s *State) SetResistor(ohm float64) { s.resistor = siemens(ohm) }

// RemoveResistor takes the end-of-line resistor out.
func (s *State) RemoveResistor() { s.resistor = 0 }

// SetSecond puts another resistor beside the end-of-line resistor.
func (s *State) SetSecond(ohm float64) { s.second = siemens(ohm) }

// SetReversed connects a load the wrong way round, or the right way again.
func (s *State) SetReversed(load int, reversed bool) { s.reversed[load] = reversed }

// EarthFault reports whether either core's leakage to earth is low enough to be indicated. A
// single earth changes nothing else.
func (s *State) EarthFault() bool {
	var leak [2]float64
	for i := range s.runs {
		leak[0] += s.runs[i].earth[0]
		leak[1] += s.runs[i].earth[1]
	}
	return max(leak[0], leak[1]) > 1.0/earthBelowOhm
}

// siemens is the conductance of a resistance; less than leastFaultOhm counts as that.
func siemens(ohm float64) float64 { return 1 / max(ohm, leastFaultOhm) }
