package rule

import "slices"

// Names of the rules without a figure that findings rest on.
const (
	LiftRecall      = "lift-recall"       // what may send a lift to its landing
	LiftLanding     = "lift-landing"      // which landing it is sent to
	LiftFirstHolds  = "lift-first-holds"  // the first signal decides the landing until reset
	LiftPower       = "lift-power"        // heat beside sprinklers takes the power away
	LiftPowerAtOnce = "lift-power-timing" // it does not wait
	LiftWireCut     = "lift-wire-cut"     // a cut wire starts the recall
	Silencing       = "silencing"         // what silence is for
	WaterSignals    = "water-signals"     // flow is a fire, a valve's position supervisory
	DuctDetector    = "duct-detector"     // stops the fan of its duct
	DamperOrder     = "damper-order"      // of fans and dampers
	FloorZones      = "floor-zones"       // a zone is on one floor
	PathwayClass    = "pathway-class"     // what class a, b and x keep under a fault
	ReturnRoute     = "return-route"      // of a ring
	RelayWiring     = "relay-wiring"      // between a contact and what it operates
	RelayForUse     = "relay-for-use"     // a relay between contact and motor
	EgressLocks     = "egress-locks"      // let people out no later than they are told to go, until reset
	InputWiring     = "input-wiring"      // between an input and its contact
)

// clause is what a rule rests on under some packs.
type clause struct {
	name  string
	packs []string // none: where no other row applies
	text  string
}

// clauses lists them; every rule has a last row that applies everywhere.
func clauses() []clause {
	practice := string(CommonPractice)
	return []clause{
		{LiftRecall, nfpa72, "ASME A17.1 2.27; NFPA 72 21.3"},
		{LiftRecall, nil, practice},
		{LiftLanding, nfpa72, "ASME A17.1 2.27.3.2"},
		{LiftLanding, europe, "EN 81-73 5.1 (an input for each designated landing); " + practice},
		{LiftLanding, nil, practice},
		{LiftFirstHolds, nfpa72, "ASME A17.1, from memory"},
		{LiftFirstHolds, europe, "EN 81-73 5.1.2"},
		{LiftFirstHolds, nil, practice},
		{LiftPower, nfpa72, "NFPA 72 21.4"},
		{LiftPower, nil, practice},
		{LiftPowerAtOnce, nfpa72, "ASME A17.1"},
		{LiftPowerAtOnce, nil, practice},
		{LiftWireCut, europe, "EN 81-73 5.1 to 5.3"},
		{LiftWireCut, nil, practice},
		{Silencing, nfpa72, "NFPA 72 10.12.2 (what silence is for); " + practice},
		{Silencing, nil, practice},
		{WaterSignals, nfpa72, "NFPA 72: flow is alarm, a valve's position supervisory"},
		{WaterSignals, nil, practice},
		{DuctDetector, nfpa72, "NFPA 90A, where the air handler is large enough to need the detector"},
		{DuctDetector, nil, practice},
		{DamperOrder, nfpa72, "IBC 909.17 (an order that damages neither fans, dampers nor ducts)"},
		{DamperOrder, nil, practice},
		{FloorZones, nfpa72, "NFPA 72 23.6.1: each floor is a zone"},
		{FloorZones, europe, "BS 5839-1 13, from memory: one storey"},
		{FloorZones, nil, practice},
		{PathwayClass, nfpa72, "NFPA 72 chapter 12"},
		{PathwayClass, nil, "required_class of the file; " + practice},
		{ReturnRoute, nfpa72, "NFPA 72 chapter 12 (class A and X)"},
		{ReturnRoute, nil, practice},
		{RelayWiring, nfpa72, "NFPA 72 21.2 (monitored, or one open operates it)"},
		{RelayWiring, nil, practice},
		{RelayForUse, nfpa72, "NFPA 72 21.2; " + practice},
		{RelayForUse, nil, practice},
		{EgressLocks, nfpa72, "NFPA 72 chapter 21 (electrically locked doors)"},
		{EgressLocks, nil, practice},
		{InputWiring, nfpa72, "NFPA 72 chapters 10 and 12 (an open is monitored)"},
		{InputWiring, nil, practice},
	}
}

// Clause is what a rule without a figure rests on, for people: under the first pack of the file that has
// a clause for it, and else common practice. A name that the table does not know is a broken contract: it
// panics.
func (s *Set) Clause(name string) string {
	table := clauses()
	for _, pack := range s.packs {
		for _, c := range table {
			if c.name == name && slices.Contains(c.packs, pack) {
				return c.text
			}
		}
	}
	for _, c := range table {
		if c.name == name && len(c.packs) == 0 {
			return c.text
		}
	}
	panic("rule: there is no rule " + name)
}
