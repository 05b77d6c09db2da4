package drill

import (
	"time"

	"loopdrill.dev/loopdrill/loop/line"
)

// poller is the polling of one loop in a running drill. There is one implementation, and a
// second in the tests that executes every slot: this is the seam between them.
type poller interface {
	Next() (time.Duration, line.Moment, bool)
	Advance(now time.Duration, m line.Moment, sink line.Sink)
	Preset(i int32, active bool, event uint64)
	SetInput(now time.Duration, i int32, active, prealarm bool, event uint64)
	SetPresence(now time.Duration, i int32, p line.Presence, event uint64)
	SetOverload(now time.Duration, on bool)
	SetOutput(now time.Duration, stage line.Stage, i int32, o line.OutputState, event uint64)
	SetCircuit(now time.Duration, stage line.Stage, i int32, c line.Circuit, event uint64)
	Watch(now time.Duration, on bool, event uint64)
	SetErrorRate(now time.Duration, rate float64, sink line.Sink)
	Rearm(now time.Duration, i int32, forget bool)
	Send(now time.Duration, c line.Command)
	Presence(i int32) line.Presence
	Fault(i int32) bool
	OutputFault(i int32) bool
	SampleAfter(i int32, t time.Duration) time.Duration
	Round() time.Duration
	Pending() int
	Stop(now time.Duration)
	Start(now time.Duration, sink line.Sink)
	Presume(i int32, active bool)
	Copy() poller
	CopyFrom(poller)
}

// lazy is package line's own model as a poller.
type lazy struct {
	l *line.Line
	s *line.State
}

func newLazy(l *line.Line, sink line.Sink) poller { return &lazy{l, l.NewState(sink)} }

func (p *lazy) Next() (time.Duration, line.Moment, bool) { return p.l.Next(p.s) }

func (p *lazy) Advance(now time.Duration, m line.Moment, sink line.Sink) {
	p.l.Advance(p.s, now, m, sink)
}

func (p *lazy) Preset(i int32, active bool, event uint64) { p.l.Preset(p.s, i, active, event) }

func (p *lazy) SetInput(now time.Duration, i int32, active, prealarm bool, event uint64) {
	p.l.SetInput(p.s, now, i, active, prealarm, event)
}

func (p *lazy) SetPresence(now time.Duration, i int32, at line.Presence, event uint64) {
	p.l.SetPresence(p.s, now, i, at, event)
}

func (p *lazy) SetOverload(now time.Duration, on bool) { p.l.SetOverload(p.s, now, on) }

func (p *lazy) SetOutput(now time.Duration, stage line.Stage, i int32, o line.OutputState, event uint64) {
	p.l.SetOutput(p.s, now, stage, i, o, event)
}

func (p *lazy) SetCircuit(now time.Duration, stage line.Stage, i int32, c line.Circuit, event uint64) {
	p.l.SetCircuit(p.s, now, stage, i, c, event)
}

func (p *lazy) Watch(now time.Duration, on bool, event uint64) { p.l.Watch(p.s, now, on, event) }

func (p *lazy) SetErrorRate(now time.Duration, rate float64, sink line.Sink) {
	p.l.SetErrorRate(p.s, now, rate, sink)
}

func (p *lazy) Rearm(now time.Duration, i int32, forget bool) { p.l.Rearm(p.s, now, i, forget) }
func (p *lazy) Send(now time.Duration, c line.Command)        { p.l.Send(p.s, now, c) }
func (p *lazy) Presence(i int32) line.Presence                { return p.s.Presence(i) }
func (p *lazy) Fault(i int32) bool                            { return p.s.Fault(i) }

func (p *lazy) OutputFault(i int32) bool { return p.s.OutputFault(i) }

func (p *lazy) SampleAfter(i int32, t time.Duration) time.Duration {
	return p.l.SampleAfter(p.s, i, t)
}

func (p *lazy) Round() time.Duration { return p.l.Round(p.s) }
func (p *lazy) Pending() int         { return p.s.Pending() }

func (p *lazy) Stop(now time.Duration)                  { p.l.Stop(p.s, now) }
func (p *lazy) Start(now time.Duration, sink line.Sink) { p.l.Start(p.s, now, sink) }
func (p *lazy) Presume(i int32, active bool)            { p.l.Presume(p.s, i, active) }

func (p *lazy) Copy() poller {
	s := &line.State{}
	s.CopyFrom(p.s)
	return &lazy{p.l, s}
}

func (p *lazy) CopyFrom(o poller) { p.s.CopyFrom(o.(*lazy).s) }
