package logic

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// naive is the slow, obvious twin of Program and State: it keeps facts in a map, asks every
// condition, every timer, every effect and every output anew at each evaluation, and measures
// times by adding up what passed instead of by deadlines. It is written from sections C to E
// and J of the rules of detail in DEVELOPERS.md, and shares nothing with the program but package
// term and the message.
type naive struct {
	site   *pb.Site
	world  *term.World
	causes []*term.Term
	guards [][5]*term.Term
	pairs  []*naivePair

	facts    map[term.Fact]bool
	gone     map[term.Fact]bool
	withheld map[int]bool
	zoneFire map[int]bool
	latched  map[int]map[term.State]bool // by effect
	demands  []map[term.State]bool       // by effect
	holder   map[string]int
	silenced map[int]term.State
	was      []bool // causes at the evaluation before

	demand []term.State
	unread []term.State // what conditions read of demand: as of the evaluation before
	again  bool         // some demand changed since
	last   time.Duration
	chain  int
	// chainLimit bounds evaluations that follow one another through output(..).commanded.
	chainLimit int
	started    bool
	naiveShows
	naiveWeek
	phased []naivePhasing

	inputs []input
	ops    []Operation

	// what the last evaluation brought
	outputs   []naiveOutput
	unlatched []int
	shown     []string
}

type naiveOutput struct {
	output   int
	from, to term.State
}

type naivePair struct {
	action, cause, effect  int
	state                  term.State
	after, pulse, hold     time.Duration
	counting, dead, q1     bool
	begun                  bool // its delay has begun and not ended
	q1Before               bool // at the evaluation before
	elapsed                time.Duration
	pulsing, wasQ1         bool
	pulseElapsed           time.Duration
	holding, wasQ2, active bool
	holdElapsed            time.Duration
}

func newNaive(site *pb.Site, w *term.World) *naive {
	n := &naive{site: site, world: w, facts: map[term.Fact]bool{}, gone: map[term.Fact]bool{}, withheld: map[int]bool{}, zoneFire: map[int]bool{},
		latched: map[int]map[term.State]bool{}, holder: map[string]int{}, silenced: map[int]term.State{}, chainLimit: ChainLimit, naiveShows: newNaiveShows()}
	parse := func(text string) *term.Term {
		t, problems := term.Parse(text, w, term.Cause)
		if len(problems) > 0 {
			panic(problems)
		}
		return t
	}
	for _, c := range site.GetProgram().GetCauses() {
		n.causes = append(n.causes, parse(c.GetWhen()))
	}
	for a, action := range site.GetProgram().GetActions() {
		var five [5]*term.Term
		for g, text := range []string{action.GetUnless(), action.GetPauseWhile(), action.GetRestartWhile(), action.GetCancelWhen(), action.GetHurryWhen()} {
			five[g] = term.False()
			if text != "" {
				five[g] = parse(text)
			}
		}
		n.guards = append(n.guards, five)
		state, _ := term.DemandWord(action.GetState())
		for _, cause := range action.GetCauses() {
			for _, effect := range action.GetEffects() {
				c, _ := index(w.Causes, cause)
				e := slices.IndexFunc(site.GetProgram().GetEffects(), func(x *pb.Effect) bool { return x.GetEffect() == effect })
				n.pairs = append(n.pairs, &naivePair{action: a, cause: c, effect: e, state: state, after: action.GetAfter().AsDuration(), pulse: action.GetFor().AsDuration(), hold: action.GetHold().AsDuration()})
			}
		}
	}
	n.readPhasings()
	mode := term.Day
	if site.GetPanel().GetMode() == "night" {
		mode = term.Night
	}
	n.facts[term.Fact{Kind: term.PanelMode, Value: mode}] = true
	n.was = make([]bool, len(n.causes))
	n.demand, n.unread = make([]term.State, len(w.Outputs)), make([]term.State, len(w.Outputs))
	for range site.GetProgram().GetEffects() {
		n.demands = append(n.demands, map[term.State]bool{})
	}
	return n
}

// is answers a fact as conditions see it.
func (n *naive) is(f term.Fact) bool {
	switch f.Kind {
	case term.CauseTrue:
		return n.causes[f.Index].Eval(n.is)
	case term.OverrideAt:
		return n.position[int(f.Index)] == f.Value
	case term.OutputCommanded:
		return n.unread[f.Index] == term.State(f.Value)
	case term.ZoneConfirmed: // of zones without detection, which is all that the twin knows
		for i, p := range n.world.Points {
			if p.Zone == int(f.Index) && n.fact(term.DeviceFire, i) {
				return true
			}
		}
		return false
	}
	return n.facts[f]
}

func (n *naive) flag(k term.Kind, on bool)    { n.facts[term.Fact{Kind: k}] = on }
func (n *naive) fact(k term.Kind, i int) bool { return n.facts[term.Fact{Kind: k, Index: int32(i)}] }
func (n *naive) effects() []*pb.Effect        { return n.site.GetProgram().GetEffects() }
func (n *naive) outputsOf(e *pb.Effect) (outputs []int) {
	for _, ref := range e.GetOutputs() {
		outputs = append(outputs, n.world.OutputRefs[ref])
	}
	return outputs
}

// evaluate is one evaluation: facts, operators, reset, timers, conditions, effects, outputs.
func (n *naive) evaluate(now time.Duration) {
	n.outputs, n.unlatched, n.shown = nil, nil, nil
	if n.started {
		due, timed := n.nextTimer()
		switch {
		case len(n.inputs) > 0 || len(n.ops) > 0 || timed && due <= now:
			n.chain = 0
		case n.again && n.chain < n.chainLimit:
			n.chain++
		}
	}
	passed := now - n.last
	n.last = now
	copy(n.unread, n.demand)
	n.again = false
	n.schedule(now)
	for _, in := range n.inputs {
		n.input(in)
	}
	n.remind(passed)
	reset := false
	for _, op := range n.ops {
		switch {
		case n.tooLow(op):
			n.shown = append(n.shown, "refused")
		case op.Kind == Reset:
			reset = true
		default:
			n.operate(op)
		}
	}
	n.inputs, n.ops = nil, nil
	if reset {
		n.reset()
	}
	n.indicate()
	causes := make([]bool, len(n.causes))
	for i := range causes {
		causes[i] = n.is(term.Fact{Kind: term.CauseTrue, Index: int32(i)})
	}
	for _, p := range n.pairs {
		p.advance(causes[p.cause], passed, reset)
	}
	n.hurry(causes)
	for _, p := range n.pairs {
		n.pair(p, causes[p.cause])
	}
	for e := range n.effects() {
		n.effect(e, causes, reset)
	}
	n.oneOf(reset)
	n.judgeEffects()
	n.judgeOutputs()
	n.was, n.started = causes, true
}

// advance lets time pass for a pair, and does what reset does (J5).
func (p *naivePair) advance(in bool, passed time.Duration, reset bool) {
	defer func(q1 bool) { p.q1Before = q1 }(p.q1)
	if p.counting {
		p.elapsed += passed
	}
	if p.pulsing {
		p.pulseElapsed += passed
	}
	if p.holding {
		p.holdElapsed += passed
	}
	if reset {
		switch {
		case !in: // everything ends at once
			*p = naivePair{action: p.action, cause: p.cause, effect: p.effect, state: p.state, after: p.after, pulse: p.pulse, hold: p.hold}
		case !p.q1: // a delay that has not run out starts again
			p.elapsed, p.counting, p.dead, p.begun = 0, false, false, false
		}
	}
}

// pair runs IEC 61131-3's TON, TP, TOF one after another (from memory).
func (n *naive) pair(p *naivePair, in bool) {
	g := n.guards[p.action]
	switch {
	case !in:
		p.elapsed, p.counting, p.dead, p.q1 = 0, false, false, false
	case p.q1 || p.dead:
	case p.after == 0:
		p.q1 = true
	case g[3].Eval(n.is):
		p.dead, p.counting = true, false
	case g[4].Eval(n.is):
		p.q1, p.counting = true, false
	case g[2].Eval(n.is):
		p.elapsed, p.counting = 0, false
	case g[1].Eval(n.is):
		p.counting = false
	default:
		p.q1 = p.elapsed >= p.after
		p.counting = !p.q1
	}
	p.begun = in && !p.q1 && !p.dead
	q2 := p.q1
	if p.pulse > 0 {
		if p.pulsing && p.pulseElapsed >= p.pulse {
			p.pulsing = false
		}
		if p.q1 && !p.wasQ1 && !p.pulsing {
			p.pulsing, p.pulseElapsed = true, 0
		}
		q2 = p.pulsing
	}
	p.wasQ1 = p.q1
	q3 := q2
	if p.hold > 0 {
		if q2 {
			p.holding = false
		} else if p.wasQ2 {
			p.holding, p.holdElapsed = true, 0
		} else if p.holding && p.holdElapsed >= p.hold {
			p.holding = false
		}
		q3 = q2 || p.holding
	}
	p.wasQ2 = q2
	p.active = q3 && !g[0].Eval(n.is)
}

// nextTimer returns when the first timer runs out.
func (n *naive) nextTimer() (time.Duration, bool) {
	next, ok := time.Duration(0), false
	due := func(running bool, left time.Duration) {
		if running && (!ok || n.last+left < next) {
			next, ok = n.last+left, true
		}
	}
	for _, p := range n.pairs {
		due(p.counting, p.after-p.elapsed)
		due(p.pulsing, p.pulse-p.pulseElapsed)
		due(p.holding, p.hold-p.holdElapsed)
	}
	due(n.reminding, n.soundsAgain()-n.remindElapsed)
	if at, ok := n.nextLine(); ok {
		due(true, at-n.last)
	}
	return next, ok
}

// effect gathers what active pairs demand through an effect, and ends what reset ends.
func (n *naive) effect(e int, causes []bool, reset bool) {
	n.demands[e] = map[term.State]bool{}
	goesOn := map[term.State]bool{}
	for _, p := range n.pairs {
		if p.effect != e {
			continue
		}
		if p.active {
			n.demands[e][p.state] = true
		}
		// An operated output whose cause is still true does not drop, unless the action is told to demand nothing.
		if causes[p.cause] && p.q1Before && !n.guards[p.action][0].Eval(n.is) {
			goesOn[p.state] = true
		}
	}
	if reset {
		for state := range n.latched[e] {
			if !goesOn[state] {
				delete(n.latched[e], state)
			}
		}
	}
}

// oneOf decides which effect holds each set.
func (n *naive) oneOf(reset bool) {
	operates := func(e int) bool {
		for state := term.On; state < term.Off; state++ {
			if n.demands[e][state] || n.latched[e][state] {
				return true
			}
		}
		return false
	}
	for e, ef := range n.effects() {
		if h, held := n.holder[ef.GetOneOf()]; held && h == e && reset && !operates(e) {
			delete(n.holder, ef.GetOneOf())
		}
	}
	for e, ef := range n.effects() {
		if _, held := n.holder[ef.GetOneOf()]; ef.GetOneOf() != "" && !held && operates(e) {
			n.holder[ef.GetOneOf()] = e
		}
	}
}

// judgeEffects applies sets, latches and the evacuate control.
func (n *naive) judgeEffects() {
	for e, ef := range n.effects() {
		if h, held := n.holder[ef.GetOneOf()]; held && h != e {
			n.demands[e] = map[term.State]bool{}
		}
		if ef.GetUntil() == "reset" {
			if n.latched[e] == nil {
				n.latched[e] = map[term.State]bool{}
			}
			for state := range n.demands[e] {
				n.latched[e][state] = true
			}
			for state := range n.latched[e] {
				n.demands[e][state] = true
			}
		}
		for _, p := range n.pairs {
			if p.effect == e && p.state == term.Evacuate && n.fact(term.PanelEvacuate, 0) {
				n.demands[e][term.Evacuate] = true
			}
		}
	}
}

// heard reports whether a demand of the state through the effect reaches the output.
func (n *naive) heard(e, o int, state term.State) bool {
	return n.demands[e][state] && (!n.effects()[e].GetSilenceable() || state == term.Off || state > n.silenced[o])
}

// judgeOutputs finds every output's strongest demand, and lists changes in the order of C2.
func (n *naive) judgeOutputs() {
	strongest := make([]term.State, len(n.demand))
	for e, ef := range n.effects() {
		for _, o := range n.outputsOf(ef) {
			for state := term.On; state <= term.Off; state++ {
				if n.heard(e, o, state) && !n.disabledOutput(o) {
					strongest[o] = max(strongest[o], state)
				}
			}
		}
	}
	listed := n.judgeOverrides(strongest)
	for state := term.Off + 1; state > 0; state-- {
		for e, ef := range n.effects() {
			for _, o := range n.outputsOf(ef) {
				if to := strongest[o]; to == state-1 && !listed[o] && to.Physical() != n.demand[o] && (to == term.Rest || n.heard(e, o, to)) {
					listed[o] = true
					n.outputs = append(n.outputs, naiveOutput{o, n.demand[o], to.Physical()})
				}
			}
		}
	}
	for _, change := range n.outputs {
		n.demand[change.output] = change.to
		n.again = n.again || n.reads(change.output)
	}
}

func (n *naive) disabledOutput(o int) bool {
	point, isModule := n.world.PointRefs[n.world.Outputs[o].Address]
	for e, equipment := range n.world.Equipment {
		if n.fact(term.EquipmentDisabled, e) && slices.Contains(equipment.Outputs, int32(o)) {
			return true
		}
	}
	return n.fact(term.OutputDisabled, o) || isModule && n.fact(term.DeviceDisabled, point)
}

func (n *naive) disabledPoint(i int) bool {
	p := n.world.Points[i]
	return n.fact(term.DeviceDisabled, i) || p.Zone >= 0 && p.Input.Fire() && n.fact(term.ZoneDisabled, p.Zone)
}

func (n *naive) latches(k term.Kind) bool {
	latched := n.site.GetPanel().GetLatched()
	switch k {
	case term.DeviceSupervisory:
		return slices.Contains(latched, "supervisory")
	case term.DevicePrealarm:
		return slices.Contains(latched, "prealarm")
	case term.DeviceFault, term.OutputFault, term.LoopFault, term.SupplyFault:
		return slices.Contains(latched, "fault")
	}
	return false
}

// latchesFact reports whether a fact stays until reset when its signal has gone.
func (n *naive) latchesFact(f term.Fact) bool {
	if f.Kind == term.DeviceActive {
		return n.world.Points[f.Index].Input == term.Technical && slices.Contains(n.site.GetPanel().GetLatched(), "technical")
	}
	return n.latches(f.Kind)
}

// input takes one fact.
func (n *naive) input(in input) {
	f := in.fact
	if f.Kind == term.DeviceFire {
		n.fire(int(f.Index), in.on)
		return
	}
	switch {
	case n.keeps(in):
	case in.on:
		n.bring(f)
	default:
		n.takeAway(f)
	}
}

func (n *naive) fire(i int, on bool) {
	f := term.Fact{Kind: term.DeviceFire, Index: int32(i)}
	if !on || n.facts[f] {
		return
	}
	if n.disabledPoint(i) {
		n.withheld[i] = true
		return
	}
	if n.inTest(i) {
		n.withheld[i] = true
		n.shown = append(n.shown, "tested")
		if !n.says(term.DeviceActive, i) {
			n.rearm(i)
		}
		return
	}
	n.put(f, true)
	n.flag(term.PanelAcknowledged, false)
	zone := n.world.Points[i].Zone
	if n.site.GetPanel().GetResound() == "new-device" || zone < 0 || !n.zoneFire[zone] {
		n.endSilence()
	}
	n.zoneFire[zone] = true
}

func (n *naive) endSilence() {
	n.flag(term.PanelSilenced, false)
	clear(n.silenced)
}

func (n *naive) operate(op Operation) {
	switch op.Kind {
	case Acknowledge:
		n.acknowledge()
	case Silence:
		n.flag(term.PanelSilenced, true)
		for e, ef := range n.effects() {
			for _, o := range n.outputsOf(ef) {
				for state := range n.demands[e] {
					if ef.GetSilenceable() && state != term.Off {
						n.silenced[o] = max(n.silenced[o], state)
					}
				}
			}
		}
	case Resound:
		n.endSilence()
	case Evacuate:
		n.endSilence()
		n.flag(term.PanelEvacuate, true)
	case TestZone:
		n.testZone(int(op.Index), op.On)
	case MoveOverride:
		if n.position[int(op.Index)] != op.Value {
			n.position[int(op.Index)] = op.Value
			n.moves = append(n.moves, int(op.Index))
		}
	case Control:
		n.pressed(int(op.Index), op.On)
		n.facts[term.Fact{Kind: term.ControlOn, Index: op.Index}] = op.On
	case Mode:
		for _, mode := range []int32{term.Day, term.Night} {
			n.facts[term.Fact{Kind: term.PanelMode, Value: mode}] = mode == op.Value
		}
	case DisableDevice, DisableZone, DisableOutput, DisableEquipment:
		kind := map[OpKind]term.Kind{DisableDevice: term.DeviceDisabled, DisableZone: term.ZoneDisabled, DisableOutput: term.OutputDisabled, DisableEquipment: term.EquipmentDisabled}[op.Kind]
		f := term.Fact{Kind: kind, Index: op.Index}
		if n.facts[f] == op.On {
			return
		}
		n.facts[f] = op.On
		for i, p := range n.world.Points {
			if op.Kind == DisableDevice && i == int(op.Index) || op.Kind == DisableZone && p.Zone == int(op.Index) {
				n.able(i)
			}
		}
	}
}

func (n *naive) reset() {
	clear(n.zoneFire)
	for i, p := range n.world.Points {
		f := term.Fact{Kind: term.DeviceFire, Index: int32(i)}
		if !n.facts[f] {
			continue
		}
		if n.says(term.DeviceActive, i) && !n.muted(i) && n.site.GetPanel().GetReset_() != "drop-all" {
			n.zoneFire[p.Zone] = true
			continue
		}
		n.put(f, false)
		n.unlatched = append(n.unlatched, i)
	}
	for f, gone := range n.gone {
		if gone {
			n.put(f, false)
		}
	}
	clear(n.gone)
	n.newsAgain(func(c string) bool { return c != "disablement" && c != "test" })
	n.reminding = false
	n.endSilence()
	n.flag(term.PanelAcknowledged, false)
	n.flag(term.PanelEvacuate, false)
}
