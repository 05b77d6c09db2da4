package service

import (
	"context"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// InspectDrill returns what there is to see. The digest is worked out over a fork of the log, so
// that a long one does not hold the drill up.
func (s *drillServer) InspectDrill(ctx context.Context, req *pb.InspectDrillRequest) (*pb.InspectDrillResponse, error) {
	out := &pb.InspectDrillResponse{}
	var log sim.Log
	m, err := s.present(ctx, req.GetName(), func(k *keeper) error {
		out.Inspection = inspect(k.owned.d)
		log = k.owned.d.Log().Fork()
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Drill, out.Digest = m, log.Digest()
	return out, nil
}

// sight answers facts about a drill by kind and index.
type sight struct{ d *drill.Drill }

func (s sight) is(kind term.Kind, index int) bool {
	return s.d.Fact(term.Fact{Kind: kind, Index: int32(index)})
}

// inspect collects everything that can be seen of a drill.
func inspect(d *drill.Drill) *pb.Inspection {
	s, plan := sight{d}, d.Plan()
	out := &pb.Inspection{Panel: &pb.PanelStatus{
		Acknowledged: s.is(term.PanelAcknowledged, 0), Silenced: s.is(term.PanelSilenced, 0), Evacuate: s.is(term.PanelEvacuate, 0), Mode: "day",
	}}
	if d.Fact(term.Fact{Kind: term.PanelMode, Value: term.Night}) {
		out.Panel.Mode = "night"
	}
	for i, id := range plan.World.Zones {
		out.Zones = append(out.Zones, &pb.ZoneStatus{Zone: id, Disabled: s.is(term.ZoneDisabled, i)})
	}
	for i := range plan.In.Points {
		p := s.point(i)
		out.Points = append(out.Points, p)
		if zone := plan.In.Points[i].Zone; zone >= 0 && p.GetFire() {
			out.Zones[zone].DevicesInFire++
		}
	}
	for o := range plan.In.Outputs {
		out.Outputs = append(out.Outputs, s.output(o))
	}
	for e := range plan.In.Plant.Len() {
		out.Equipment = append(out.Equipment, s.equipment(e))
	}
	for i, id := range plan.World.Causes {
		if s.is(term.CauseTrue, i) {
			out.Causes = append(out.Causes, id)
		}
	}
	for i, id := range plan.World.Controls {
		if s.is(term.ControlOn, i) {
			out.Controls = append(out.Controls, id)
		}
	}
	s.sum(out)
	return out
}

func (s sight) point(i int) *pb.PointStatus {
	p := &s.d.Plan().In.Points[i]
	return &pb.PointStatus{
		Label: p.Label, Address: p.Address,
		Fire: s.is(term.DeviceFire, i), Active: s.is(term.DeviceActive, i), Prealarm: s.is(term.DevicePrealarm, i),
		Supervisory: s.is(term.DeviceSupervisory, i), Fault: s.is(term.DeviceFault, i), Disabled: s.is(term.DeviceDisabled, i),
		Fed: s.is(term.DeviceFed, i), Reachable: s.is(term.DeviceReachable, i),
	}
}

func (s sight) output(o int) *pb.OutputStatus {
	fixed := &s.d.Plan().In.Outputs[o]
	return &pb.OutputStatus{
		Label: fixed.Label, Address: fixed.Address, State: s.d.Output(int32(o)).String(), Commanded: s.d.Demanded(int32(o)).String(),
		Fault: s.is(term.OutputFault, o), Disabled: s.is(term.OutputDisabled, o),
	}
}

func (s sight) equipment(e int) *pb.EquipmentStatus {
	plant := s.d.Plan().In.Plant
	out := &pb.EquipmentStatus{Equipment: plant.ID(e), Proven: s.is(term.EquipmentProven, e), StandIn: s.d.StoodIn(e)}
	for state, word := range plant.States(e) {
		if s.d.Fact(term.Fact{Kind: term.EquipmentState, Index: int32(e), Value: int32(state)}) {
			out.State = word
		}
	}
	return out
}

// sum lights the panel's common lamps: each is on if anything below it is.
func (s sight) sum(out *pb.Inspection) {
	p := out.GetPanel()
	for _, point := range out.GetPoints() {
		p.Fire = p.GetFire() || point.GetFire()
		p.Prealarm = p.GetPrealarm() || point.GetPrealarm()
		p.Supervisory = p.GetSupervisory() || point.GetSupervisory()
		p.Fault = p.GetFault() || point.GetFault()
		p.Disabled = p.GetDisabled() || point.GetDisabled()
	}
	for _, o := range out.GetOutputs() {
		p.Fault = p.GetFault() || o.GetFault()
		p.Disabled = p.GetDisabled() || o.GetDisabled()
	}
	for _, z := range out.GetZones() {
		p.Disabled = p.GetDisabled() || z.GetDisabled()
	}
	plan := s.d.Plan()
	for i := range plan.In.Loops {
		p.Fault = p.GetFault() || s.is(term.LoopFault, i)
	}
	for i := range plan.World.Supplies {
		p.Fault = p.GetFault() || s.is(term.SupplyFault, i)
	}
}
