package drill

import (
	"time"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// outside is what somebody does who stands in for a piece of equipment, or ceases to. When he begins
// he is told what its inputs are just now, and from then on every change of them (EquipmentInput).
func (d *Drill) outside(now time.Duration, a *Act) {
	event := d.add(sim.Event{Kind: StimulusApplied, Subject: a.Index, Value: int64(a.Kind), Extra: a.Value<<1 | flag(a.On)})
	e, p := int(a.Index), d.plan.In.Plant
	if a.Kind == ActSignal {
		p.Give(d.plant, now, e, int(a.Value), a.On, event, plantSink{d})
	} else {
		begins := a.On && !p.StoodIn(d.plant, e)
		p.StandIn(d.plant, now, e, a.On, event, plantSink{d})
		for input := range p.InputCount(e) {
			if begins && p.Operated(d.plant, e, input) {
				d.add(sim.Event{Kind: EquipmentInput, Subject: a.Index, Value: int64(input), Extra: 1, Parent: event})
			}
		}
	}
	d.schedulePlant()
}

// StoodIn reports whether somebody outside stands in for a piece of equipment now.
func (d *Drill) StoodIn(e int) bool { return d.plan.In.Plant.StoodIn(d.plant, e) }

// StoodIn reports whether somebody outside stands in for the subject of an act when its turn comes:
// after the acts of earlier instants, and after those of its own that stand before its place.
func StoodIn(acts []Act, a *Act, place int) bool {
	stands, latest := false, time.Duration(-1)
	for i := range acts {
		b := &acts[i]
		if b.Kind != ActStandIn || b.Index != a.Index || b.At > a.At || b.At == a.At && i >= place {
			continue
		}
		if b.At >= latest {
			stands, latest = b.On, b.At
		}
	}
	return stands
}

// NotStoodIn is what is wrong with a signal of equipment that nobody stands in for.
func NotStoodIn(path string) *pb.Finding {
	return finding.Refuse("scenario.signal-without-stand-in", path+".signal", "nobody stands in for the equipment then, so its own model gives its signals",
		"let a step `stand_in: {equipment: ..., on: true}` come first")
}
