package logic

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A phasing is read as the pairs of causes and effects that it stands for. Its pairs are those of
// one further action behind those of the file, whose guard is the control that holds the steps.

// floors are a phasing's, resolved: lowest first.
type floors struct {
	causes, effects []int32
	together        [2]bool // above, below
	step            time.Duration
	alert           bool
}

const above, below = 0, 1

// readPhasings makes the pairs of every phasing.
func (c *compiler) readPhasings() {
	effectIDs := make([]string, len(c.program.GetEffects()))
	for i, e := range c.program.GetEffects() {
		effectIDs[i] = e.GetEffect()
	}
	known := c.knownFloors()
	for i, ph := range c.program.GetPhasings() {
		path := fmt.Sprintf("program.phasings[%d]", i)
		f := floors{step: duration(ph.GetStepTime()), alert: ph.GetWaiting() != "nothing"}
		f.together[above] = len(ph.GetTogether()) == 0 || slices.Contains(ph.GetTogether(), "above")
		f.together[below] = slices.Contains(ph.GetTogether(), "below")
		for j, floor := range ph.GetFloors() {
			at := fmt.Sprintf("%s.floors[%d]", path, j)
			if !slices.Contains(known, floor.GetFloor()) {
				c.add(finding.Dangling(at+".floor", "floor", floor.GetFloor(), known))
			}
			f.causes = append(f.causes, c.resolve1(at+".cause", "cause", floor.GetCause(), c.world.Causes))
			f.effects = append(f.effects, c.resolve1(at+".effect", "effect", floor.GetEffect(), effectIDs))
			c.floorTwice(ph, j, at)
		}
		c.p.phasings = append(c.p.phasings, phasing{hurry: c.phasingControl(path+".hurry", ph.GetHurry())})
		if slices.Contains(f.causes, -1) || slices.Contains(f.effects, -1) {
			continue
		}
		if n := len(f.causes); len(c.p.pairs)+2*n*n > PairLimit {
			c.add(finding.Refuse("program.too-large", path, fmt.Sprintf("the program has more than %d pairs of causes and effects", PairLimit), "divide the phasing"))
			continue
		}
		c.phase(int32(i), f)
		c.speaks(path, f)
	}
}

// knownFloors lists the floors that places are on.
func (c *compiler) knownFloors() []string {
	var known []string
	for _, place := range c.site.GetPlaces() {
		if floor := place.GetFloor(); floor != "" && !slices.Contains(known, floor) {
			known = append(known, floor)
		}
	}
	return known
}

// resolve1 finds the index of one id, -1 where there is none.
func (c *compiler) resolve1(path, what, id string, known []string) int32 {
	if at, ok := index(known, id); ok {
		return int32(at)
	}
	c.add(finding.Dangling(path, what, id, known))
	return -1
}

// phasingControl finds a control that a phasing names; -1 for none.
func (c *compiler) phasingControl(path, id string) int32 {
	if id == "" {
		return -1
	}
	return c.resolve1(path, "control", id, c.world.Controls)
}

// floorTwice refuses a floor, cause or effect that an earlier floor of the phasing has.
func (c *compiler) floorTwice(ph *pb.Phasing, j int, path string) {
	one := ph.GetFloors()[j]
	for i, other := range ph.GetFloors()[:j] {
		for _, same := range []struct{ what, a, b string }{{"floor", one.GetFloor(), other.GetFloor()}, {"cause", one.GetCause(), other.GetCause()}, {"effect", one.GetEffect(), other.GetEffect()}} {
			if same.a == same.b {
				c.add(finding.Refuse("program.phasing-twice", path+"."+same.what, fmt.Sprintf("%s %q stands twice in the phasing", same.what, same.a), fmt.Sprintf("it is that of floor number %d already", i+1)))
			}
		}
	}
}

// phase makes the pairs of one phasing: for a fire on each floor, that floor and those that go with
// it evacuate at once, all others are alerted, and then follow one by one.
func (c *compiler) phase(number int32, f floors) {
	action := int32(len(c.program.GetActions())) + number
	add := func(burning, floor int, state term.State, after time.Duration) {
		c.p.effects[f.effects[floor]].evacuates = true
		c.p.pairs = append(c.p.pairs, pair{action: action, cause: f.causes[burning], effect: f.effects[floor], state: state, after: after, phasing: number, floor: int32(burning)})
	}
	for burning := range f.causes {
		later := time.Duration(0)
		for _, floor := range order(burning, len(f.causes)) {
			if floor == burning || floor == burning+1 && f.together[above] || floor == burning-1 && f.together[below] {
				add(burning, floor, term.Evacuate, 0)
				continue
			}
			if f.alert {
				add(burning, floor, term.Alert, 0)
			}
			later += f.step
			add(burning, floor, term.Evacuate, later)
		}
	}
}

// order lists the floors by their distance from the one that burns, of two the upper one first.
func order(burning, floors int) []int {
	listed := []int{burning}
	for d := 1; d < floors; d++ {
		for _, floor := range []int{burning + d, burning - d} {
			if floor >= 0 && floor < floors {
				listed = append(listed, floor)
			}
		}
	}
	return listed
}

// speaks refuses floors whose outputs cannot give the states of an evacuation (rule E6).
func (c *compiler) speaks(path string, f floors) {
	for j, e := range f.effects {
		for _, o := range c.p.outsOf.at(e) {
			if out := c.world.Outputs[o]; !out.Takes(term.Evacuate) {
				c.add(finding.Refuse("program.vocabulary", fmt.Sprintf("%s.floors[%d].effect", path, j), fmt.Sprintf("a phasing demands \"evacuate\" of %s", out.Label),
					"only sounder circuits and loop sounders take alert and evacuate; give other outputs an action of their own"))
			}
		}
	}
}

// phasing is what is left of a phasing beside its pairs.
type phasing struct {
	hurry int32 // control, -1 for none
}

// hurry brings the next step of every running phasing forward whose hurry control has gone on: of
// all that one cause has begun, the remaining times are shortened by the smallest of them, so that
// the next step comes now, even while the steps are held, and the others keep their distance.
func (p *Program) hurry(s *State, sink Sink) {
	for _, h := range s.scratch.hurries {
		pairs := p.pairsByAct.at(int32(p.actions) + h.phasing)
		for first := 0; first < len(pairs); {
			cause := p.pairs[pairs[first]].cause
			last := first + 1
			for last < len(pairs) && p.pairs[pairs[last]].cause == cause {
				last++
			}
			if s.cause[cause].seen {
				p.hurryCause(s, pairs[first:last], h.event, sink)
			}
			first = last
		}
	}
	s.scratch.hurries = s.scratch.hurries[:0]
}

// hurried is a phasing whose next step shall come now.
type hurried struct {
	phasing int32
	event   uint64
}

// hurryCause shortens the delays that run, or stand still, of one cause of a phasing.
func (p *Program) hurryCause(s *State, pairs []int32, event uint64, sink Sink) {
	least := never
	for _, i := range pairs {
		if left, ok := s.pair[i].left(s.turn.now); ok {
			least = min(least, left)
		}
	}
	if least == never {
		return
	}
	for _, i := range pairs {
		st := &s.pair[i]
		left, ok := st.left(s.turn.now)
		switch {
		case !ok:
		case left == least:
			st.delay, st.due = done, never
			p.noteDelay(s, i, DelayEnded, event, sink)
			s.reschedule(i)
			s.pairDue(i)
		case least == 0:
		case st.delay == paused:
			st.remaining -= least
			p.noteDelay(s, i, DelayHurried, event, sink)
		default:
			st.due -= least
			p.noteDelay(s, i, DelayHurried, event, sink)
			s.reschedule(i)
		}
	}
}

// left returns what remains of an on-delay that has begun and not ended.
func (st *pairState) left(now time.Duration) (time.Duration, bool) {
	switch st.delay {
	case running:
		return st.due - now, true
	case paused:
		return st.remaining, true
	}
	return 0, false
}

// PairPath returns the field path of the part of the file that a pair stands in.
func (p *Program) PairPath(i int) string {
	pr := p.pairs[i]
	if pr.phasing >= 0 {
		return fmt.Sprintf("program.phasings[%d].floors[%d]", pr.phasing, pr.floor)
	}
	return fmt.Sprintf("program.actions[%d]", pr.action)
}
