package drill

import (
	"fmt"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/circuit"
	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// electrical resolves faults of cables, circuits, field wiring and supplies.
func (r *resolver) electrical(step *pb.Step) {
	switch k := step.GetKind().(type) {
	case *pb.Step_Break:
		r.cable(ActBreak, "break", k.Break, 0)
	case *pb.Step_Short:
		r.cable(ActShort, "short", k.Short, 0)
	case *pb.Step_Joint:
		r.cable(ActJoint, "joint", k.Joint, wire.JointOhm)
	case *pb.Step_Earth:
		r.cable(ActEarth, "earth", k.Earth, 0)
	case *pb.Step_IsolatorStuck:
		r.isolator(k.IsolatorStuck)
	case *pb.Step_CircuitOpen:
		r.circuit(ActCircuitOpen, "circuit_open", k.CircuitOpen)
	case *pb.Step_CircuitShort:
		r.circuit(ActCircuitShort, "circuit_short", k.CircuitShort)
	case *pb.Step_CircuitEarth:
		r.circuitEarth(k.CircuitEarth)
	case *pb.Step_Resistor:
		r.resistor(k.Resistor)
	case *pb.Step_Reversed:
		r.reversed(k.Reversed)
	case *pb.Step_FieldWireOpen:
		r.fieldWire(ActFieldWireOpen, "field_wire_open", k.FieldWireOpen)
	case *pb.Step_FieldWireShort:
		r.fieldWire(ActFieldWireShort, "field_wire_short", k.FieldWireShort)
	case *pb.Step_SupplyFail:
		r.supply("supply_fail", k.SupplyFail, power.SupplyFailed)
	case *pb.Step_MainsFail:
		r.supply("mains_fail", k.MainsFail, power.MainsFailed)
	case *pb.Step_Fuse:
		r.supply("fuse", k.Fuse, power.FuseOpen)
	case *pb.Step_BatteryFail:
		r.supply("battery_fail", k.BatteryFail, power.BatteryOut)
	case *pb.Step_ChargerFail:
		r.supply("charger_fail", k.ChargerFail, power.ChargerFailed)
	default:
		r.notYet(step)
	}
}

// cable resolves a fault of a run of cable, which is named by the point where it ends.
func (r *resolver) cable(kind ActKind, key string, step *pb.CableStep, otherwise float64) {
	r.act.Kind, r.act.Where, r.act.Ohm = kind, 0.5, otherwise
	if step.At != nil {
		r.act.Where = step.GetAt()
	}
	if step.Ohm != nil {
		r.act.Ohm = step.GetOhm()
	}
	if step.Ohm != nil && kind == ActBreak {
		r.add(finding.Refuse("scenario.ohm-unused", r.path+"."+key+".ohm", "a break has no resistance", "take it out, or use joint: a joint of many ohms is a bad connection"))
	}
	switch step.GetCore() {
	case "positive":
		r.act.Core = uint8(wire.Positive)
	case "negative":
		r.act.Core = uint8(wire.Negative)
	case "":
		if kind == ActEarth {
			r.add(finding.Refuse("scenario.core-missing", r.path+"."+key, "the earth names no core", "write core: positive or core: negative; one earth of each core together is a short"))
		}
	}
	if step.GetCore() != "" && kind == ActShort {
		r.add(finding.Refuse("scenario.core-unused", r.path+"."+key+".core", "a short lies between both cores", "take core out"))
	}
	r.run(key, step)
}

// run finds the loop and the run that a step names.
func (r *resolver) run(key string, step *pb.CableStep) {
	if step.GetBefore() == "return" {
		if r.act.Index = -1; step.Loop == nil {
			r.add(finding.Refuse("scenario.loop-missing", r.path+"."+key, "every ring has a return cable, and no loop is named", "write its number: before: return, loop: 1"))
			return
		}
		r.act.Index = r.loop(key+".loop", step.GetLoop())
		if r.act.Index < 0 {
			return
		}
		n := r.plan.In.Loops[r.act.Index].Wire
		if r.act.Run = n.Return(); !n.Ring() {
			r.add(finding.Refuse("scenario.no-return", r.path+"."+key+".before", fmt.Sprintf("loop %d has no return cable", step.GetLoop()), "it is a branch: name the device at the end of the run"))
		}
		return
	}
	r.act.Index, r.act.Run = r.entry(key+".before", step.GetBefore())
	if step.Loop != nil && r.act.Index >= 0 && r.plan.In.Loops[r.act.Index].Number != step.GetLoop() {
		r.add(finding.Refuse("scenario.other-loop", r.path+"."+key+".loop", fmt.Sprintf("%q is on loop %d", step.GetBefore(), r.plan.In.Loops[r.act.Index].Number), "loop is needed with before: return only"))
	}
}

// entry finds an entry of some loop's wire by label or loop/address, isolators on their own included.
func (r *resolver) entry(path, ref string) (loop, entry int32) {
	if p, ok := r.plan.In.Point(ref); ok {
		return r.plan.In.Points[p].Loop, r.plan.In.Points[p].Entry
	}
	for l := range r.plan.In.Loops {
		if e, ok := r.plan.In.Loops[l].Wire.ByLabel(ref); ok {
			return int32(l), e
		}
	}
	r.add(finding.Dangling(r.path+"."+path, "device or isolator", ref, append(r.plan.PointNames(), "return")))
	return -1, -1
}

// isolator resolves an isolator that does not move.
func (r *resolver) isolator(step *pb.IsolatorStuckStep) {
	r.act.Kind, r.act.On = ActIsolatorStuck, step.GetPosition() == "open"
	r.act.Index, r.act.Run = r.entry("isolator_stuck.device", step.GetDevice())
	if r.act.Index >= 0 && !r.plan.In.Loops[r.act.Index].Wire.HasIsolator(r.act.Run) {
		r.add(finding.Refuse("scenario.no-isolator", r.path+".isolator_stuck.device", fmt.Sprintf("%q has no isolator", step.GetDevice()), "name an isolator on its own, or a device with `isolator: true`"))
	}
}

// circuit resolves a fault of an output circuit's cable, which is named by the load where the run
// ends; the last run of a ring by the word return.
func (r *resolver) circuit(kind ActKind, key string, step *pb.CircuitStep) {
	r.act.Kind, r.act.Ohm = kind, step.GetOhm()
	if step.Ohm != nil && kind == ActCircuitOpen {
		r.add(finding.Refuse("scenario.ohm-unused", r.path+"."+key+".ohm", "a broken circuit has no resistance", "take it out, or use circuit_short"))
	}
	r.circuitRun(key, step.GetOutput(), step.GetBefore())
}

// circuitEarth resolves a core of an output circuit that touches earth. Of several, those on one core
// together are one earth, those on both a short.
func (r *resolver) circuitEarth(step *pb.CircuitEarthStep) {
	r.act.Kind, r.act.Ohm, r.act.Core = ActCircuitEarth, step.GetOhm(), uint8(circuit.Positive)
	if step.GetCore() == "negative" {
		r.act.Core = uint8(circuit.Negative)
	}
	r.circuitRun("circuit_earth", step.GetOutput(), step.GetBefore())
}

// circuitRun finds the output and the run that a step names; the first run if it names none.
func (r *resolver) circuitRun(key, output, before string) {
	out := r.circuitOf(key+".output", output)
	if out == nil || before == "" {
		return
	}
	var labels []string
	for i, load := range out.Loads {
		labels = append(labels, r.plan.In.Loads[load].Label)
		if labels[i] == before {
			r.act.Run = int32(i)
			return
		}
	}
	if out.Circuit.Ring() {
		labels = append(labels, "return")
		if before == "return" {
			r.act.Run = int32(out.Circuit.Runs() - 1)
			return
		}
	}
	r.add(finding.Dangling(r.path+"."+key+".before", "load of "+output, before, labels))
}

// circuitOf resolves an output that has a supervised circuit.
func (r *resolver) circuitOf(path, ref string) *loop.Output {
	if r.act.Index = r.output(path, ref); r.act.Index < 0 {
		return nil
	}
	out := &r.plan.In.Outputs[r.act.Index]
	if out.Circuit == nil {
		r.add(finding.Refuse("scenario.no-circuit", r.path+"."+path, fmt.Sprintf("%q has no supervised circuit", ref), "name a control module or a circuit of the panel; a relay's wiring is field_wire_open and field_wire_short"))
		return nil
	}
	return out
}

// resistor resolves another end-of-line resistor, none, or a second one.
func (r *resolver) resistor(step *pb.ResistorStep) {
	r.act.Kind, r.act.On, r.act.Ohm = ActResistor, step.GetSecond(), step.GetOhm()
	r.circuitOf("resistor.output", step.GetOutput())
	if step.GetSecond() && step.Ohm == nil {
		r.add(finding.Refuse("scenario.second-resistor", r.path+".resistor", "the second resistor has no value", "give ohm"))
	}
}

// reversed resolves an appliance or a loop device that is connected the wrong way round.
func (r *resolver) reversed(step *pb.ReversedStep) {
	r.act.Kind = ActReversed
	if _, device := step.GetSubject().(*pb.ReversedStep_Device); device {
		r.act.Kind = ActDeviceReversed
		if r.act.Index = r.point("reversed.device", step.GetDevice()); r.act.Index >= 0 {
			r.act.Run = r.plan.In.Points[r.act.Index].Entry
		}
		return
	}
	load, ok := r.plan.In.Load(step.GetLoad())
	if !ok {
		var labels []string
		for i := range r.plan.In.Loads {
			labels = append(labels, r.plan.In.Loads[i].Label)
		}
		r.add(finding.Dangling(r.path+".reversed.load", "load", step.GetLoad(), labels))
		return
	}
	r.act.Index = r.plan.In.Loads[load].Output
	for i, l := range r.plan.In.Outputs[r.act.Index].Loads {
		if l == load {
			r.act.Run = int32(i)
		}
	}
}

// fieldWire resolves the field wiring of a relay, of a module or on the panel, or of an input.
func (r *resolver) fieldWire(kind ActKind, key string, step *pb.PointStep) {
	r.act.Kind = kind
	if o, ok := r.plan.In.Output(step.GetDevice()); ok && r.plan.In.Outputs[o].Point < 0 {
		r.panelWire(kind, key, o)
		return
	}
	if r.act.Index = r.point(key+".device", step.GetDevice()); r.act.Index < 0 {
		return
	}
	switch p := &r.plan.In.Points[r.act.Index]; p.Kind {
	case "relay_module", "input_module", "conventional_zone":
	default:
		r.add(finding.Refuse("scenario.no-field-wire", r.path+"."+key+".device", fmt.Sprintf("%q has no field wiring", step.GetDevice()),
			fmt.Sprintf("it is a %s; name a relay module, an input module or a conventional zone", p.Kind)))
	}
}

// panelWire resolves the field wiring of an output on the panel.
func (r *resolver) panelWire(kind ActKind, key string, output int32) {
	if r.act.Kind = ActRelayWireOpen; kind == ActFieldWireShort {
		r.act.Kind = ActRelayWireShort
	}
	r.act.Index = output
	if out := &r.plan.In.Outputs[output]; !out.Contact {
		r.add(finding.Refuse("scenario.no-field-wire", r.path+"."+key+".device", fmt.Sprintf("%q has no field wiring", out.Label),
			"it is a supervised circuit: use circuit_open and circuit_short; or name a relay"))
	}
}

// supply resolves a condition of a supply; none named means the mains of the whole building.
func (r *resolver) supply(key string, step *pb.SupplyStep, condition power.Condition) {
	r.act.Kind, r.act.Value, r.act.Index = ActSupply, int64(condition), -1
	if step.GetSupply() == "" {
		if condition != power.MainsFailed {
			r.add(finding.Refuse("scenario.supply-missing", r.path+"."+key, "no supply is named", "name one with supply; only mains_fail may mean all of them"))
		}
		return
	}
	i, ok := r.plan.In.Power.Lookup(step.GetSupply())
	if !ok {
		r.add(finding.Dangling(r.path+"."+key+".supply", "supply", step.GetSupply(), append(append([]string{}, r.plan.In.Supplies...), power.PanelID)))
	}
	r.act.Index = int32(i)
}
