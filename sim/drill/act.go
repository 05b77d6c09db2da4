package drill

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// ActKind is what a step does.
type ActKind uint8

// Kinds of acts that the bench simulates.
const (
	ActSmoke ActKind = iota + 1
	ActHeat
	ActFlame
	ActPress
	ActActivate
	ActClear
	ActAcknowledge
	ActSilence
	ActResound
	ActReset
	ActEvacuate
	ActDisableDevice
	ActDisableZone
	ActDisableOutput
	ActMode
	ActControl
	ActRemove
	ActMute
	ActDuplicate
	ActWrongType
	ActStuck
	ActLineErrors
	ActRelayStuck
	ActBreak
	ActShort
	ActJoint
	ActEarth
	ActIsolatorStuck
	ActCircuitOpen
	ActCircuitShort
	ActResistor
	ActReversed
	ActFieldWireOpen
	ActFieldWireShort
	ActSupply
	ActPlantFault
	ActRepair
	ActStandIn
	ActSignal
	ActDisableEquipment
	ActTest
	ActOverride
	ActPanelStop
	ActCircuitEarth
	ActRelayWireOpen  // field wiring of a relay on the panel
	ActRelayWireShort // likewise
	ActDeviceReversed // of a loop
)

// operator reports whether somebody at the panel does it.
func (k ActKind) operator() bool {
	return k >= ActAcknowledge && k <= ActControl || k >= ActDisableEquipment && k <= ActOverride
}

// cable reports whether it is a fault of a loop's cable or of one of its isolators.
func (k ActKind) cable() bool { return k >= ActBreak && k <= ActIsolatorStuck }

// placed reports whether it is a fault of a loop's cable itself, or of a device's terminals on it.
func (k ActKind) placed() bool { return k >= ActBreak && k <= ActEarth || k == ActDeviceReversed }

// circuit reports whether it is a fault of an output circuit.
func (k ActKind) circuit() bool {
	return k >= ActCircuitOpen && k <= ActReversed || k == ActCircuitEarth
}

// Fault reports whether it can be repaired.
func (k ActKind) Fault() bool {
	return k >= ActRemove && k <= ActPlantFault || k >= ActPanelStop && k <= ActDeviceReversed
}

// Act is a step, resolved: what the journal of a drill holds.
type Act struct {
	At    time.Duration
	Kind  ActKind
	Index int32   // point, zone, output, loop, control, override or equipment
	On    bool    // disable or enable, control on, stuck active, same kind, stand-in, signal given
	Value int64   // level in millionths, mode, kind of plant fault, position of an override, signal
	Rate  float64 // line errors; factor of a slow plant
	Name  string  // of the step, for repairs
	Level uint8   // access level of an operator's act
	Run   int32   // run of cable or entry of an isolator on loop Index; run or load of the circuit of output Index
	Core  uint8   // as packages wire and circuit count them
	Where float64 // fraction of the run from its start
	Ohm   float64 // resistance of a fault of the cable
}

// Resolve turns a step into an act. path is the step's field path. What the engine cannot
// simulate yet is refused.
func (p *Plan) Resolve(step *pb.Step, path string) (Act, []*pb.Finding) {
	r := resolver{plan: p, path: path, act: Act{At: step.GetAt().AsDuration(), Name: step.GetStep(), Level: 2}}
	if step.Level != nil {
		r.act.Level = uint8(step.GetLevel())
	}
	r.step(step)
	return r.act, r.found
}

type resolver struct {
	plan  *Plan
	path  string
	act   Act
	found []*pb.Finding
}

func (r *resolver) add(f *pb.Finding) { r.found = append(r.found, f) }

func (r *resolver) step(step *pb.Step) {
	switch k := step.GetKind().(type) {
	case *pb.Step_Smoke:
		r.level(ActSmoke, "smoke", k.Smoke.GetDevice(), k.Smoke.GetLevelPctPerM())
	case *pb.Step_Heat:
		r.level(ActHeat, "heat", k.Heat.GetDevice(), k.Heat.GetTemperatureC())
	case *pb.Step_Flame:
		r.input(ActFlame, "flame", k.Flame, func(p *loop.Point) bool { return p.Kind == "flame_detector" }, "a flame detector")
	case *pb.Step_Press:
		r.input(ActPress, "press", k.Press, func(p *loop.Point) bool { return p.Input == loop.CallPoint }, "a call point")
	case *pb.Step_Activate:
		r.input(ActActivate, "activate", k.Activate, func(p *loop.Point) bool {
			return p.Kind == "input_module" || p.Kind == "conventional_zone"
		}, "an input module or a conventional zone")
	case *pb.Step_Clear:
		r.input(ActClear, "clear", k.Clear, func(p *loop.Point) bool { return p.Input != loop.NoInput }, "an input")
	case *pb.Step_Acknowledge:
		r.act.Kind = ActAcknowledge
	case *pb.Step_Silence:
		r.act.Kind = ActSilence
	case *pb.Step_Resound:
		r.act.Kind = ActResound
	case *pb.Step_Reset_:
		r.act.Kind = ActReset
	case *pb.Step_Evacuate:
		r.act.Kind = ActEvacuate
	case *pb.Step_Disable:
		r.subject("disable", k.Disable, true)
	case *pb.Step_Enable:
		r.subject("enable", k.Enable, false)
	case *pb.Step_Mode:
		r.act.Kind, r.act.Value = ActMode, modeValue(k.Mode.GetMode())
	case *pb.Step_Control:
		r.act.Kind, r.act.On = ActControl, k.Control.GetOn()
		r.act.Index = r.named("control.control", "control", k.Control.GetControl(), r.plan.World.Controls)
	case *pb.Step_Test:
		r.act.Kind, r.act.On = ActTest, k.Test.GetOn()
		r.act.Index = r.named("test.zone", "zone", k.Test.GetZone(), r.plan.In.Zones)
	case *pb.Step_Override:
		r.act.Kind, r.act.Value = ActOverride, int64(slices.Index(positions(), k.Override.GetPosition()))
		r.act.Index = r.named("override.override", "override", k.Override.GetOverride(), r.plan.World.Overrides)
	case *pb.Step_StandIn:
		r.act.Kind, r.act.On = ActStandIn, k.StandIn.GetOn()
		r.act.Index = r.equipment("stand_in.equipment", k.StandIn.GetEquipment())
	case *pb.Step_Signal:
		r.signal(k.Signal)
	default:
		r.fault(step)
	}
}

// positions are the words of an override's position, in the order of the fact's values.
func positions() []string { return []string{"auto", "on", "off"} }

// signal resolves a signal that somebody outside gives.
func (r *resolver) signal(step *pb.SignalStep) {
	r.act.Kind, r.act.On = ActSignal, step.GetOn()
	if r.act.Index = r.equipment("signal.equipment", step.GetEquipment()); r.act.Index < 0 {
		return
	}
	signal, ok := r.plan.In.Plant.SignalIndex(int(r.act.Index), step.GetSignal())
	if !ok {
		r.add(finding.Dangling(r.path+".signal.signal", "signal of "+step.GetEquipment(), step.GetSignal(), r.plan.In.Plant.SignalNames(int(r.act.Index))))
	}
	r.act.Value = int64(signal)
}

func (r *resolver) fault(step *pb.Step) {
	switch k := step.GetKind().(type) {
	case *pb.Step_Remove:
		r.act.Kind, r.act.Index = ActRemove, r.point("remove.device", k.Remove.GetDevice())
	case *pb.Step_Mute:
		r.act.Kind, r.act.Index = ActMute, r.point("mute.device", k.Mute.GetDevice())
	case *pb.Step_Duplicate:
		r.act.Kind, r.act.Index = ActDuplicate, r.point("duplicate.device", k.Duplicate.GetDevice())
		r.kind("duplicate.kind", k.Duplicate.GetKind(), true)
	case *pb.Step_WrongType:
		r.act.Kind, r.act.Index = ActWrongType, r.point("wrong_type.device", k.WrongType.GetDevice())
		r.kind("wrong_type.kind", k.WrongType.GetKind(), false)
	case *pb.Step_Stuck:
		r.act.Kind, r.act.On = ActStuck, k.Stuck.GetActive()
		r.act.Index = r.point("stuck.device", k.Stuck.GetDevice())
	case *pb.Step_LineErrors:
		r.act.Kind, r.act.Rate = ActLineErrors, k.LineErrors.GetRate()
		r.act.Index = r.loop("line_errors.loop", k.LineErrors.GetLoop())
	case *pb.Step_RelayStuck:
		r.act.Kind, r.act.Index = ActRelayStuck, r.output("relay_stuck.output", k.RelayStuck.GetOutput())
	case *pb.Step_PlantFault:
		r.act.Kind, r.act.Rate = ActPlantFault, plant.SlowFactor
		if k.PlantFault.Factor != nil {
			r.act.Rate = k.PlantFault.GetFactor()
		}
		r.act.Value = plantFaults[k.PlantFault.GetFault()]
		r.act.Index = r.equipment("plant_fault.equipment", k.PlantFault.GetEquipment())
	case *pb.Step_PanelStop:
		r.act.Kind = ActPanelStop
	case *pb.Step_Repair:
		r.act.Kind, r.act.Name = ActRepair, k.Repair.GetStep()
	default:
		r.electrical(step)
	}
}

// notYet refuses a step kind that the schema has and no case above: nothing in a file is ignored.
func (r *resolver) notYet(step *pb.Step) {
	m := step.ProtoReflect()
	if field := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind")); field != nil {
		r.add(finding.NotYet(r.path+"."+string(field.Name()), fmt.Sprintf("the step %q", field.Name())))
	}
}

func (r *resolver) level(kind ActKind, key, ref string, level float64) {
	r.act.Kind, r.act.Value = kind, micro(level)
	r.act.Index = r.point(key+".device", ref)
	if r.act.Index < 0 {
		return
	}
	p := &r.plan.In.Points[r.act.Index]
	if kind == ActSmoke && p.SmokeMicroPct == 0 || kind == ActHeat && p.HeatMicroC == 0 {
		r.add(finding.Refuse("scenario.stimulus-unfelt", r.path+"."+key+".device", fmt.Sprintf("%q does not feel %s", ref, key),
			fmt.Sprintf("it is a %s; choose a detector that senses %s", p.Kind, key)))
	}
}

func (r *resolver) input(kind ActKind, key string, step *pb.PointStep, fits func(*loop.Point) bool, want string) {
	r.act.Kind = kind
	r.act.Index = r.point(key+".device", step.GetDevice())
	if r.act.Index >= 0 && !fits(&r.plan.In.Points[r.act.Index]) {
		r.add(finding.Refuse("scenario.stimulus-unfelt", r.path+"."+key+".device", fmt.Sprintf("%q cannot be the subject of %s", step.GetDevice(), key),
			fmt.Sprintf("it is a %s; %s takes %s", r.plan.In.Points[r.act.Index].Kind, key, want)))
	}
}

func (r *resolver) subject(key string, s *pb.SubjectStep, on bool) {
	r.act.On = on
	switch k := s.GetSubject().(type) {
	case *pb.SubjectStep_Device:
		r.act.Kind, r.act.Index = ActDisableDevice, r.point(key+".device", k.Device)
	case *pb.SubjectStep_Zone:
		r.act.Kind, r.act.Index = ActDisableZone, r.named(key+".zone", "zone", k.Zone, r.plan.In.Zones)
	case *pb.SubjectStep_Output:
		r.act.Kind, r.act.Index = ActDisableOutput, r.output(key+".output", k.Output)
	case *pb.SubjectStep_Equipment:
		r.act.Kind, r.act.Index = ActDisableEquipment, r.equipment(key+".equipment", k.Equipment)
	}
}

// kind notes a kind of device that takes an address; sameAllowed for duplicates.
func (r *resolver) kind(path, kind string, sameAllowed bool) {
	if kind == "" || r.act.Index < 0 {
		return
	}
	known := loop.Kinds()
	same := loop.Kind(kind) == r.plan.In.Points[r.act.Index].Kind
	found := false
	for _, k := range known {
		found = found || k == kind
	}
	switch {
	case !found:
		r.add(finding.Dangling(r.path+"."+path, "device kind", kind, known))
	case same && !sameAllowed:
		r.add(finding.Refuse("scenario.same-kind", r.path+"."+path, fmt.Sprintf("a %s is of the right kind there", kind), "name another kind, or leave it out"))
	}
	r.act.On = same
}

func (r *resolver) point(path, ref string) int32 {
	if i, ok := r.plan.In.Point(ref); ok {
		return i
	}
	r.add(finding.Dangling(r.path+"."+path, "device", ref, r.plan.PointNames()))
	return -1
}

func (r *resolver) output(path, ref string) int32 {
	if i, ok := r.plan.In.Output(ref); ok {
		return i
	}
	r.add(finding.Dangling(r.path+"."+path, "output", ref, r.plan.outputNames()))
	return -1
}

func (r *resolver) equipment(path, id string) int32 {
	if e, ok := r.plan.In.Plant.Lookup(id); ok {
		return int32(e)
	}
	r.add(finding.Dangling(r.path+"."+path, "equipment", id, r.plan.equipment()))
	return -1
}

func (r *resolver) named(path, what, id string, known []string) int32 {
	for i, k := range known {
		if k == id {
			return int32(i)
		}
	}
	r.add(finding.Dangling(r.path+"."+path, what, id, known))
	return -1
}

func (r *resolver) loop(path string, number uint32) int32 {
	var known []string
	for i, l := range r.plan.In.Loops {
		if l.Number == number {
			return int32(i)
		}
		known = append(known, fmt.Sprint(l.Number))
	}
	r.add(finding.Dangling(r.path+"."+path, "loop", fmt.Sprint(number), known))
	return -1
}

func modeValue(word string) int64 {
	if word == "night" {
		return 1
	}
	return 0
}

// stand does to an address what an act on it says, if it is one of those.
func (a *Act) stand(p *line.Presence) {
	switch a.Kind {
	case ActRemove:
		p.Removed = true
	case ActMute:
		p.Muted = true
	case ActWrongType:
		p.OtherKind = true
	case ActDuplicate:
		p.Duplicate = line.DuplicateOther
		if a.On {
			p.Duplicate = line.DuplicateSame
		}
	}
}
