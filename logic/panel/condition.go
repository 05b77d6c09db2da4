package panel

import "loopdrill.dev/loopdrill/logic/term"

// Condition is what the panel indicates. Several may stand at once; a smaller one is indicated
// before a greater one, the fire alarm condition first (EN 54-2 and ISO 7240-2; the order of the
// others is common practice).
type Condition uint8

// Conditions. Quiescent is that none of the others stands.
const (
	Quiescent Condition = iota
	Fire
	Prealarm
	Supervisory
	Fault
	Disablement
	Test
	kinds
)

// String returns the word that panel.indicated is compared with.
func (c Condition) String() string {
	return [...]string{"quiescent", "fire", "prealarm", "supervisory", "fault", "disablement", "test"}[c]
}

// News reports whether the buzzer sounds when the condition, or one more reason for it, arises.
func (c Condition) News() bool { return c >= Fire && c <= Fault }

// ConditionOf says which condition a fact of the kind makes; Quiescent for none.
func ConditionOf(k term.Kind) Condition {
	switch k {
	case term.DeviceFire:
		return Fire
	case term.DevicePrealarm:
		return Prealarm
	case term.DeviceSupervisory:
		return Supervisory
	case term.DeviceFault, term.OutputFault, term.LoopFault, term.SupplyFault:
		return Fault
	case term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled:
		return Disablement
	case term.ZoneTest:
		return Test
	}
	return Quiescent
}
