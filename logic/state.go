package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/detection"
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// never is the time of what is not due.
const never = time.Duration(1<<63 - 1)

// State is everything of a running program that changes. Its zero value is not usable: take one
// from NewState. It belongs to the Program that made it.
type State struct {
	net wires
	// gone says of each fact of a latched kind that the signal itself is gone.
	gone []bool
	// withheld says of each point that a decision on fire was not taken.
	withheld []bool
	// reading says of each point what it reads, valve that its line says supervisory: a device that is
	// disabled, or in test, keeps both from conditions.
	reading, valve []bool
	// zoneFire says of each zone that it had a fire since the last reset.
	zoneFire []bool
	// detection holds what is between signals and fire. shown says of each point that it is shown as
	// pre-alarm for that, lineEarly that its line says it is above the pre-alarm level.
	detection        detection.State
	shown, lineEarly []bool

	cause   []causeState
	pair    []pairState
	effect  []effectState
	output  []outputState
	holder  []int32 // by one_of set: the effect that holds it, -1 for none
	timers  []int32 // heap of the pairs with something due, earliest first
	inputs  []input
	ops     []operation
	started bool

	shows    panel.Indication
	moves    panel.Moves
	schedule panel.Schedule

	// Changes of output(..).commanded wait here for the next evaluation.
	commanded []int32
	again     time.Duration // when that evaluation comes by itself, or never
	chain     int           // evaluations that followed one another for this reason alone

	turn    turn
	scratch scratch
}

// input is a fact set but not yet evaluated; operation an act of an operator.
type input struct {
	fact  term.Fact
	on    bool
	event uint64
}

type operation struct {
	Operation
	event uint64
}

type causeState struct {
	seen  bool
	event uint64
	turn  uint64 // the turn of its last change
}

type effectState struct {
	demands [term.Off + 1]int32 // active pairs by state
	latched uint8               // set of states held until reset
	mask    uint8               // set of states demanded: bit 1<<state
	event   uint64
	turn    uint64 // the turn of its last change
	// by is the strongest state of which an action began or ceased to demand it in the turn byTurn.
	by     term.State
	byTurn uint64
}

type outputState struct {
	demand   term.State // never Off
	strength term.State // as it was decided: Off for an inhibit
	silenced term.State // silenceable demands up to this are removed; Rest for none
	event    uint64
}

// turn is what one evaluation passes from step to step.
type turn struct {
	number  uint64
	now     time.Duration
	reset   bool
	resetBy uint64
}

// scratch holds lists that are empty between evaluations, kept for their room.
type scratch struct {
	causes, pairs              []int32
	effects, outputs           []int32
	pairDue, effectDue, outDue []bool
	why                        []uint64 // by output: the event that made it due
	freed                      []uint64 // by one_of set: the event of a reset that freed it
	order                      []ranked
	events                     []uint64
	hurries                    []hurried
}

// ranked is an output about to change, with its place in the order of commands.
type ranked struct {
	output, effect, place int32
	state                 term.State
	manual                bool // an override demands it
	why                   uint64
}

// strength is the demand as it was decided.
func (r *ranked) strength() term.State {
	if r.manual {
		return panel.OverrideStrength
	}
	return r.state
}

// NewState returns the state of a quiescent panel that was never evaluated, on which no calendar
// runs. Next asks for the evaluation at t = 0.
func (p *Program) NewState() *State {
	s := &State{
		detection: *p.detection.NewState(), shown: make([]bool, len(p.points)), lineEarly: make([]bool, len(p.points)),
		gone: make([]bool, p.net.leaves), withheld: make([]bool, len(p.points)), zoneFire: make([]bool, p.zones),
		cause: make([]causeState, len(p.causes)), pair: make([]pairState, len(p.pairs)), effect: make([]effectState, len(p.effects)),
		output: make([]outputState, len(p.outputs)), holder: make([]int32, len(p.sets.start)-1),
		reading: make([]bool, len(p.points)), valve: make([]bool, len(p.points)),
		again: never, schedule: panel.Unscheduled(), shows: panel.NewIndication(int(p.net.leaves)), moves: panel.NewMoves(len(p.overrides)),
	}
	mode := term.Day
	if p.night {
		mode = term.Night
	}
	p.settleAtRest(s, mode)
	for i := range s.pair {
		s.pair[i] = pairState{due: never, pulseDue: never, holdDue: never, slot: -1}
	}
	for i := range s.holder {
		s.holder[i] = -1
	}
	s.scratch = newScratch(len(p.pairs), len(p.effects), len(p.outputs), len(s.holder))
	return s
}

// settleAtRest makes the facts those of a quiescent panel in a mode.
func (p *Program) settleAtRest(s *State, mode int32) {
	var facts []int32
	for o := range p.outputs {
		leaf, _ := p.net.leaf(term.Fact{Kind: term.OutputCommanded, Index: int32(o)})
		facts = append(facts, leaf)
	}
	for i := range p.net.size[term.OverrideAt] / positions {
		leaf, _ := p.net.leaf(term.Fact{Kind: term.OverrideAt, Index: i, Value: term.Auto})
		facts = append(facts, leaf)
	}
	leaf, _ := p.net.leaf(term.Fact{Kind: term.PanelMode, Value: mode})
	p.net.settle(&s.net, append(facts, leaf))
}

// CopyFrom makes s equal to o, a State of the same Program. It allocates only where s has too
// little room.
func (s *State) CopyFrom(o *State) {
	old := *s
	*s = *o
	s.net = old.net
	s.net.copyFrom(&o.net)
	s.gone = append(old.gone[:0], o.gone...)
	s.withheld = append(old.withheld[:0], o.withheld...)
	s.zoneFire = append(old.zoneFire[:0], o.zoneFire...)
	s.detection = old.detection
	s.detection.CopyFrom(&o.detection)
	s.shown = append(old.shown[:0], o.shown...)
	s.lineEarly = append(old.lineEarly[:0], o.lineEarly...)
	s.reading = append(old.reading[:0], o.reading...)
	s.valve = append(old.valve[:0], o.valve...)
	s.shows, s.moves = old.shows, old.moves
	s.shows.CopyFrom(&o.shows)
	s.moves.CopyFrom(&o.moves)
	s.cause = append(old.cause[:0], o.cause...)
	s.pair = append(old.pair[:0], o.pair...)
	s.effect = append(old.effect[:0], o.effect...)
	s.output = append(old.output[:0], o.output...)
	s.holder = append(old.holder[:0], o.holder...)
	s.timers = append(old.timers[:0], o.timers...)
	s.inputs = append(old.inputs[:0], o.inputs...)
	s.ops = append(old.ops[:0], o.ops...)
	s.commanded = append(old.commanded[:0], o.commanded...)
	// The lists are empty and the marks clear between evaluations; only their sizes matter.
	s.scratch = old.scratch
	if n := &o.scratch; len(s.scratch.pairDue) != len(n.pairDue) || len(s.scratch.effectDue) != len(n.effectDue) || len(s.scratch.outDue) != len(n.outDue) || len(s.scratch.freed) != len(n.freed) {
		s.scratch = newScratch(len(n.pairDue), len(n.effectDue), len(n.outDue), len(n.freed))
	}
}

func newScratch(pairs, effects, outputs, sets int) scratch {
	return scratch{pairDue: make([]bool, pairs), effectDue: make([]bool, effects), outDue: make([]bool, outputs), why: make([]uint64, outputs), freed: make([]uint64, sets)}
}

// copyFrom makes w equal to o between evaluations.
func (w *wires) copyFrom(o *wires) {
	w.value = append(w.value[:0], o.value...)
	w.event = append(w.event[:0], o.event...)
	w.count = append(w.count[:0], o.count...)
	w.up = append(w.up[:0], o.up...)
	w.down = append(w.down[:0], o.down...)
	w.due = append(w.due[:0], o.due...)
	w.queued = append(w.queued[:0], o.queued...)
	w.changed = append(w.changed[:0], o.changed...)
	w.looked = o.looked
}

// Set tells that a fact is so, or not, from the next Evaluate on; event is the one that made it
// so. Kinds that the program keeps itself (OutputCommanded, disablements, controls, causes, the
// panel's own) and those that only the bench can know are a broken contract: it panics.
// DeviceFire is latched until reset: that it is not so is ignored.
func (p *Program) Set(s *State, f term.Fact, on bool, event uint64) {
	switch f.Kind {
	case term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault,
		term.OutputFault, term.SupplyFault, term.LoopFault, term.EquipmentProven:
	default:
		panic("logic: the program keeps the fact " + f.String() + " itself")
	}
	if _, ok := p.net.leaf(f); !ok {
		panic("logic: no fact " + f.String())
	}
	s.inputs = append(s.inputs, input{fact: f, on: on, event: event})
}

// Operate queues what an operator does for the next Evaluate, in the order of the calls; event
// is the one that says so. A reset comes after all else of its instant (rule E9).
func (p *Program) Operate(s *State, op Operation, event uint64) {
	s.ops = append(s.ops, operation{Operation: op, event: event})
}

// Next returns when the program wants to be evaluated by itself, and false for never.
func (p *Program) Next(s *State) (time.Duration, bool) {
	if !s.started {
		return s.turn.now, true // 0, or the instant of a restart
	}
	next := min(s.again, s.timed())
	return next, next != never
}

// timed returns when the first of the timers, held signals, the calendar and the reminder of faults
// comes.
func (s *State) timed() time.Duration {
	next := min(s.schedule.Next(), s.shows.Next())
	if held, ok := s.detection.Next(); ok {
		next = min(next, held)
	}
	if len(s.timers) > 0 {
		next = min(next, s.pair[s.timers[0]].earliest())
	}
	return next
}

// Fact reports whether the fact holds, as of the last evaluation; OutputCommanded as of its end,
// where conditions read what the evaluation before it left. Bench-only facts are no
// business of the program: it panics.
func (p *Program) Fact(s *State, f term.Fact) bool {
	if f.Kind == term.CauseTrue {
		return s.cause[f.Index].seen
	}
	leaf, ok := p.net.leaf(f)
	if !ok {
		panic("logic: the panel keeps no fact " + f.String())
	}
	if f.Kind == term.OutputCommanded {
		return s.output[f.Index].demand == term.State(f.Value)
	}
	return s.net.value[leaf]
}

// Demand returns the state demanded of the output: the panel's wish, never Off.
func (p *Program) Demand(s *State, output int) term.State { return s.output[output].demand }

// Inhibited reports whether the output is at rest because an `off` overrides all else.
func (p *Program) Inhibited(s *State, output int) bool {
	return s.output[output].strength == term.Off
}

// Active reports whether the pair demands its state.
func (p *Program) Active(s *State, pair int) bool { return s.pair[pair].active }

// Delaying reports whether the on-delay of the pair has begun and not run out, and when it will;
// while it stands still there is no such time.
func (p *Program) Delaying(s *State, pair int) (due time.Duration, begun, standing bool) {
	switch st := &s.pair[pair]; st.delay {
	case running:
		return st.due, true, false
	case paused, restarted:
		return 0, true, true
	}
	return 0, false, false
}

// EffectDemand returns the strongest state demanded through the effect, Off being an inhibit.
func (p *Program) EffectDemand(s *State, effect int) term.State {
	return strongest(s.effect[effect].mask)
}

// Withheld reports whether the pair would demand its state, were it not for its `unless`.
func (p *Program) Withheld(s *State, pair int) bool { return s.pair[pair].held && !s.pair[pair].active }

// Silenced returns the state up to which silence removes demands on the output; Rest for none.
func (p *Program) Silenced(s *State, output int) term.State { return s.output[output].silenced }
