package logic

import (
	"cmp"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// What the twin indicates, tests, and is switched to: kept as plain maps.

type naiveShows struct {
	said          map[term.Fact]bool // what the lines say of devices, whether or not it counts
	unheard       map[term.Fact]bool
	stands        map[string]bool // as last shown
	sounds        bool
	reminding     bool
	remindElapsed time.Duration
	position      map[int]int32
	moves         []int       // overrides in the order of their moves
	risen         map[int]int // controls that went on in this instant, and how often
}

func newNaiveShows() naiveShows {
	return naiveShows{said: map[term.Fact]bool{}, unheard: map[term.Fact]bool{}, stands: map[string]bool{}, position: map[int]int32{}, risen: map[int]int{}}
}

// conditionWords are the conditions, the one indicated first at the head.
var conditionWords = []string{"fire", "prealarm", "supervisory", "fault", "disablement", "test"}

// makes says which condition a fact makes.
func makes(k term.Kind) string {
	switch k {
	case term.DeviceFire:
		return "fire"
	case term.DevicePrealarm:
		return "prealarm"
	case term.DeviceSupervisory:
		return "supervisory"
	case term.DeviceFault, term.OutputFault, term.LoopFault, term.SupplyFault:
		return "fault"
	case term.DeviceDisabled, term.ZoneDisabled, term.OutputDisabled, term.EquipmentDisabled:
		return "disablement"
	case term.ZoneTest:
		return "test"
	}
	return ""
}

// put changes a fact; what is new has not been heard of.
func (n *naive) put(f term.Fact, on bool) {
	was := n.facts[f]
	n.facts[f] = on
	c := makes(f.Kind)
	switch {
	case !on:
		delete(n.unheard, f)
	case !was && c != "" && c != "disablement" && c != "test":
		n.unheard[f] = true
	}
}

// newsAgain makes what stands of some conditions unheard of.
func (n *naive) newsAgain(wanted func(condition string) bool) {
	for f, on := range n.facts {
		if c := makes(f.Kind); on && c != "" && wanted(c) {
			n.unheard[f] = true
		}
	}
}

func (n *naive) standing(condition string) bool {
	for f, on := range n.facts {
		if on && makes(f.Kind) == condition {
			return true
		}
	}
	return false
}

func (n *naive) soundsAgain() time.Duration {
	if d := n.site.GetPanel().GetFaultSoundsAgain(); d != nil {
		return d.AsDuration()
	}
	return 24 * time.Hour
}

// remind lets the time since the last acknowledgement pass.
func (n *naive) remind(passed time.Duration) {
	if !n.reminding {
		return
	}
	if n.remindElapsed += passed; n.remindElapsed >= n.soundsAgain() {
		n.reminding = false
		n.newsAgain(func(c string) bool { return c == "fault" })
	}
}

func (n *naive) acknowledge() {
	n.flag(term.PanelAcknowledged, true)
	clear(n.unheard)
	n.reminding, n.remindElapsed = n.standing("fault"), 0
}

// indicate lists what begins and ends to be indicated.
func (n *naive) indicate() {
	for _, c := range conditionWords {
		if on := n.standing(c); on != n.stands[c] {
			n.stands[c] = on
			n.shown = append(n.shown, c+map[bool]string{true: " on", false: " off"}[on])
		}
	}
	n.reminding = n.reminding && n.standing("fault")
	if sounds := len(n.unheard) > 0; sounds != n.sounds {
		n.sounds = sounds
		n.shown = append(n.shown, "buzzer"+map[bool]string{true: " on", false: " off"}[sounds])
	}
	n.facts[term.Fact{Kind: term.PanelBuzzer}] = n.sounds
}

// tooLow reports whether an operator's level is too low for an operation.
func (n *naive) tooLow(op Operation) bool {
	need := uint32(2)
	switch op.Kind {
	case Acknowledge:
		need = 1
	case Control:
		if c := n.site.GetProgram().GetControls()[op.Index]; c.Level != nil {
			need = c.GetLevel()
		}
	case MoveOverride:
		if o := n.site.GetProgram().GetOverrides()[op.Index]; o.Level != nil {
			need = o.GetLevel()
		}
	}
	return op.Level > 0 && uint32(op.Level) < need
}

func (n *naive) inTest(i int) bool {
	p := n.world.Points[i]
	return p.Zone >= 0 && p.Input.Fire() && n.fact(term.ZoneTest, p.Zone)
}

// says reports whether the line says something of a device.
func (n *naive) says(k term.Kind, i int) bool {
	return n.said[term.Fact{Kind: k, Index: int32(i)}]
}

// muted reports whether nothing that a device says counts.
func (n *naive) muted(i int) bool { return n.disabledPoint(i) || n.inTest(i) }

// ofSignals are the kinds of facts that a device itself signals, besides fire.
var ofSignals = []term.Kind{term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory}

// keeps notes what devices say, and reports whether it goes no further.
func (n *naive) keeps(in input) bool {
	if !slices.Contains(ofSignals, in.fact.Kind) {
		return false
	}
	i := int(in.fact.Index)
	n.said[in.fact] = in.on
	if in.fact.Kind == term.DeviceActive && !in.on && n.inTest(i) {
		n.rearm(i)
	}
	return in.on && n.muted(i)
}

// able looks again at a device that was disabled or enabled, or whose test has ended: signals of a
// disabled one are as if gone, and those of one that counts are what its line says.
func (n *naive) able(i int) {
	for _, kind := range ofSignals {
		f := term.Fact{Kind: kind, Index: int32(i)}
		switch {
		case n.disabledPoint(i):
			n.takeAway(f)
		case n.said[f] && !n.muted(i):
			n.bring(f)
		}
	}
	n.rearm(i)
}

// takeAway ends a fact, or lets it stay until reset.
func (n *naive) takeAway(f term.Fact) {
	if n.latchesFact(f) {
		n.gone[f] = n.facts[f]
		return
	}
	delete(n.gone, f)
	n.put(f, false)
}

// bring begins a fact.
func (n *naive) bring(f term.Fact) {
	delete(n.gone, f)
	if further := f.Kind == term.DeviceFault || f.Kind == term.OutputFault || f.Kind == term.LoopFault; further && n.facts[f] {
		n.unheard[f] = true
		n.flag(term.PanelAcknowledged, false)
	}
	if !n.facts[f] {
		switch f.Kind {
		case term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault, term.OutputFault, term.LoopFault, term.SupplyFault:
			n.flag(term.PanelAcknowledged, false)
		}
	}
	n.put(f, true)
}

// rearm lets a line decide anew.
func (n *naive) rearm(i int) {
	if n.withheld[i] && !n.disabledPoint(i) {
		n.withheld[i] = false
		n.unlatched = append(n.unlatched, i)
	}
}

func (n *naive) testZone(zone int, on bool) {
	f := term.Fact{Kind: term.ZoneTest, Index: int32(zone)}
	if n.facts[f] == on {
		return
	}
	n.facts[f] = on
	for i, p := range n.world.Points {
		if on || p.Zone != zone || !p.Input.Fire() {
			continue
		}
		n.able(i)
	}
}

// reach finds the effect, and the place in it, through which an override reaches an output, and
// whether it rests the output when it is on.
func (n *naive) reach(override, o int) (effect, place int, opposes, ok bool) {
	sw := n.site.GetProgram().GetOverrides()[override]
	for i, id := range slices.Concat(sw.GetEffects(), sw.GetOpposes()) {
		for e, ef := range n.effects() {
			if place := slices.Index(n.outputsOf(ef), o); ef.GetEffect() == id && place >= 0 {
				return e, place, i >= len(sw.GetEffects()), true
			}
		}
	}
	return 0, 0, false, false
}

// judgeOverrides puts outputs into the states of the switches that rule them, lists those that
// change ahead of all others, and returns the outputs that are done with.
func (n *naive) judgeOverrides(strongest []term.State) map[int]bool {
	type ruled struct{ effect, place, output int }
	done, list := map[int]bool{}, []ruled{}
	for o := range strongest {
		for _, sw := range slices.Backward(n.moves) {
			at := n.position[sw]
			e, place, opposes, ok := n.reach(sw, o)
			if !ok || at == term.Auto || n.disabledOutput(o) {
				continue
			}
			strongest[o] = term.Rest
			if (at == term.SwitchedOn) != opposes {
				strongest[o] = term.On
				if n.world.Outputs[o].Sounder {
					strongest[o] = term.Evacuate
				}
			}
			done[o] = true
			if strongest[o] != n.demand[o] {
				list = append(list, ruled{e, place, o})
			}
			break
		}
	}
	slices.SortFunc(list, func(a, b ruled) int {
		return cmp.Or(cmp.Compare(a.effect, b.effect), cmp.Compare(a.place, b.place), cmp.Compare(a.output, b.output))
	})
	for _, r := range list {
		n.outputs = append(n.outputs, naiveOutput{r.output, n.demand[r.output], strongest[r.output]})
	}
	return done
}

// naivePhasing is one phasing: its pairs, and the control that hurries it.
type naivePhasing struct {
	pairs []*naivePair
	hurry int
}

// readPhasings writes out what each phasing stands for.
func (n *naive) readPhasings() {
	program := n.site.GetProgram()
	for _, ph := range program.GetPhasings() {
		phased := naivePhasing{hurry: slices.Index(n.world.Controls, ph.GetHurry())}
		guard := [5]*term.Term{term.False(), term.False(), term.False(), term.False(), term.False()}
		if hold := slices.Index(n.world.Controls, ph.GetHold()); hold >= 0 {
			guard[1] = term.Is(term.ControlOn, hold)
		}
		n.guards = append(n.guards, guard)
		for i, burning := range ph.GetFloors() {
			// Floors by distance, of two the upper one first.
			var floors []int
			for j := range ph.GetFloors() {
				floors = append(floors, j)
			}
			slices.SortFunc(floors, func(a, b int) int {
				return cmp.Or(cmp.Compare(max(a-i, i-a), max(b-i, i-b)), cmp.Compare(b, a))
			})
			waiting := 0
			for _, j := range floors {
				cause, _ := index(n.world.Causes, burning.GetCause())
				at := &naivePair{action: len(n.guards) - 1, cause: cause, state: term.Evacuate}
				for e, ef := range program.GetEffects() {
					if ef.GetEffect() == ph.GetFloors()[j].GetEffect() {
						at.effect = e
					}
				}
				together := j == i || j == i+1 && (len(ph.GetTogether()) == 0 || slices.Contains(ph.GetTogether(), "above")) || j == i-1 && slices.Contains(ph.GetTogether(), "below")
				if !together {
					waiting++
					at.after = time.Duration(waiting) * ph.GetStepTime().AsDuration()
					if ph.GetWaiting() != "nothing" {
						alert := *at
						alert.state, alert.after = term.Alert, 0
						phased.pairs, n.pairs = append(phased.pairs, &alert), append(n.pairs, &alert)
					}
				}
				phased.pairs, n.pairs = append(phased.pairs, at), append(n.pairs, at)
			}
		}
		n.phased = append(n.phased, phased)
	}
}

// pressed notes that a control goes on.
func (n *naive) pressed(control int, on bool) {
	if on && !n.fact(term.ControlOn, control) {
		n.risen[control]++
	}
}

// hurry brings the next step of each cause that a phasing runs for forward to now, and all later
// ones by as much.
func (n *naive) hurry(causes []bool) {
	for _, ph := range n.phased {
		for range n.risen[ph.hurry] {
			ph.bringForward(causes)
		}
	}
	clear(n.risen)
}

func (ph naivePhasing) bringForward(causes []bool) {
	least := map[int]time.Duration{}
	for _, p := range ph.pairs {
		if left, seen := least[p.cause]; p.begun && causes[p.cause] && (!seen || p.after-p.elapsed < left) {
			least[p.cause] = p.after - p.elapsed
		}
	}
	for _, p := range ph.pairs {
		if !p.begun || !causes[p.cause] {
			continue
		}
		if p.elapsed += least[p.cause]; p.elapsed >= p.after {
			p.q1, p.counting, p.begun = true, false, false
		}
	}
}

// naiveLine is a moment of the week at which a mode begins.
type naiveLine struct {
	at   time.Duration
	mode int32
}

// naiveWeek is the calendar: lines by moment of the week, and the moment of the week at the start,
// negative where no calendar runs.
type naiveWeek struct {
	lines []naiveLine
	begin time.Duration
	upTo  time.Duration // lines up to this instant have been taken
}

// nextLine returns when the calendar's next line comes.
func (n *naive) nextLine() (time.Duration, bool) {
	best, ok := time.Duration(0), false
	for _, l := range n.lines {
		for at := l.at - n.begin; ; at += panel.Week {
			if at > n.upTo {
				if !ok || at < best {
					best, ok = at, true
				}
				break
			}
		}
	}
	return best, ok
}

// schedule takes the lines that have come.
func (n *naive) schedule(now time.Duration) {
	for {
		at, ok := n.nextLine()
		if !ok || at > now {
			return
		}
		n.upTo = at
		for _, l := range n.lines {
			if (l.at-n.begin-at)%panel.Week == 0 {
				if !n.facts[term.Fact{Kind: term.PanelMode, Value: l.mode}] {
					n.shown = append(n.shown, "scheduled")
				}
				for _, mode := range []int32{term.Day, term.Night} {
					n.facts[term.Fact{Kind: term.PanelMode, Value: mode}] = mode == l.mode
				}
			}
		}
	}
}

// beginWeek starts the twin's calendar at a moment of the week.
func (n *naive) beginWeek(begin time.Duration) {
	n.begin = begin
	for _, line := range n.site.GetPanel().GetCalendar() {
		for _, day := range line.GetDays() {
			at := time.Duration(slices.Index([]string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}, day)) * 24 * time.Hour
			n.lines = append(n.lines, naiveLine{at + line.GetAt().AsDuration(), map[string]int32{"day": term.Day, "night": term.Night}[line.GetMode()]})
		}
	}
	// The mode at the start is that of the line that came last, a week before if need be.
	last := time.Duration(-1 << 62)
	for _, l := range n.lines {
		at := l.at - begin
		if at > 0 {
			at -= panel.Week
		}
		if at > last {
			last = at
			for _, mode := range []int32{term.Day, term.Night} {
				n.facts[term.Fact{Kind: term.PanelMode, Value: mode}] = mode == l.mode
			}
		}
	}
}
