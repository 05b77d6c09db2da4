package logic

import (
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Signals returns the condition with every `zone(..).confirmed` replaced by the signals of devices
// that confirm the zone, whatever the time between them: what whoever looks for ways needs. Where
// the program's detection has problems of its own the zone's fire stands in.
func Signals(when *term.Term, program *pb.Program, w *term.World) *term.Term {
	return when.Replace(func(f term.Fact) *term.Term {
		if f.Kind != term.ZoneConfirmed {
			return nil
		}
		return confirmation(program, w, int(f.Index))
	})
}

// confirmation is the condition under which a zone is confirmed: any of its inputs that are never
// held, or what its detection asks of its detectors (rule K2).
func confirmation(program *pb.Program, w *term.World, zone int) *term.Term {
	held, direct := zoneInputs(w, zone)
	d := detectionOf(program, w.Zones[zone])
	switch d.GetConfirm() {
	case "other":
		need := 2
		if d.Detectors != nil {
			need = int(d.GetDetectors())
		}
		return term.Or(append(direct, term.Threshold(need, held))...)
	case "other-zone":
		var others []*term.Term
		for i, id := range w.Zones {
			if _, named := index(d.GetOtherZones(), id); i != zone && (named || len(d.GetOtherZones()) == 0) {
				detectors, _ := zoneInputs(w, i) // a call point says nothing of what a detector elsewhere saw
				others = append(others, detectors...)
			}
		}
		return term.Or(append(direct, term.And(term.Or(held...), term.Or(others...)))...)
	}
	return term.Or(append(direct, held...)...)
}

// zoneInputs lists the fires of a zone's devices: those that its detection may hold, and the rest.
func zoneInputs(w *term.World, zone int) (held, direct []*term.Term) {
	for i := range w.Points {
		switch pt := &w.Points[i]; {
		case pt.Zone != zone || !pt.Input.Fire():
		case pt.Automatic:
			held = append(held, term.Is(term.DeviceFire, i))
		default:
			direct = append(direct, term.Is(term.DeviceFire, i))
		}
	}
	return held, direct
}

// detectionOf is what the program says of the zone's detection; nil for nothing.
func detectionOf(program *pb.Program, zone string) *pb.Detection {
	for _, d := range program.GetDetection() {
		if d.GetZone() == zone {
			return d
		}
	}
	return nil
}
