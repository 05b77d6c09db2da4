package check

import (
	"fmt"
	"iter"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// lifts judges every lift.
func (j *judge) lifts() {
	for e, m := range j.Message.GetEquipment() {
		if lift := m.GetLift(); lift != nil {
			l := liftCase{judge: j, e: e, message: lift, id: m.GetEquipment()}
			l.landings()
			l.moved()
			l.called()
			l.power()
		}
	}
}

// liftCase is one lift.
type liftCase struct {
	*judge
	e       int
	message *pb.Lift
	id      string
}

// destination is the landing that a walk sends the lift to: that of the input that comes first, at one instant
// of the output that is commanded first.
func (l *liftCase) destination(w *walk) (floor string, output int32, ok bool) {
	for _, d := range w.demands {
		if e, name := l.input(d.output); e == l.e && d.state != term.Rest {
			switch name {
			case "recall":
				return l.message.GetRecallFloor(), d.output, true
			case "alternate":
				return l.message.GetAlternateFloor(), d.output, true
			}
		}
	}
	return "", -1, false
}

// landings: no fire may send the lift to its own floor, and none but one at the recall landing to the alternate. Where no
// detector of a place does that alone, all of them together must not.
func (l *liftCase) landings() {
	burning, wrong := map[int32][]int32{}, map[int32][]int32{}
	for w := range l.singlesThenCrowds() {
		floor, output, ok := l.destination(w)
		at := l.floor(l.Installation.Points[w.point].Place)
		list := burning
		switch {
		case !ok || at == "":
			continue
		case floor == at:
		case floor == l.message.GetAlternateFloor() && at != l.message.GetRecallFloor():
			list = wrong
		default:
			continue
		}
		list[output] = w.addTo(list[output])
	}
	for _, o := range l.drivers[l.e] {
		if points := burning[o]; len(points) > 0 {
			report := finding.Error
			detail := fmt.Sprintf("%q is operated: a detector at the recall landing must operate the alternate landing, and the other way round", l.Installation.Outputs[o].Label)
			if l.message.GetAlternateFloor() == "" {
				detail = "the lift knows no other landing: write its alternate_floor, and drive that by these"
				if !l.rules.Has("nfpa72") {
					report = finding.Warn // EN 81-73 knows lifts with one landing
				}
			}
			l.add(report("lift.to-fire-floor", l.path(points[0]), fmt.Sprintf("%q is sent to the floor that burns, %s, by %s", l.id, l.floor(l.Installation.Points[points[0]].Place), l.labels(points)),
				detail), l.rules.Clause(rule.LiftLanding))
		}
		if points := wrong[o]; len(points) > 0 {
			l.add(finding.Warn("lift.wrong-landing", l.path(points[0]), fmt.Sprintf("%q is sent to its alternate landing by %s", l.id, l.labels(points)),
				fmt.Sprintf("only a detector at the recall landing, floor %s, is to do that; all others send it there", l.message.GetRecallFloor())), l.rules.Clause(rule.LiftLanding))
		}
	}
}

// singlesThenCrowds are the walks that begin with fire: of one point each, then of all detectors of a place.
func (l *liftCase) singlesThenCrowds() iter.Seq[*walk] {
	return func(yield func(*walk) bool) {
		for _, list := range [][]walk{l.walks, l.crowds} {
			for i := range list {
				if !yield(&list[i]) {
					return
				}
			}
		}
	}
}

// addTo adds the points of a walk to a list, but not those beside one that is there for what it does alone.
func (w *walk) addTo(list []int32) []int32 {
	if len(w.beside) > 0 && slices.ContainsFunc(w.points(), func(p int32) bool { return slices.Contains(list, p) }) {
		return list
	}
	return append(list, w.points()...)
}

// mostPairs bounds how many second fires are tried for one lift.
const mostPairs = 200

// moved: a second fire must not change the landing once chosen. Tried by day and by night with every pair of detectors that
// send the lift to different landings, up to a bound, the second ten seconds after the first.
func (l *liftCase) moved() {
	tried := 0
	for _, mode := range []int32{term.Day, term.Night} {
		to := l.sent(mode)
		for first := range to {
			for _, pair := range pairs(to[first], to[1-first]) {
				a, b := pair[0], pair[1]
				if tried++; tried > mostPairs {
					l.untried()
					return
				}
				const second = 10 * time.Second
				both := walk{point: a, mode: mode, demands: l.walker.run(mode, true, signal{point: a}, signal{point: b, at: second})}
				if l.chosen(&both, second-1) != l.chosen(&both, second+time.Second) {
					l.add(finding.Error("lift.moved-by-second-fire", fmt.Sprintf("equipment[%d]", l.e), fmt.Sprintf("a second fire changes the landing of %q", l.id),
						fmt.Sprintf("%q has sent it to one landing, and %q ten seconds later changes what its inputs say: put the effects of both landings into one `one_of` set, which the first holds until reset", l.label(a), l.label(b))), l.rules.Clause(rule.LiftFirstHolds))
					return
				}
			}
		}
	}
}

// sent are the points that send the lift to its recall landing, and to the alternate: first one of each sort that
// demands what no other before it did.
func (l *liftCase) sent(mode int32) (to [2][]int32) {
	var again [2][]int32
	seen := map[string]bool{}
	for i := range l.walks {
		w := &l.walks[i]
		_, o, ok := l.destination(w)
		if !ok || w.mode != mode {
			continue
		}
		landing := 0
		if _, name := l.input(o); name == "alternate" {
			landing = 1
		}
		list := &to[landing]
		if what := fmt.Sprint(landing, w.demands); seen[what] {
			list = &again[landing]
		} else {
			seen[what] = true
		}
		*list = append(*list, w.point)
	}
	return [2][]int32{append(to[0], again[0]...), append(to[1], again[1]...)}
}

// pairs joins every a with every b, those near the beginning of both lists first.
func pairs(a, b []int32) [][2]int32 {
	var list [][2]int32
	for sum := range len(a) + len(b) {
		for i := range a {
			if k := sum - i; k >= 0 && k < len(b) {
				list = append(list, [2]int32{a[i], b[k]})
			}
		}
	}
	return list
}

// untried notes that not every pair was.
func (l *liftCase) untried() {
	f := finding.Warn("lift.pairs-untried", fmt.Sprintf("equipment[%d]", l.e), fmt.Sprintf("not every pair of fires was tried on %q", l.id),
		fmt.Sprintf("%d pairs of detectors that send it to different landings leave it where the first one sent it; there are more", mostPairs))
	f.Severity = pb.Severity_SEVERITY_NOTE
	l.add(f, commonPractice)
}

// chosen is which of the two inputs are operated at an instant: 1 recall, 2 alternate, added.
func (l *liftCase) chosen(w *walk, t time.Duration) (inputs int) {
	for _, o := range l.drivers[l.e] {
		if _, name := l.input(o); w.at(o, t) != term.Rest {
			inputs |= map[string]int{"recall": 1, "alternate": 2}[name]
		}
	}
	return inputs
}

// called: under nfpa72 only detectors of lift lobbies, shafts and machine rooms recall. A call point never does;
// other detectors are judged where the file says what at least one place of the lift is.
func (l *liftCase) called() {
	if !l.rules.Has("nfpa72") {
		return
	}
	known := false
	for i := range l.Message.GetPlaces() {
		known = known || liftPlace(l.use(int32(i)))
	}
	var hands, others []int32
	for w := range l.singlesThenCrowds() {
		if _, _, ok := l.destination(w); !ok {
			continue
		}
		switch pt := &l.Installation.Points[w.point]; {
		case pt.Input == loop.CallPoint:
			hands = append(hands, w.point)
		case known && !l.own(pt.Place):
			others = w.addTo(others)
		}
	}
	l.blame(hands, finding.Error, "lift.recalled-by-call-point", "call points recall %q: %s",
		"a call point says nothing of where the fire is: only detectors of lift lobbies, shafts and machine rooms recall", l.rules.Clause(rule.LiftRecall))
	l.blame(others, finding.Error, "lift.recalled-from-elsewhere", "detectors outside its lobbies, shaft and machine room recall %q: %s",
		"take them out of the cause of the recall, or write `use: lift-lobby` at their place if it is one", l.rules.Clause(rule.LiftRecall))
}

// blame adds a finding about what devices do to the lift, if there are any; what names the lift, then them.
func (l *liftCase) blame(points []int32, of func(code, path, title, detail string) *pb.Finding, code, what, detail, clause string) {
	if len(points) > 0 {
		l.add(of(code, l.path(points[0]), fmt.Sprintf(what, l.id, l.labels(points)), detail), clause)
	}
}

// own tells whether a place is a lobby, shaft or machine room of this lift: one that says whom it serves, of that one.
func (l *liftCase) own(place int32) bool {
	serves := l.place(place).GetServes()
	return liftPlace(l.use(place)) && (len(serves) == 0 || slices.Contains(serves, l.id))
}

func liftPlace(use string) bool {
	return use == "lift-lobby" || use == "lift-shaft" || use == "lift-machine-room"
}

// powerOff lists the outputs that take the lift's power away: its own input, or a trip that cuts it.
func (l *liftCase) powerOff() []int32 {
	var outputs []int32
	for o := range l.Installation.Outputs {
		e, name := l.input(int32(o))
		if e == l.e && name == "power-off" || e >= 0 && name == "trip" && slices.Contains(l.Message.GetEquipment()[e].GetTrip().GetCuts(), l.id) {
			outputs = append(outputs, int32(o))
		}
	}
	return outputs
}

// power: heat beside sprinklers takes the power away, at once; smoke never does, and heat does not recall.
func (l *liftCase) power() {
	off := l.powerOff()
	var smoke, heat, held, neither []int32
	for i := range l.walks {
		w := &l.walks[i]
		kind := l.Installation.Points[w.point].Kind
		for _, o := range off {
			d, ok := w.first(o)
			switch {
			case !ok:
			case kind == "smoke_detector" || kind == "multi_criteria_detector":
				smoke = append(smoke, w.point)
			case kind == "call_point" || kind == "flame_detector":
				neither = append(neither, w.point)
			case d.at > 0:
				held = append(held, w.point)
			}
		}
		if _, _, recalls := l.destination(w); recalls && kind == "heat_detector" && len(off) > 0 {
			heat = append(heat, w.point)
		}
	}
	l.blame(smoke, finding.Error, "lift.power-off-by-smoke", "smoke takes the power of %q away: %s",
		"people would be trapped before the recall ends: only heat beside a sprinkler of shaft or machine room may do that", l.rules.Clause(rule.LiftPower))
	l.blame(neither, finding.Error, "lift.power-off-without-heat", "the power of %q is taken away without heat beside a sprinkler: %s",
		"people would be trapped before the recall ends: only heat beside a sprinkler of shaft or machine room may do that", l.rules.Clause(rule.LiftPower))
	l.blame(heat, finding.Warn, "lift.recalled-by-heat", "heat recalls %q, whose power heat also takes away: %s",
		"smoke detectors recall, and heat detectors beside sprinklers take the power away: the two are probably exchanged", l.rules.Clause(rule.LiftPower))
	l.blame(held, finding.Error, "lift.power-off-held-back", "the power of %q is taken away late: %s",
		"it may not wait for a delay: the sprinkler may open first", l.rules.Clause(rule.LiftPowerAtOnce))
	l.waits(off)
}

// waits finds actions that take the power away only once the lift says that it is recalled, or is told to be.
func (l *liftCase) waits(off []int32) {
	s := l.analysis.Space
	for i := range l.analysis.Pairs {
		p := &l.analysis.Pairs[i]
		if p.State == term.Off || p.Active == bdd.False || !slices.ContainsFunc(l.Program.EffectOutputs(p.Effect), func(o int32) bool { return slices.Contains(off, o) }) {
			continue
		}
		unanswered := s.Assume(p.Active, func(f term.Fact) (holds, known bool) { return false, l.ofLift(f) })
		if unanswered == bdd.False && s.Err() == nil {
			l.add(finding.Error("lift.power-off-held-back", p.Path, fmt.Sprintf("the power of %q is taken away only once it has been recalled", l.id),
				"it may not wait for the recall, nor rely on the lift to prove it: the sprinkler may open first"), l.rules.Clause(rule.LiftPowerAtOnce))
		}
	}
}

// ofLift tells whether a fact is the lift's answer, or what it is told.
func (l *liftCase) ofLift(f term.Fact) bool {
	switch f.Kind {
	case term.EquipmentProven:
		return int(f.Index) == l.e
	case term.DeviceActive:
		return int(l.Installation.Points[f.Index].ProvesEquipment) == l.e
	case term.OutputCommanded:
		return slices.Contains(l.drivers[l.e], f.Index)
	}
	return false
}

// withoutProof tells whether an output operates in a walk even if no equipment answers.
func (j *judge) withoutProof(w *walk, output int32) bool {
	bare := walk{point: w.point, act: w.act, mode: w.mode, demands: j.walker.run(w.mode, false, w.begins())}
	_, ok := bare.first(output)
	return ok
}
