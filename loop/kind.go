package loop

import (
	"fmt"

	"google.golang.org/protobuf/reflect/protoreflect"

	"loopdrill.dev/loopdrill/loop/power"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// Kinds lists the device kinds by their keys: the schema's own list.
func Kinds() []string {
	fields := (&pb.Device{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	names := make([]string, fields.Len())
	for i := range names {
		names[i] = string(fields.Get(i).Name())
	}
	return names
}

// kindOf is the key of the kind that a device has.
func kindOf(d *pb.Device) Kind {
	oneof := d.ProtoReflect().Descriptor().Oneofs().ByName(protoreflect.Name("kind"))
	if field := d.ProtoReflect().WhichOneof(oneof); field != nil {
		return Kind(field.Name())
	}
	return ""
}

// kind reads what is particular to the device's kind.
func (c *compiler) kind(p *Point, index int32, path string, l *pb.Loop, d *pb.Device) {
	p.Kind = kindOf(d)
	path += "." + string(p.Kind)
	switch k := d.GetKind().(type) {
	case *pb.Device_SmokeDetector:
		p.Input, p.Detector, p.Prealarm = FireInput, true, k.SmokeDetector.GetPrealarm()
		p.SmokeMicroPct = threshold(k.SmokeDetector.AlarmPctPerM, defaultSmokePct)
	case *pb.Device_HeatDetector:
		p.Input, p.Detector, p.Prealarm = FireInput, true, k.HeatDetector.GetPrealarm()
		p.HeatMicroC = threshold(k.HeatDetector.AlarmC, defaultHeatC)
	case *pb.Device_MultiCriteriaDetector:
		p.Input, p.Detector, p.Prealarm = FireInput, true, k.MultiCriteriaDetector.GetPrealarm()
		p.SmokeMicroPct = threshold(k.MultiCriteriaDetector.AlarmPctPerM, defaultSmokePct)
		p.HeatMicroC = threshold(k.MultiCriteriaDetector.AlarmC, defaultHeatC)
	case *pb.Device_FlameDetector:
		p.Input, p.Detector = FireInput, true
	case *pb.Device_ConventionalZone:
		p.Input, p.Detector = FireInput, true
		p.Supervised, p.ShortIsFault = k.ConventionalZone.EndOfLineOhm != nil, k.ConventionalZone.GetShortMeans() == "fault"
	case *pb.Device_CallPoint:
		p.Input = CallPoint
	case *pb.Device_InputModule:
		c.inputModule(p, path, k.InputModule)
	case *pb.Device_ControlModule:
		o := Output{ClosedAtRest: false}
		o.Supply = c.lookup(c.in.Supplies, "supply", k.ControlModule.GetSupply(), path+".supply")
		c.circuit(&o, path+".circuit", k.ControlModule.GetCircuit(), l.GetCable())
		c.drive(&o, path, k.ControlModule.GetDrives(), true)
		c.output(p, index, o)
	case *pb.Device_RelayModule:
		contact := k.RelayModule.GetContact()
		o := Output{Supply: -1, Contact: true, ClosedAtRest: contact.GetAtRest() == "closed", OnLoss: onLoss(contact.GetOnLoopLoss())}
		stated := contact.GetAtRest() != "" && contact.GetOnLoopLoss() != ""
		c.drive(&o, path, k.RelayModule.GetDrives(), stated)
		c.output(p, index, o)
	case *pb.Device_LoopSounder:
		c.output(p, index, Output{Sounder: true, Equipment: -1, Input: -1, Supply: -1})
	}
}

func threshold(given *float64, otherwise float64) int64 {
	if given == nil {
		return micro(otherwise)
	}
	return micro(*given)
}

// PrealarmMicro is the pre-alarm level of a threshold, both in millionths.
func PrealarmMicro(threshold int64) int64 {
	return micro(float64(float64(threshold) / 1e6 * prealarmShare))
}

func onLoss(word string) OnLoss {
	switch word {
	case "stays":
		return Stays
	case "operates":
		return Operates
	}
	return Rests
}

var inputs = map[string]Input{
	"fire": FireInput, "waterflow": Waterflow, "supervisory": Supervisory,
	"technical": Technical, "release": ReleaseInput, "hold-off": HoldOff,
}

// inputModule reads what a contact means and what it reports back.
func (c *compiler) inputModule(p *Point, path string, m *pb.InputModule) {
	p.Input, p.Retard = inputs[m.GetInput()], m.GetRetard().AsDuration()
	p.Detector, p.ClosedAtRest = p.Input.Fire() && p.Input != CallPoint, m.GetAtRest() == "closed"
	p.Supervised, p.ShortIsFault = m.EndOfLineOhm != nil, m.GetShortMeans() == "fault"
	if w := m.GetWatches(); w != nil {
		p.WatchesSupply = c.lookup(c.in.Supplies, "supply", w.GetSupply(), path+".watches.supply")
		p.WatchesSignal, _ = power.SignalIndex(w.GetSignal())
	}
	proof := m.GetProves()
	if proof == nil {
		return
	}
	if m.GetWatches() != nil {
		c.add(finding.Refuse("device.watches-and-proves", path, fmt.Sprintf("%q both watches a supply and proves equipment", p.Label), "one input follows one contact: keep one of the two"))
	}
	e, ok := c.in.Plant.Lookup(proof.GetEquipment())
	if !ok {
		c.add(finding.Dangling(path+".proves.equipment", "equipment", proof.GetEquipment(), c.equipment()))
		return
	}
	signal, ok := c.in.Plant.SignalIndex(e, proof.GetSignal())
	if !ok {
		c.add(finding.Dangling(path+".proves.signal", "signal of "+proof.GetEquipment(), proof.GetSignal(), signals(c.site, proof.GetEquipment())))
		return
	}
	p.ProvesEquipment, p.ProvesSignal = int32(e), int32(signal)
	p.ProvesWithin = duration(proof.GetWithin(), c.rules.Duration(proofLimit(c.site.GetEquipment()[e])))
}

// proofLimit names the limit of the rule packs that a missed proof of a piece of equipment rests on.
func proofLimit(eq *pb.Equipment) string {
	switch eq.GetKind().(type) {
	case *pb.Equipment_Fan:
		return rule.ProofOfFan
	case *pb.Equipment_Damper:
		return rule.ProofOfDamper
	}
	return rule.Proof
}

func (c *compiler) equipment() []string {
	var ids []string
	for _, e := range c.site.GetEquipment() {
		ids = append(ids, e.GetEquipment())
	}
	return ids
}
