package site

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/power"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// World lists everything that a condition can name. It is the one place where logic learns of
// the installation: neither package sees the other.
func World(m *pb.Site, in *loop.Installation) *term.World {
	w := &term.World{
		Zones: in.Zones, Places: in.Places, Groups: in.Groups, Supplies: append(slices.Clone(in.Supplies), power.PanelID),
		PointRefs: refs(in.PointRefs()), OutputRefs: refs(in.OutputRefs()),
	}
	for _, l := range in.Loops {
		w.Loops = append(w.Loops, l.Number)
	}
	for i := range in.Points {
		w.Points = append(w.Points, pointOf(&in.Points[i]))
	}
	for _, d := range m.GetProgram().GetDetection() {
		showHeld(w, d)
	}
	for _, o := range in.Outputs {
		w.Outputs = append(w.Outputs, term.Output{Label: o.Label, Address: o.Address, Sounder: o.Sounder})
	}
	for _, l := range in.Loads {
		w.Loads = append(w.Loads, l.Label)
	}
	for e := range in.Plant.Len() {
		w.Equipment = append(w.Equipment, term.Equipment{ID: in.Plant.ID(e), States: in.Plant.States(e)})
	}
	for o := range in.Outputs {
		if e := in.Outputs[o].Equipment; e >= 0 {
			w.Equipment[e].Outputs = append(w.Equipment[e].Outputs, int32(o))
		}
	}
	for _, c := range m.GetProgram().GetCauses() {
		w.Causes = append(w.Causes, c.GetCause())
	}
	for _, c := range m.GetProgram().GetControls() {
		w.Controls = append(w.Controls, c.GetControl())
	}
	for _, o := range m.GetProgram().GetOverrides() {
		w.Overrides = append(w.Overrides, o.GetOverride())
	}
	return w
}

func pointOf(p *loop.Point) term.Point {
	out := term.Point{
		Label: p.Label, Address: p.Address, Loop: int(p.Loop), Zone: int(p.Zone), Place: int(p.Place),
		Input: meaning(p.Input), Detector: p.Detector, Prealarm: p.Prealarm,
	}
	switch p.Kind {
	case "smoke_detector":
		out.Automatic, out.Smoke = true, true
	case "heat_detector", "multi_criteria_detector", "flame_detector", "conventional_zone":
		out.Automatic = true
	}
	for _, g := range p.Groups {
		out.Groups = append(out.Groups, int(g))
	}
	return out
}

// showHeld notes which devices show as pre-alarm while the detection of their zone holds their signal.
func showHeld(w *term.World, d *pb.Detection) {
	zone := slices.Index(w.Zones, d.GetZone())
	if zone < 0 || d.GetFirstSignal() != "prealarm" && d.GetInvestigate() == nil {
		return
	}
	for i := range w.Points {
		w.Points[i].ShowsHeld = w.Points[i].ShowsHeld || w.Points[i].Zone == zone && w.Points[i].Automatic
	}
}

// meaning translates what an input means from one package's words to the other's.
func meaning(i loop.Input) term.Input {
	switch i {
	case loop.NoInput:
		return term.NoInput
	case loop.FireInput:
		return term.Fire
	case loop.CallPoint:
		return term.CallPoint
	case loop.Waterflow:
		return term.Waterflow
	case loop.Supervisory:
		return term.Supervisory
	case loop.Technical:
		return term.Technical
	case loop.ReleaseInput:
		return term.ReleaseInput
	case loop.HoldOff:
		return term.HoldOff
	}
	panic("site: loop knows a meaning of inputs that conditions do not")
}

func refs(in map[string]int32) map[string]int {
	out := make(map[string]int, len(in))
	for name, i := range in {
		out[name] = int(i)
	}
	return out
}
