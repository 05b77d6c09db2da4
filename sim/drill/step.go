package drill

import (
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/sim"
)

// stepWords are the keys of acts in a scenario. Those of supplies say what has happened to one, and
// disable has its opposite.
var stepWords = map[ActKind]string{
	ActSmoke: "smoke", ActHeat: "heat", ActFlame: "flame", ActPress: "press", ActActivate: "activate", ActClear: "clear",
	ActAcknowledge: "acknowledge", ActSilence: "silence", ActResound: "resound", ActReset: "reset", ActEvacuate: "evacuate",
	ActDisableDevice: "disable", ActDisableZone: "disable", ActDisableOutput: "disable", ActDisableEquipment: "disable",
	ActMode: "mode", ActControl: "control", ActTest: "test", ActOverride: "override",
	ActRemove: "remove", ActMute: "mute", ActDuplicate: "duplicate", ActWrongType: "wrong_type", ActStuck: "stuck", ActLineErrors: "line_errors",
	ActRelayStuck: "relay_stuck", ActBreak: "break", ActShort: "short", ActJoint: "joint", ActEarth: "earth", ActIsolatorStuck: "isolator_stuck",
	ActCircuitOpen: "circuit_open", ActCircuitShort: "circuit_short", ActCircuitEarth: "circuit_earth", ActResistor: "resistor",
	ActReversed: "reversed", ActDeviceReversed: "reversed",
	ActFieldWireOpen: "field_wire_open", ActRelayWireOpen: "field_wire_open", ActFieldWireShort: "field_wire_short", ActRelayWireShort: "field_wire_short",
	ActPlantFault: "plant_fault", ActPanelStop: "panel_stop", ActStandIn: "stand_in", ActSignal: "signal",
}

var supplySteps = map[power.Condition]string{
	power.SupplyFailed: "supply_fail", power.MainsFailed: "mains_fail", power.FuseOpen: "fuse", power.BatteryOut: "battery_fail", power.ChargerFailed: "charger_fail",
}

// stepWord is the key that the act of an event has in a scenario.
func stepWord(e *sim.Event) string {
	switch kind := ActKind(e.Value); {
	case kind == ActSupply:
		return supplySteps[power.Condition(e.Extra)]
	case stepWords[kind] == "disable" && e.Extra == 0:
		return "enable"
	default:
		return stepWords[kind]
	}
}

// extra is what an event says of a fault beside its subject: the run of cable, the entry of an isolator
// and its position, the kind of a resistor, or a choice.
func (a *Act) extra() int64 {
	switch {
	case a.Kind == ActIsolatorStuck:
		return int64(a.Run)<<1 | flag(a.On)
	case a.Kind.cable():
		return int64(a.Run)
	case a.Kind == ActSupply:
		return a.Value
	case a.Kind == ActPlantFault && plant.Fault(a.Value) == plant.Slow:
		return micro(a.Rate)<<plantFaultBits | a.Value
	case a.Kind == ActPlantFault:
		return a.Value
	case a.Kind == ActLineErrors:
		return micro(a.Rate)
	case a.Kind == ActResistor && !a.On && a.Ohm == 0:
		return resistorMissing
	}
	return flag(a.On)
}
