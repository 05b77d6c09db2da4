package service

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// never marks a time that a chain does not have.
const never = time.Duration(-1)

// activation is the times of one output's activation, read from the chain of events that led to
// it. A time that the chain does not have is never: an operator's evacuation has no t0.
type activation struct {
	t0, t1, t2, t3, t4 time.Duration
	state              term.State
	signal             *loop.Point // whose output t0 is
}

// activationOf reads the chain that ends in event n, an OutputOperated.
func activationOf(plan *drill.Plan, log []sim.Event, n uint64) activation {
	last := &log[n-1]
	a := activation{t0: never, t1: never, t2: never, t3: never, t4: last.At, state: term.State(last.Value)}
	for n = last.Parent; n > 0 && a.t0 == never; n = log[n-1].Parent {
		e := &log[n-1]
		switch {
		case a.t2 == never && a.t3 == never && e.Kind == drill.CommandHeard:
			a.t3 = e.At
		case a.t2 == never && e.Kind == drill.OutputDemanded:
			a.t2 = e.At
		case a.t2 != never && a.t1 == never && decides(e.Kind):
			a.t1 = e.At
		case a.t1 != never && e.Kind == drill.InputChanged:
			a.t0, a.signal = e.At, &plan.In.Points[e.Subject]
		}
	}
	if a.t3 == never {
		a.t3 = a.t2 // an output on the panel has no command
	}
	return a
}

// decides reports whether the panel takes a signal as confirmed with an event of this kind.
// Technical inputs have no decision: their reading is it.
func decides(k sim.Kind) bool {
	switch k {
	case drill.FireDecided, drill.PrealarmDecided, drill.SupervisoryDecided, drill.ActiveRead:
		return true
	}
	return false
}

// response is t0 -> t4 less the delay on purpose, where the chain has them.
func (a *activation) response() (time.Duration, bool) {
	return a.t4 - a.t0 - (a.t2 - a.t1), a.t0 != never
}

// target is the response that the site asks for; only fire signals have one.
func (a *activation) target(in *loop.Installation) (time.Duration, bool) {
	switch {
	case a.signal == nil || !a.signal.Input.Fire():
		return 0, false
	case a.signal.Input == loop.CallPoint:
		return in.Targets.CallPoint, true
	}
	return in.Targets.Detector, true
}

// measure counts the events of a log after number since, and the activations among them.
func (m *Metrics) measure(plan *drill.Plan, log []sim.Event, since int) {
	for i := since; i < len(log); i++ {
		e := &log[i]
		m.events.WithLabelValues(drill.VisibilityOf(e.Kind).String()).Inc()
		switch {
		case e.Kind == drill.OutputOperated && term.State(e.Value) != term.Rest:
			m.activated(plan, activationOf(plan, log, uint64(i)+1))
		case e.Kind == drill.EquipmentDone:
			m.done(log, e)
		}
	}
}

func (m *Metrics) activated(plan *drill.Plan, a activation) {
	state := a.state.String()
	between := func(stage string, from, to time.Duration) {
		if from != never && to != never {
			m.activation.WithLabelValues(stage, state).Observe((to - from).Seconds())
		}
	}
	between(stageDecided, a.t0, a.t1)
	between(stageDemanded, a.t1, a.t2)
	between(stageCommanded, a.t2, a.t3)
	between(stageOperated, a.t3, a.t4)
	response, ok := a.response()
	if !ok {
		return
	}
	m.activation.WithLabelValues(stageResponse, state).Observe(response.Seconds())
	if target, ok := a.target(plan.In); ok && response > target {
		m.late.WithLabelValues(state).Inc()
	}
}

// done measures t4 -> t5 of equipment that has done what an output's activation asked for.
func (m *Metrics) done(log []sim.Event, e *sim.Event) {
	for n := e.Parent; n > 0; n = log[n-1].Parent {
		if from := &log[n-1]; from.Kind == drill.OutputOperated {
			if state := term.State(from.Value); state != term.Rest {
				m.activation.WithLabelValues(stageDone, state.String()).Observe((e.At - from.At).Seconds())
			}
			return
		}
	}
}
