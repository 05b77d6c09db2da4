package diff

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// course is what one run did on one site.
type course struct {
	began      int // events before the run
	points     []int32
	stimulated time.Duration // the last signal
	silence    time.Duration
	reset      time.Duration
	end        time.Duration
	marks      []time.Duration // decisions on the run's own signals, and operators' acts
	tracks     map[track][]step
	chains     map[uint64][]*pb.ChainLink // of the events that a step names, as far as asked for
	log        sim.Log                    // of the run
}

// track is one thing that is watched, in common numbers.
type track struct {
	kind  trackKind
	index int32
}

type trackKind uint8

// What is watched, in the order in which differences are told.
const (
	trackDecision trackKind = iota // of a point: fire, pre-alarm, supervisory
	trackOutput                    // an output operates
	trackDemand                    // the program demands
	trackEquipment
	trackLoad
	trackFault // of a point, an output or a loop
)

// step is one change of what is watched.
type step struct {
	value int64
	word  string
	at    time.Duration
	event uint64
}

// decides reports whether an event of a point is the decision on its signal.
func decides(k sim.Kind, input loop.Input, fact term.Kind) bool {
	switch {
	case fact == term.DevicePrealarm:
		return k == drill.PrealarmDecided
	case input.Fire():
		return k == drill.FireDecided
	case input == loop.Supervisory:
		return k == drill.SupervisoryDecided
	}
	return k == drill.ActiveRead
}

// collect reads the log of a run.
func (r *runner) collect(side int, d *drill.Drill, c *course) {
	p, plan := r.pairing, r.plans[side]
	c.tracks = map[track][]step{}
	c.chains = map[uint64][]*pb.ChainLink{}
	add := func(kind trackKind, m *matching, e *sim.Event, n uint64, value int64, word string) {
		index := e.Subject
		if side == 1 {
			index = m.common(index)
		}
		t := track{kind, index}
		c.tracks[t] = append(c.tracks[t], step{value, word, e.At, n})
	}
	log := d.Log()
	for n := uint64(c.began) + 1; n <= uint64(log.Len()); n++ {
		e := log.Event(n)
		switch e.Kind {
		case drill.Operated:
			c.marks = append(c.marks, e.At)
		case drill.FireDecided, drill.PrealarmDecided, drill.SupervisoryDecided:
			if slices.Contains(c.points, e.Subject) {
				c.marks = append(c.marks, e.At)
			}
			add(trackDecision, &p.points, e, n, int64(e.Kind)<<8|e.Value, decisionWord(e))
		case drill.ActiveRead:
			if slices.Contains(c.points, e.Subject) {
				c.marks = append(c.marks, e.At)
			}
		case drill.OutputOperated:
			add(trackOutput, &p.outputs, e, n, e.Value, term.State(e.Value).String())
		case drill.OutputDemanded:
			add(trackDemand, &p.outputs, e, n, e.Value, term.State(e.Value).String())
		case drill.EquipmentChanged:
			words := plan.In.Plant.States(int(e.Subject))
			add(trackEquipment, &p.equipment, e, n, e.Value, words[e.Value])
		case drill.LoadChanged:
			add(trackLoad, &p.loads, e, n, e.Value, onOff(e.Value))
		case drill.MissingFault, drill.WrongTypeFault, drill.DuplicateFault:
			add(trackFault, &p.points, e, n, int64(e.Kind)<<8|e.Value, "fault "+onOff(e.Value))
		}
	}
	c.log = log.Fork() // the drill's memory does not outlast the run
}

func decisionWord(e *sim.Event) string {
	switch e.Kind {
	case drill.PrealarmDecided:
		return "pre-alarm " + onOff(e.Value)
	case drill.SupervisoryDecided:
		return "supervisory " + onOff(e.Value)
	}
	return "fire"
}

func onOff(value int64) string {
	if value != 0 {
		return "on"
	}
	return "off"
}

// chain writes the chain of an event with its places in the file.
func (r *runner) chain(side int, c *course, event uint64) []*pb.ChainLink {
	var numbers []uint64
	for n := event; n != 0 && len(numbers) < maxChain; n = c.log.Event(n).Parent {
		numbers = append(numbers, n)
	}
	slices.Reverse(numbers)
	var links []*pb.ChainLink
	for _, n := range numbers {
		e := c.log.Event(n)
		link := &pb.ChainLink{AtS: e.At.Seconds(), What: r.plans[side].Describe(e)}
		if path := r.plans[side].Path(e); path != "" {
			link.Position = r.pairing.where(side, path)
		}
		links = append(links, link)
	}
	return links
}

// maxChain bounds the events of a chain that a report shows.
const maxChain = 100

// where is the place of a field path in a site's file; nil where the site came from no file.
func (p *pairing) where(side int, path string) *pb.Position {
	if p.built[side].Index == nil {
		return nil
	}
	return p.built[side].Where(path)
}

// gap is the first difference of one thing in one run.
type gap struct {
	track  track
	number int // step at which the courses part
}

// gaps are the things that did not do the same in a run, in a fixed order. strict names the outputs that
// are known to differ in what is asked of them: their demands are compared exactly even where polling
// differs.
func (r *runner) gaps(o *outcome, strict map[int32]bool) []gap {
	if o == nil || o.missing {
		return nil
	}
	a, b := o.courses[0], o.courses[1]
	all := map[track]bool{}
	for _, c := range o.courses {
		for t := range c.tracks { // order does not show: the list is sorted
			all[t] = true
		}
	}
	var list []gap
	for t := range all { // order does not show: the list is sorted
		if !r.watched(t) {
			continue
		}
		x, y := r.lasting(t, a.tracks[t]), r.lasting(t, b.tracks[t])
		for i := range max(len(x), len(y)) {
			if i >= len(x) || i >= len(y) || x[i].value != y[i].value || !r.sameTime(a, b, x[i].at, y[i].at, t.kind == trackDemand && strict[t.index]) {
				list = append(list, gap{t, i})
				break
			}
		}
	}
	slices.SortFunc(list, func(a, b gap) int {
		return cmp.Or(cmp.Compare(a.track.kind, b.track.kind), cmp.Compare(a.track.index, b.track.index))
	})
	return list
}

// lasting leaves out what equipment and loads are for no longer than the tolerance: commands that go out in
// another order pass through other states.
func (r *runner) lasting(t track, steps []step) []step {
	if r.tolerance == 0 || t.kind != trackEquipment && t.kind != trackLoad {
		return steps
	}
	var kept []step
	for i := range steps {
		if i+1 < len(steps) && steps[i+1].at-steps[i].at <= r.tolerance {
			continue
		}
		if n := len(kept); n > 0 && kept[n-1].value == steps[i].value {
			continue
		}
		kept = append(kept, steps[i])
	}
	return kept
}

// watched reports whether both sites have the thing: one that is new or gone is told by itself.
func (r *runner) watched(t track) bool {
	m := map[trackKind]*matching{trackDecision: &r.pairing.points, trackFault: &r.pairing.points, trackOutput: &r.pairing.outputs,
		trackDemand: &r.pairing.outputs, trackEquipment: &r.pairing.equipment, trackLoad: &r.pairing.loads}[t.kind]
	_, old := m.side(0, t.index)
	_, changed := m.side(1, t.index)
	return old && changed
}

// sameTime compares two instants of one run on both sites: counted from the last signal, or from the same
// decision or operator's act.
func (r *runner) sameTime(a, b *course, x, y time.Duration, strict bool) bool {
	if x-a.stimulated == y-b.stimulated {
		return true
	}
	if r.tolerance == 0 {
		return false
	}
	i, after := a.since(x)
	k, also := b.since(y)
	if i == k && after == also {
		return true
	}
	apart := (x - a.stimulated) - (y - b.stimulated)
	return !strict && max(apart, -apart) <= r.tolerance
}

// since is the last mark at or before an instant, and the time from there.
func (c *course) since(at time.Duration) (mark int, after time.Duration) {
	mark = -1
	for i, m := range c.marks {
		if m <= at {
			mark, after = i, at-m
		}
	}
	return mark, after
}

// toleranceOf is 0 where both panels poll the same addresses and send the same commands in the same order;
// else what other rounds and another place in a queue can make. otherCommands: the programs differ.
func (r *runner) toleranceOf(otherCommands bool) time.Duration {
	var tolerance time.Duration
	if !r.pairing.samePolling() {
		tolerance += 4 * r.round
	}
	if otherCommands || !r.pairing.sameOrder() {
		most := 0
		for _, b := range r.pairing.built {
			most = max(most, len(b.Installation.Outputs))
		}
		tolerance += time.Duration(most)*r.slot + time.Duration(most/8+1)*r.slot
	}
	return tolerance
}

// samePolling reports whether every loop has the same addresses on both sites, of the same kinds and matched.
func (p *pairing) samePolling() bool {
	old, changed := p.built[0].Installation, p.built[1].Installation
	if len(old.Points) != len(changed.Points) || len(old.Loops) != len(changed.Loops) {
		return false
	}
	for i := range changed.Points {
		was := p.points.toOld[i]
		if was < 0 || old.Points[was].Address != changed.Points[i].Address || old.Points[was].Kind != changed.Points[i].Kind {
			return false
		}
	}
	return true
}

// sameOrder reports whether effects list outputs in one order on both sites, by which commands of one
// instant go out (rule C2).
func (p *pairing) sameOrder() bool {
	var orders [2][]string
	for s, b := range p.built {
		for _, e := range b.Site.GetProgram().GetEffects() {
			for _, ref := range e.GetOutputs() {
				if o, ok := b.Installation.Output(ref); ok {
					orders[s] = append(orders[s], p.outputKey(s, o))
				}
			}
		}
	}
	return slices.Equal(orders[0], orders[1])
}

// text writes one thing's course for people, from the step before the one at which it parts from the other
// site's.
func (c *course) text(steps []step, number int) string {
	if len(steps) == 0 {
		return "stays at rest"
	}
	text := ""
	for i := max(number-1, 0); i < len(steps) && i < max(number-1, 0)+3; i++ {
		if text != "" {
			text += ", "
		}
		text += fmt.Sprintf("%s %s", steps[i].word, c.when(steps[i].at))
	}
	if number >= len(steps) {
		text += ", and stays so"
	}
	return text
}

// when tells an instant by the stage it falls into.
func (c *course) when(at time.Duration) string {
	switch {
	case at >= c.reset:
		return short(at-c.reset) + " after reset"
	case at >= c.silence:
		return short(at-c.silence) + " after silence"
	case at < c.stimulated:
		return short(c.stimulated-at) + " before the last signal"
	}
	return "after " + short(at-c.stimulated)
}

// short writes a time to the microsecond: stimuli come a nanosecond after a sample.
func short(t time.Duration) string { return drill.Seconds(t.Round(time.Microsecond)) }

// mine reports whether an event is a decision on one of the run's own signals, or a reading of it.
func (c *course) mine(e *sim.Event) bool {
	switch e.Kind {
	case drill.FireDecided, drill.PrealarmDecided, drill.SupervisoryDecided, drill.ActiveRead, drill.InputChanged:
		return slices.Contains(c.points, e.Subject)
	}
	return false
}

// isAbout reports whether an event is on the way to what is watched.
func (c *comparison) isAbout(side int, e *sim.Event, t track) bool {
	var m *matching
	switch e.Kind {
	case drill.OutputDemanded, drill.CommandSent, drill.CommandHeard, drill.OutputOperated:
		if t.kind != trackOutput && t.kind != trackDemand {
			return false
		}
		m = &c.p.outputs
	case drill.EquipmentChanged:
		if t.kind != trackEquipment {
			return false
		}
		m = &c.p.equipment
	default:
		return false
	}
	index := e.Subject
	if side == 1 {
		index = m.common(index)
	}
	return index == t.index
}
