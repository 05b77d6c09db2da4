package drill

import (
	"cmp"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/sim"
)

var operations = map[ActKind]logic.OpKind{
	ActAcknowledge: logic.Acknowledge, ActSilence: logic.Silence, ActResound: logic.Resound, ActReset: logic.Reset,
	ActEvacuate: logic.Evacuate, ActControl: logic.Control, ActMode: logic.Mode,
	ActDisableDevice: logic.DisableDevice, ActDisableZone: logic.DisableZone, ActDisableOutput: logic.DisableOutput, ActDisableEquipment: logic.DisableEquipment,
	ActTest: logic.TestZone, ActOverride: logic.MoveOverride,
}

// operator logs what an operator does and hands it to the program.
func (d *Drill) operator(a *deed) {
	d.pressed(a)
	op := logic.Operation{Kind: operations[a.Kind], Index: a.Index, On: a.On, Value: int32(a.Value), Level: panel.Level(a.Level)}
	d.plan.Program.Operate(d.program, op, a.event)
}

// pressed logs what an operator does, once.
func (d *Drill) pressed(a *deed) {
	if a.event == 0 {
		a.event = d.add(sim.Event{Kind: Operated, Subject: a.Index, Value: int64(a.Kind), Extra: flag(a.On) | a.Value})
	}
}

// programSink logs what the program does and carries out what it demands.
type programSink struct {
	d   *Drill
	now time.Duration
}

// pairKinds are the changes whose subject is a pair of a cause and an effect.
var pairKinds = map[logic.ChangeKind]sim.Kind{
	logic.DelayStarted: DelayStarted, logic.DelayEnded: DelayEnded, logic.DelayCancelled: DelayCancelled,
	logic.DelayPaused: DelayPaused, logic.DelayRestarted: DelayRestarted, logic.DelayResumed: DelayResumed, logic.ActionChanged: ActionChanged,
	logic.DelayHurried: DelayHurried,
}

// Note logs a change of the program and carries out what follows from it.
func (s programSink) Note(c logic.Change) uint64 {
	event := s.d.add(s.event(&c))
	s.d.held(s.now, &c, event)
	s.follow(&c, event)
	return event
}

// event is what the log says of a change.
func (s programSink) event(c *logic.Change) sim.Event {
	e := sim.Event{Subject: c.Index, Value: flag(c.On), Parent: cmp.Or(c.Parent, s.d.halt.began), Also: slices.Clone(c.Also)}
	switch c.Kind {
	case logic.OperationRefused:
		e.Kind, e.Subject, e.Value, e.Extra = OperationRefused, c.Fact.Index, int64(c.Index), int64(c.Fact.Value)
	case logic.ModeScheduled:
		e.Kind, e.Subject, e.Value, e.Parent = ModeScheduled, 0, int64(c.Index), 0 // a schedule is the root of what follows
	case logic.TestChanged:
		e.Kind = TestChanged
	case logic.FireTested:
		e.Kind = FireTested
	case logic.ConditionChanged:
		e.Kind, e.Subject, e.Extra = ConditionChanged, 0, int64(c.Index)
	case logic.BuzzerChanged:
		e.Kind = BuzzerChanged
	case logic.OverrideMoved:
		e.Kind, e.Value = OverrideMoved, int64(c.Fact.Value)
	case logic.CauseChanged:
		e.Kind = CauseChanged
	case logic.EffectChanged:
		e.Kind, e.Value, e.Extra = EffectChanged, int64(c.State), int64(c.From)
	case logic.OutputDemanded:
		e.Kind, e.Value, e.Extra = OutputDemanded, int64(c.State), int64(c.From)
	case logic.Unlatched:
		e.Kind = LatchCleared
	case logic.SignalUnlatched:
		e.Kind, e.Subject, e.Extra = LatchCleared, c.Fact.Index, int64(c.Fact.Kind)
	case logic.PanelChanged:
		e.Kind, e.Extra = PanelChanged, int64(c.Fact.Value)
		e.Subject = int32(c.Fact.Kind)
	case logic.DisabledChanged:
		e.Kind, e.Extra = DisablementSet, int64(c.Fact.Kind)
	default:
		if heldEvent(&e, c) {
			break
		}
		kind, ok := pairKinds[c.Kind]
		if !ok {
			kind, e.Extra = ProgramChanged, int64(c.Kind)
		}
		e.Kind = kind
	}
	return e
}

// follow carries out what a change asks of lines, outputs and timers.
func (s programSink) follow(c *logic.Change, event uint64) {
	d := s.d
	switch c.Kind {
	case logic.ChainStopped:
		panic(&sim.BoundError{Bound: "evaluations that follow from the commanded state of an output alone", Limit: logic.ChainLimit, At: s.now})
	case logic.DisabledChanged:
		d.disabled(s.now, c.Fact, event)
	case logic.PanelReset:
		d.after(timer{at: s.now + d.plan.In.SwitchTime, kind: proofsAnew, event: event})
	case logic.OutputDemanded:
		d.demand(s.now, c.Index, c.State, line.Command{Strength: uint8(c.Strength), Order: c.Effect<<16 | c.Place, Group: c.Effect + 1}, event)
	case logic.Unlatched:
		p := &d.plan.In.Points[c.Index]
		d.fireChange = event
		d.lines[p.Loop].Rearm(s.now, p.Device, d.plan.In.ResetDrops)
		d.schedule(int(p.Loop))
		if d.points[c.Index].indicator {
			d.points[c.Index].indicator = false
			d.loadLater(c.Index, event)
		}
	}
}

// Demanded is the state that the panel demands of an output now.
func (d *Drill) Demanded(o int32) term.State { return d.plan.Program.Demand(d.program, int(o)) }

// Disabled reports whether an output is at rest because it, its module or its equipment is disabled.
func (d *Drill) Disabled(o int32) bool { return d.plan.Program.Disabled(d.program, int(o)) }

// Overridden is the override that rules an output, if one does.
func (d *Drill) Overridden(o int32) (override int, ok bool) {
	return d.plan.Program.Overridden(d.program, int(o))
}
