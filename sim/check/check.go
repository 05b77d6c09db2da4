package check

import (
	"fmt"
	"iter"
	"slices"

	"loopdrill.dev/loopdrill/logic"
	program "loopdrill.dev/loopdrill/logic/check"
	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

const commonPractice = "common practice"

// Site is what is judged: everything of one site that nothing refuses.
type Site struct {
	Message      *pb.Site
	Installation *loop.Installation
	World        *term.World
	Program      *logic.Program
	Matrix       *matrix.Matrix // nil if there is none
}

// Check judges a site: first its program by itself, then the program with what is built.
func Check(s Site) []*pb.Finding {
	j := &judge{Site: s, rules: rule.Of(s.Message.GetRules()), toldSilenced: map[int32]bool{}, toldOpposed: map[int]bool{}}
	j.zones()
	j.strays()
	j.serving()
	j.lobbies()
	j.routes()
	j.inputs()
	j.targets()
	if s.Program == nil || s.Message.GetProgram() == nil {
		return j.found
	}
	j.analysis = program.Analyse(s.Message, s.World, s.Program)
	j.found = append(j.found, program.Check(s.Message, j.analysis)...)
	j.drives()
	j.silenced()
	j.calendar()
	j.decide(j.holdOffs, j.countdowns, j.fights, j.silencedByCondition, j.investigations)
	every := plain(s.Message, s.World)
	if every == nil {
		return j.found
	}
	j.walker = newWalker(every, s.Installation)
	j.walkAll()
	j.quietened()
	j.outlasting()
	j.series()
	j.locks()
	j.switches()
	j.ownAreas()
	j.lifts()
	j.ducts()
	j.untied()
	j.shutDampers()
	j.blowing()
	j.modes()
	j.releases()
	j.switchedReleases()
	j.diallers()
	j.phasings()
	j.ownFloors()
	j.decide(j.floorCauses)
	j.laterAtNight()
	j.responses()
	j.decide(j.coincidences, j.rows)
	return j.found
}

// judge collects findings about one site.
type judge struct {
	Site
	rules    *rule.Set
	analysis *program.Analysis
	walker   *walker
	walks    []walk    // by fire and by duct input, by mode
	others   []walk    // by what else begins something: other inputs, keys and switches
	crowds   []walk    // by all detectors of one place at once, where it has several
	drivers  [][]int32 // outputs by equipment
	found    []*pb.Finding

	toldSilenced map[int32]bool // equipment of which it is told that silence stops it
	toldOpposed  map[int]bool   // and that it is asked for opposite things
}

func (j *judge) add(f *pb.Finding, clause string) {
	f.Clause = clause
	j.found = append(j.found, f)
}

// decide runs what rests on decisions, and keeps nothing of it where they were not made to their end.
func (j *judge) decide(parts ...func()) {
	told := len(j.found)
	for _, part := range parts {
		part()
	}
	err := j.analysis.Space.Err()
	if err == nil {
		return
	}
	j.found = j.found[:told]
	if !slices.ContainsFunc(j.found, func(f *pb.Finding) bool { return f.GetCode() == program.Undecided(err).GetCode() }) {
		j.found = append(j.found, program.Undecided(err))
	}
}

// drives lists the outputs of each piece of equipment.
func (j *judge) drives() {
	j.drivers = make([][]int32, j.Installation.Plant.Len())
	for o := range j.Installation.Outputs {
		if e := j.Installation.Outputs[o].Equipment; e >= 0 {
			j.drivers[e] = append(j.drivers[e], int32(o))
		}
	}
}

// walkAll walks every fire input and every supervisory input of a duct, and apart from them every other input that
// proves nothing, key and position of a switch; and the detectors of each place together, for what takes two of them.
func (j *judge) walkAll() {
	modes := j.readsMode()
	for p := range j.Installation.Points {
		pt := &j.Installation.Points[p]
		if pt.Input.Fire() || pt.Input == loop.Supervisory && j.use(pt.Place) == "duct" {
			j.walks = append(j.walks, j.walker.alone(signal{point: int32(p)}, modes)...)
		} else if pt.Input != loop.NoInput && pt.ProvesEquipment < 0 {
			j.others = append(j.others, j.walker.alone(signal{point: int32(p)}, modes)...)
		}
	}
	for place := range j.Message.GetPlaces() {
		var detectors []int32
		for p := range j.Installation.Points {
			if pt := &j.Installation.Points[p]; int(pt.Place) == place && pt.Input.Fire() && pt.Input != loop.CallPoint {
				detectors = append(detectors, int32(p))
			}
		}
		if len(detectors) > 1 {
			j.crowds = append(j.crowds, j.walker.together(detectors, modes)...)
		}
	}
	acts := []logic.Operation{{Kind: logic.Evacuate}}
	for c := range j.World.Controls {
		acts = append(acts, logic.Operation{Kind: logic.Control, Index: int32(c), On: true})
	}
	for o := range j.World.Overrides {
		for _, position := range []int32{term.SwitchedOn, term.SwitchedOff} {
			acts = append(acts, logic.Operation{Kind: logic.MoveOverride, Index: int32(o), Value: position})
		}
	}
	for i := range acts {
		j.others = append(j.others, j.walker.alone(signal{point: -1, act: &acts[i]}, modes)...)
	}
}

// everything is every walk.
func (j *judge) everything() iter.Seq[*walk] {
	return func(yield func(*walk) bool) {
		for _, list := range [][]walk{j.walks, j.others} {
			for i := range list {
				if !yield(&list[i]) {
					return
				}
			}
		}
	}
}

// beginning is what a walk begins with, for people, and where it stands in the file.
func (j *judge) beginning(w *walk) (what, path string) {
	switch {
	case w.act == nil:
		return fmt.Sprintf("%q", j.label(w.point)), j.path(w.point)
	case w.act.Kind == logic.Control:
		return fmt.Sprintf("key %q", j.World.Controls[w.act.Index]), fmt.Sprintf("program.controls[%d]", w.act.Index)
	case w.act.Kind == logic.MoveOverride:
		return fmt.Sprintf("switch %q, put to %s,", j.World.Overrides[w.act.Index], term.PositionWord(w.act.Value)), fmt.Sprintf("program.overrides[%d]", w.act.Index)
	}
	return "the key that evacuates", "program"
}

// readsMode tells whether any condition asks whether it is day or night.
func (j *judge) readsMode() bool {
	return j.analysis.Space.Err() != nil || slices.ContainsFunc(j.analysis.Space.Variables(), func(f term.Fact) bool { return f.Kind == term.PanelMode })
}

// place is the message of a place; nil for none.
func (j *judge) place(i int32) *pb.Place {
	if i < 0 {
		return nil
	}
	return j.Message.GetPlaces()[i]
}

func (j *judge) use(place int32) string   { return j.place(place).GetUse() }
func (j *judge) floor(place int32) string { return j.place(place).GetFloor() }

// input returns what an output drives: equipment, and the name of its input; -1 for none.
func (j *judge) input(output int32) (equipment int, name string) {
	o := &j.Installation.Outputs[output]
	if o.Equipment < 0 {
		return -1, ""
	}
	return int(o.Equipment), j.Installation.Plant.InputName(int(o.Equipment), int(o.Input))
}

// label is a point's label, and path its field path.
func (j *judge) label(point int32) string { return j.Installation.Points[point].Label }
func (j *judge) path(point int32) string  { return j.Installation.Points[point].Path }

// labels names points, each once, in their order.
func (j *judge) labels(points []int32) string {
	var names []string
	for _, p := range points {
		if name := fmt.Sprintf("%q", j.label(p)); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return finding.Sample(names, 6)
}
