package wire

import (
	"time"
)

// Electrical defaults: common practice, no standard gives them. Currents in amperes.
const (
	defaultStandby    = 0.0003
	defaultIndicator  = 0.004
	defaultSounder    = 0.005
	defaultLimit      = 0.4
	defaultDropOut    = 16_000_000 // microvolts, as all thresholds
	defaultPickUp     = 18_000_000
	defaultOpens      = 10_000_000
	defaultIsolator   = 0.1 // ohms, closed
	foldback          = 10_000_000
	foldbackShare     = 0.25
	starved           = 1_000_000
	leastOhm          = 1e-4
	brokenOhm         = 1000.0
	indicatorsAtOnce  = 10
	longest           = 2000 // entries on one loop
	mostIterations    = 200
	settledShare      = 1e-11 // of a current, between two iterations of constant power
	leastSiemens      = 1e-9
	panelTerminals    = 2
	terminalA, farEnd = 0, 1
)

// Times of the loop (common practice).
const (
	OpenTime    = 5 * time.Millisecond   // collapsed line -> isolator open
	CloseTime   = 100 * time.Millisecond // live on one side -> test and close
	HoldUp      = 50 * time.Millisecond  // a device works on without voltage
	RestartTime = 500 * time.Millisecond // voltage back -> working, at rest
	// OverloadTime is how long the driver stands in its current limit until the controller raises it.
	OverloadTime = 10 * time.Second
	// TripTime is within what the driver comes into its limit or collapses, or a device loses its voltage, three
	// times until the controller raises it. A round of 250 devices takes some seconds, and so does each attempt
	// to command them.
	TripTime = time.Minute
)

// JointOhm is the resistance, in each core, of a bad joint of which nothing is said (common practice).
const JointOhm = 100

// Network is one loop, compiled and immutable. An entry is an index into the loop's list of
// devices, stand-alone isolators included; a run of cable has the number of the entry at its end,
// and the return run of a ring that of Return.
type Network struct {
	ring    bool
	volts   float64 // of the driver
	source  float64 // ohms, both cores together
	limit   float64 // amperes
	entries []entry
	runs    []run   // one per entry, then the return
	order   []int32 // runs so that each comes after what it hangs on: chain, return, spurs
	last    int32   // last entry of the chain, or -1
	iso     []isolator

	highest int64 // voltage at which an isolator opens
	power   bool  // some device draws constant power, not constant current
	all     bool  // all do, all of what they draw
	safe    bool  // healthy: no combination of loads changes who is fed
	byLabel map[string]int32
	byAddr  map[uint32]int32
}

// entry is one thing on the loop.
type entry struct {
	label                       string
	address                     uint32 // 0: an isolator on its own
	parent                      int32  // entry at whose terminal the run begins, or -1: the panel's first terminal
	spur                        bool
	iso                         int32 // its isolator, or -1
	device                      bool
	standby, indicator, sounder float64 // amperes
	watts                       bool    // the sounder draws constant power: sounder is its current at the driver's voltage
	dropOut, pickUp             int64
}

// run is one run of cable.
type run struct {
	metres float64
	ohm    float64 // per core
	farad  float64
}

// isolator is one isolator; the first two are the panel's terminals.
type isolator struct {
	entry int32 // -1: a terminal of the panel
	ohm   float64
	opens int64
}

// Entries is the number of entries, isolators on their own included.
func (n *Network) Entries() int { return len(n.entries) }

// ConstantlyPowered tells whether some sounder of the loop draws constant power.
func (n *Network) ConstantlyPowered() bool { return n.power }

// Ring tells whether the far end comes back to the panel.
func (n *Network) Ring() bool { return n.ring }

// Return is the run from the last device back to the panel; only a ring has one.
func (n *Network) Return() int32 { return int32(len(n.entries)) }

// Runs is the number of runs of cable.
func (n *Network) Runs() int { return len(n.runs) }

// Label names an entry.
func (n *Network) Label(e int32) string { return n.entries[e].label }

// IsDevice tells whether an entry is an addressed device.
func (n *Network) IsDevice(e int32) bool { return n.entries[e].device }

// HasIsolator tells whether an entry is, or contains, an isolator.
func (n *Network) HasIsolator(e int32) bool { return n.entries[e].iso >= 0 }

// OnSpur tells whether an entry hangs on a spur, not on the chain.
func (n *Network) OnSpur(e int32) bool { return n.entries[e].spur }

// ByLabel finds an entry.
func (n *Network) ByLabel(label string) (int32, bool) {
	e, ok := n.byLabel[label]
	return e, ok
}

// ByAddress finds a device.
func (n *Network) ByAddress(address uint32) (int32, bool) {
	e, ok := n.byAddr[address]
	return e, ok
}
