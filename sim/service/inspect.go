package service

import (
	"context"

	"loopdrill.dev/loopdrill/logic/panel"
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
		Buzzer: s.is(term.PanelBuzzer, 0), Stopped: s.is(term.PanelStopped, 0), Conditions: d.Conditions(),
	}}
	if d.Fact(term.Fact{Kind: term.PanelMode, Value: term.Night}) {
		out.Panel.Mode = "night"
	}
	for i, id := range plan.World.Zones {
		out.Zones = append(out.Zones, &pb.ZoneStatus{
			Zone: id, Disabled: s.is(term.ZoneDisabled, i), Test: s.is(term.ZoneTest, i), Confirmed: s.is(term.ZoneConfirmed, i),
		})
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
	for i, id := range plan.World.Overrides {
		if at := d.Position(int32(i)); at != term.Auto {
			out.Overrides = append(out.Overrides, &pb.OverrideStatus{Override: id, Position: term.PositionWord(at)})
		}
	}
	light(out.GetPanel())
	return out
}

func (s sight) point(i int) *pb.PointStatus {
	p := &s.d.Plan().In.Points[i]
	return &pb.PointStatus{
		Label: p.Label, Address: p.Address,
		Fire: s.is(term.DeviceFire, i), Active: s.d.Read(int32(i)), Prealarm: s.is(term.DevicePrealarm, i),
		Supervisory: s.is(term.DeviceSupervisory, i), Fault: s.is(term.DeviceFault, i), Disabled: s.is(term.DeviceDisabled, i),
		Fed: s.is(term.DeviceFed, i), Reachable: s.is(term.DeviceReachable, i),
	}
}

func (s sight) output(o int) *pb.OutputStatus {
	fixed := &s.d.Plan().In.Outputs[o]
	status := &pb.OutputStatus{
		Label: fixed.Label, Address: fixed.Address, State: s.d.Output(int32(o)).String(), Commanded: s.d.Demanded(int32(o)).String(),
		Fault: s.is(term.OutputFault, o), Disabled: s.is(term.OutputDisabled, o),
	}
	for cadence, word := range term.Cadences() {
		if fixed.Sounder && s.d.Fact(term.Fact{Kind: term.OutputCadence, Index: int32(o), Value: int32(cadence)}) {
			status.Cadence = word
		}
	}
	return status
}

func (s sight) equipment(e int) *pb.EquipmentStatus {
	plant := s.d.Plan().In.Plant
	out := &pb.EquipmentStatus{Equipment: plant.ID(e), Proven: s.is(term.EquipmentProven, e), Disabled: s.is(term.EquipmentDisabled, e), StandIn: s.d.StoodIn(e)}
	for state, word := range plant.States(e) {
		if s.d.Fact(term.Fact{Kind: term.EquipmentState, Index: int32(e), Value: int32(state)}) {
			out.State = word
		}
	}
	return out
}

// light lights the panel's common lamps, one for each condition that stands.
func light(p *pb.PanelStatus) {
	for _, word := range p.GetConditions() {
		switch word {
		case panel.Fire.String():
			p.Fire = true
		case panel.Prealarm.String():
			p.Prealarm = true
		case panel.Supervisory.String():
			p.Supervisory = true
		case panel.Fault.String():
			p.Fault = true
		case panel.Disablement.String():
			p.Disabled = true
		case panel.Test.String():
			p.Test = true
		}
	}
}
