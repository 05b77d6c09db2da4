package week

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/panel"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Times of a week.
const (
	day      = 24 * time.Hour
	whole    = 7 * day
	busy     = 5 * day          // episodes begin before
	tidy     = 6 * day          // everything is undone before
	early    = 40 * time.Hour   // what leaves something behind for days begins before
	episode  = 15 * time.Minute // within which the deeds of an episode begin
	repeated = 30 * time.Minute // from the last undoing to the first reset, and on to the second
)

// Draw makes random weeks of a site: a scenario without expectations. The same site and seed give
// the same weeks; the seed is the scenario's own too.
func Draw(plan *drill.Plan, m *pb.Site, seed uint64, weeks int) *pb.Scenario {
	c := &course{site: newSite(plan, m), out: &pb.Scenario{Scenario: fmt.Sprintf("random weeks of seed %d", seed), Seed: seed}}
	if plan.Program.HasCalendar() {
		d := newDice(seed, "begins")
		c.out.Begins = &pb.Begins{Day: pick(d, days), At: durationpb.New(time.Duration(d.below(24)) * time.Hour)}
	}
	for w := range weeks {
		c.week(w, seed)
	}
	slices.SortStableFunc(c.out.GetSteps(), func(a, b *pb.Step) int { return cmp.Compare(a.GetAt().AsDuration(), b.GetAt().AsDuration()) })
	return c.out
}

var days = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

// begins is the moment of the week at which weeks begin.
func begins(weeks *pb.Scenario) time.Duration {
	if b := weeks.GetBegins(); b != nil {
		return panel.InWeek(b.GetDay(), b.GetAt().AsDuration())
	}
	return 0
}

// course is weeks being drawn.
type course struct {
	*site
	out   *pb.Scenario
	named int // steps with an id so far
}

// week draws one week. Each has streams of its own, so that one is the same however many there are.
func (c *course) week(w int, seed uint64) {
	start := time.Duration(w) * whole
	d := newDice(seed, fmt.Sprintf("course/%d", w))
	for range 10 + d.below(21) {
		begins := start + d.between(time.Minute, busy)
		for range 1 + d.below(5) {
			c.deed(d, start, begins)
		}
		if d.chance(25) {
			c.blaze(d, begins)
		}
		c.answers(d, begins)
	}
	c.enter(start+tidy+repeated, c.atLevel(reset(), 3))
	c.enter(start+tidy+2*repeated, c.atLevel(reset(), 3))
}

// deed draws one deed of an episode and its end.
func (c *course) deed(d *dice, week, begins time.Duration) {
	total := 0
	for _, f := range c.families {
		total += f.weight
	}
	n := d.below(total)
	i := 0
	for n >= c.families[i].weight {
		n -= c.families[i].weight
		i++
	}
	what := pick(d, c.families[i].deeds)
	at := begins + d.between(0, episode)
	if what.early {
		at = week + d.between(time.Minute, early)
	}
	last := min(at+d.between(time.Second, what.longest), week+tidy)
	name := pick(d, what.names)
	step := what.begin(d, name)
	undo := &pb.Step{}
	if what.end != nil {
		undo = c.atLevel(what.end(d, name), 3)
	} else {
		c.named++
		step.Step = stepName(c.named)
		undo.Kind = &pb.Step_Repair{Repair: &pb.RepairStep{Step: step.GetStep()}}
	}
	c.enter(at, c.atLevel(step, 2+d.below(2)))
	if what.name == "stand_in" {
		c.signals(d, name, at, last)
	}
	c.enter(last, undo)
	if what.end != nil && (what.name != "mode" || !c.plan.Program.HasCalendar()) { // once more, in case the panel had stopped
		c.enter(week+tidy, proto.CloneOf(undo))
	}
}

// blaze is a fire that spreads: detectors of one zone, and now and then of the next, one after another,
// until it is out.
func (c *course) blaze(d *dice, begins time.Duration) {
	if len(c.plan.In.Zones) == 0 {
		return
	}
	zone := d.below(len(c.plan.In.Zones))
	out := begins + d.between(2*time.Minute, 2*episode)
	for i := range c.plan.In.Points {
		p := &c.plan.In.Points[i]
		near := int(p.Zone) == zone || int(p.Zone) == zone+1 && d.chance(30)
		if !p.Input.Fire() || p.ProvesEquipment >= 0 || !near || d.chance(25) {
			continue
		}
		act := c.plan.Stimulus(int32(i), false, 0)
		var what deed
		for _, s := range c.families[0].deeds {
			if slices.Contains(s.names, p.Label) && stimulusOf[s.name] == act.Kind {
				what = s
			}
		}
		c.enter(begins+d.between(0, out-begins), what.begin(d, p.Label))
		c.enter(out+d.between(0, episode), what.end(d, p.Label))
	}
}

// stimulusOf are the acts of stimuli.
var stimulusOf = map[string]drill.ActKind{
	"smoke": drill.ActSmoke, "heat": drill.ActHeat, "flame": drill.ActFlame, "press": drill.ActPress, "activate": drill.ActActivate,
}

// signals lets whoever stands in for equipment give a few of its signals.
func (c *course) signals(d *dice, equipment string, from, to time.Duration) {
	e, ok := c.plan.In.Plant.Lookup(equipment)
	if !ok || c.plan.In.Plant.SignalCount(e) == 0 || to-from < 2*time.Second {
		return
	}
	for range d.below(4) {
		signal := c.plan.In.Plant.SignalName(e, d.below(c.plan.In.Plant.SignalCount(e)))
		c.enter(from+d.between(time.Millisecond, to-from), &pb.Step{Kind: &pb.Step_Signal{Signal: &pb.SignalStep{
			Equipment: equipment, Signal: signal, On: new(d.chance(50))}}})
	}
}

// answers lets operators do what they do during an episode, and now and then what they should not.
func (c *course) answers(d *dice, begins time.Duration) {
	for _, p := range presses {
		often := 60
		switch p.name {
		case "resound":
			often = 20
		case "evacuate":
			often = 8
		}
		for d.chance(often) {
			c.enter(begins+d.between(time.Second, 2*episode), c.atLevel(p.step(), 1+d.below(3)))
			often /= 3
		}
	}
}

// atLevel gives a step at the panel an access level.
func (c *course) atLevel(step *pb.Step, level int) *pb.Step {
	if act, found := c.plan.Resolve(step, "step"); len(found) == 0 && act.Kind.AtPanel() {
		step.Level = new(uint32(level))
	}
	return step
}

func (c *course) enter(at time.Duration, step *pb.Step) {
	step.At = durationpb.New(at)
	c.out.Steps = append(c.out.Steps, step)
}
