package logic

import (
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Signals returns the condition over the signals of devices, whatever the time between them: what
// whoever looks for ways needs. A `zone(..).confirmed` is replaced by the signals that confirm the zone,
// and the fire of a detector whose zone waits for others by its signal together with theirs. Where the
// program's detection has problems of its own the zone's fires stand as they are.
func Signals(when *term.Term, program *pb.Program, w *term.World) *term.Term {
	return when.Replace(func(f term.Fact) *term.Term {
		switch f.Kind {
		case term.ZoneConfirmed:
			return confirmation(program, w, int(f.Index))
		case term.DeviceFire:
			pt := &w.Points[f.Index]
			if pt.Zone < 0 || !pt.Automatic {
				return nil
			}
			d := detectionOf(program, w.Zones[pt.Zone])
			if c := d.GetConfirm(); c != "other" && c != "other-zone" || d.GetFirstSignal() == "fire" {
				return nil
			}
			return term.And(term.Is(f.Kind, int(f.Index)), confirmation(program, w, pt.Zone))
		}
		return nil
	})
}

// ShownSignals returns the condition with the pre-alarm of every device that shows while its signal is
// held replaced by the pre-alarm or that signal. What is held ends in fire or is dropped, so this finds
// what begins such a pre-alarm and not how long it lasts.
func ShownSignals(when *term.Term, w *term.World) *term.Term {
	return when.Replace(func(f term.Fact) *term.Term {
		if f.Kind != term.DevicePrealarm || !w.Points[f.Index].ShowsHeld {
			return nil
		}
		return term.Or(term.Is(f.Kind, int(f.Index)), term.Is(term.DeviceFire, int(f.Index)))
	})
}

// confirmation is the condition under which a zone is confirmed: any of its inputs that are never
// held, or what its detection asks of its detectors (rule K2).
func confirmation(program *pb.Program, w *term.World, zone int) *term.Term {
	held, direct := zoneInputs(w, zone)
	d := detectionOf(program, w.Zones[zone])
	switch d.GetConfirm() {
	case "other":
		return term.Or(append(direct, term.Threshold(Detectors(d), held))...)
	case "other-zone":
		var others []*term.Term
		for _, other := range ConfirmingZones(d, w.Zones) {
			detectors, _ := zoneInputs(w, int(other)) // a call point says nothing of what a detector elsewhere saw
			others = append(others, detectors...)
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
