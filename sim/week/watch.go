package week

import (
	"fmt"
	"time"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Names of the invariants.
const (
	Fire     = "fire"
	Required = "required"
	Rest     = "rest"
	Cause    = "cause"
)

// Violation is an invariant that did not hold.
type Violation struct {
	Invariant string
	At        time.Duration
	Text      string // what was seen
	Claim     string // a condition that holds at At where the invariant does
	Subject   string // what it is about: two violations of one invariant and subject are the same mistake
}

// String tells it in one line.
func (v *Violation) String() string {
	return fmt.Sprintf("%s: at %s: %s", v.Invariant, drill.Seconds(v.At), v.Text)
}

// view is what is watched of a drill; tests put one there that lies.
type view interface {
	Fact(f term.Fact) bool
	Demanded(o int32) term.State
	Output(o int32) term.State
	Silenced(o int32) term.State
	Inhibited(o int32) bool
	Overloaded(l int32) bool
	Log() *sim.Log
}

// watch checks a run instant by instant.
type watch struct {
	*site
	view
	ledger  *ledger
	begins  time.Duration // after the beginning of a week
	rules   []rule
	fires   *term.Term      // the panel indicates fire first
	read    uint64          // events looked at
	roots   []sim.Kind      // by event: the kind of the event that its chain begins with
	latched []bool          // by point: its fire was taken and not cleared
	count   int             // of these
	wrong   []time.Duration // by output: since when it is not as demanded though its path is whole; -1
	reset   time.Duration   // the last reset; -1
	now     time.Duration
}

func newWatch(s *site, v view, l *ledger) *watch {
	fires, problems := term.Parse("panel.indicated == 'fire'", s.plan.World, term.Expectation)
	if len(problems) > 0 {
		panic("week: a condition of its own has problems")
	}
	w := &watch{site: s, view: v, ledger: l, rules: s.reserveless(), fires: fires, reset: -1,
		latched: make([]bool, len(s.plan.In.Points)), wrong: make([]time.Duration, len(s.plan.In.Outputs))}
	for o := range w.wrong {
		w.wrong[o] = -1
	}
	return w
}

// check looks at the drill after an instant. It returns the first invariant that does not hold, nil
// for none.
func (w *watch) check(now time.Duration) *Violation {
	w.now = now
	events := w.Log().Since(w.read)
	if v := w.follow(events); v != nil {
		return v
	}
	w.read += uint64(len(events))
	if len(events) == 0 && !w.waiting() {
		return nil
	}
	if w.Fact(term.Fact{Kind: term.PanelStopped}) {
		w.forget()
		return nil
	}
	if v := w.fire(); v != nil {
		return v
	}
	if v := w.moves(); v != nil {
		return v
	}
	return w.demands()
}

// forget begins everything anew: a panel that has stopped knows nothing when it is back.
func (w *watch) forget() {
	clear(w.latched)
	w.count = 0
	for o := range w.wrong {
		w.wrong[o] = -1
	}
	for i := range w.rules {
		w.rules[i].since = -1
	}
}

// waiting reports whether some output has still to do what is demanded.
func (w *watch) waiting() bool {
	for _, since := range w.wrong {
		if since >= 0 {
			return true
		}
	}
	return false
}

// follow reads new events: where their chains begin, which fires are taken and cleared.
func (w *watch) follow(events []sim.Event) *Violation {
	for i := range events {
		e := &events[i]
		root := e.Kind
		if e.Parent != 0 {
			root = w.roots[e.Parent-1]
		}
		w.roots = append(w.roots, root)
		if operation(e.Kind) && !w.mayBegin(root) {
			return w.orphan(e, root)
		}
		switch {
		case e.Kind == drill.ModeScheduled:
			w.ledger.scheduled()
		case e.Kind == drill.Operated && drill.ActKind(e.Value) == drill.ActReset:
			w.reset = e.At
		case e.Kind == drill.FireDecided:
			if v := w.taken(events, e); v != nil {
				return v
			}
		case e.Kind == drill.LatchCleared && e.Extra == 0 && w.latched[e.Subject]:
			w.latched[e.Subject] = false
			w.count--
			if w.reset != e.At {
				return &Violation{Fire, e.At, w.label(e.Subject) + ": its fire is cleared, and nobody resets", fmt.Sprintf("device('%s').fire", w.label(e.Subject)), w.label(e.Subject)}
			}
		}
	}
	return nil
}

// taken checks that a decision becomes a latched fire, unless the panel says of the same device why it
// does not: disabled, in test, held, verified, investigated, or reset at the same instant.
func (w *watch) taken(events []sim.Event, e *sim.Event) *Violation {
	if w.Fact(fireOf(e.Subject)) {
		if !w.latched[e.Subject] {
			w.latched[e.Subject] = true
			w.count++
		}
		return nil
	}
	for i := range events {
		why := &events[i]
		if why.Subject != e.Subject {
			continue
		}
		switch why.Kind {
		case drill.FireTested, drill.SignalHeld, drill.SignalDropped, drill.VerificationStarted, drill.InvestigationStarted, drill.LatchCleared:
			return nil
		case drill.ProgramChanged:
			if logic.ChangeKind(why.Extra) == logic.FireWithheld {
				return nil
			}
		}
	}
	label := w.label(e.Subject)
	return &Violation{Fire, e.At, label + ": its fire is decided and not taken", fmt.Sprintf("device('%s').fire", label), label}
}

func (w *watch) label(point int32) string { return w.plan.In.Points[point].Label }

func fireOf(point int32) term.Fact { return term.Fact{Kind: term.DeviceFire, Index: point} }

// operation reports whether an event is something that happens on the site because of the panel.
func operation(k sim.Kind) bool {
	switch k {
	case drill.CauseChanged, drill.ActionChanged, drill.EffectChanged, drill.OutputDemanded, drill.OutputOperated, drill.LoadChanged,
		drill.EquipmentChanged, drill.SignalChanged, drill.EquipmentDone:
		return true
	}
	return false
}

// mayBegin reports whether a chain may begin with an event: a stimulus, an operator, a schedule, a
// fault or its repair; the very start counts until everything has happened that is true at rest.
func (w *watch) mayBegin(root sim.Kind) bool {
	switch root {
	case drill.StimulusApplied, drill.Operated, drill.FaultInjected, drill.FaultRepaired, drill.ModeScheduled:
		return true
	case drill.Start:
		return w.now <= w.settle()
	}
	return false
}

func (w *watch) orphan(e *sim.Event, root sim.Kind) *Violation {
	v := &Violation{Invariant: Cause, At: e.At, Subject: w.plan.SubjectOf(e),
		Text: fmt.Sprintf("%s, and nothing made it so: its chain begins with %s", w.plan.Describe(e), drill.KindName(root))}
	if e.Kind == drill.OutputOperated {
		v.Claim = fmt.Sprintf("output('%s').state == '%s'", v.Subject, term.State(e.Extra))
	}
	return v
}

// settle is how long what follows from one instant may take.
func (w *watch) settle() time.Duration {
	return w.plan.Program.LongestDelay() + w.plan.In.Plant.LongestTime() + time.Hour
}

// fire checks that a fire that was taken is still there, and is what the panel indicates.
func (w *watch) fire() *Violation {
	if w.count == 0 {
		return nil
	}
	for point, is := range w.latched {
		if is && !w.Fact(fireOf(int32(point))) {
			label := w.label(int32(point))
			return &Violation{Fire, w.now, label + ": its fire is forgotten", fmt.Sprintf("device('%s').fire", label), label}
		}
	}
	if !w.fires.Eval(w.Fact) {
		return &Violation{Fire, w.now, "a fire is latched, and the panel does not indicate it first", "panel.indicated == 'fire'", "the panel"}
	}
	return nil
}

// moves checks that outputs do what is demanded of them while their path is whole.
func (w *watch) moves() *Violation {
	limit := w.plan.In.Targets.Detector
	for o := range w.wrong {
		index := int32(o)
		want, is := w.Demanded(index), w.Output(index)
		switch {
		case want == is || !w.reached(index):
			w.wrong[o] = -1
		case w.wrong[o] < 0:
			w.wrong[o] = w.now
		case w.now-w.wrong[o] > limit:
			label := w.plan.In.Outputs[o].Label
			return &Violation{Required, w.now, fmt.Sprintf("%s is %s, and %s is demanded since %s with its path whole", label, is, want, drill.Seconds(w.wrong[o])),
				fmt.Sprintf("output('%s').state == '%s'", label, want), label}
		}
	}
	return nil
}

// reached reports whether the path of an output is whole: its module is fed and answers, and no fault
// stands on its module, its circuit, its supply or the replies of its loop. What an overloaded loop cannot
// carry must show as an output fault.
func (w *watch) reached(o int32) bool {
	if w.ledger.harms(o) {
		return false
	}
	point := w.plan.In.Outputs[o].Point
	if l := w.plan.LoopOf(o); l >= 0 && w.Overloaded(l) && w.Fact(term.Fact{Kind: term.OutputFault, Index: o}) {
		return false
	}
	return point < 0 || w.Fact(term.Fact{Kind: term.DeviceFed, Index: point}) && w.Fact(term.Fact{Kind: term.DeviceReachable, Index: point})
}
