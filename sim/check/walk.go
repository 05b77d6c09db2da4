package check

import (
	"time"

	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// mostTurns bounds the evaluations of one walk: a program that switches to and fro for ever is no reason
// to go on.
const mostTurns = 10_000

// demand is one change of what an output is to do.
type demand struct {
	output int32
	effect int32 // -1 for none
	state  term.State
	at     time.Duration
}

// walk is what follows from one signal or one act of an operator, everything else at rest.
type walk struct {
	point   int32            // that signals; -1 for an act
	act     *logic.Operation // nil for a signal
	mode    int32
	demands []demand // in the order in which they came
	beside  []int32  // what signals with it, at the same instant
}

// first returns when an output is first demanded in another state than rest, and whether it ever is.
func (w *walk) first(output int32) (demand, bool) {
	for _, d := range w.demands {
		if d.output == output && d.state != term.Rest {
			return d, true
		}
	}
	return demand{}, false
}

// at is what an output is demanded to do at an instant.
func (w *walk) at(output int32, t time.Duration) term.State {
	state := term.Rest
	for _, d := range w.demands {
		if d.output == output && d.at <= t {
			state = d.state
		}
	}
	return state
}

// walker walks one program.
type walker struct {
	in      *loop.Installation
	program *logic.Program
	rest    [2]*logic.State // by mode, evaluated once
	horizon time.Duration
	proofs  [][]term.Fact // by output: what shows when its equipment has answered
	scratch *logic.State
}

// plain is the program in which every fire signal counts at once, without what zones hold back; nil where that
// cannot be.
func plain(site *pb.Site, w *term.World) *logic.Program {
	m := proto.CloneOf(site)
	m.Program.Detection = nil
	program, found := logic.Compile(m, w)
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		return nil
	}
	return program
}

// newWalker prepares a program to be walked.
func newWalker(program *logic.Program, in *loop.Installation) *walker {
	k := &walker{in: in, program: program, horizon: program.LongestDelay() + program.LongestHeld() + time.Minute, proofs: make([][]term.Fact, len(in.Outputs))}
	for o := range in.Outputs {
		e := in.Outputs[o].Equipment
		if e < 0 {
			continue
		}
		k.proofs[o] = append(k.proofs[o], term.Fact{Kind: term.EquipmentProven, Index: e})
		for p := range in.Points {
			if pt := &in.Points[p]; pt.ProvesEquipment == e {
				if level, ok := in.Plant.Proof(int(e), int(pt.ProvesSignal)); ok && level {
					k.proofs[o] = append(k.proofs[o], term.Fact{Kind: term.DeviceActive, Index: int32(p)})
				}
			}
		}
	}
	for mode := range k.rest {
		s := program.NewState()
		program.Evaluate(s, 0, &ear{})
		program.Operate(s, logic.Operation{Kind: logic.Mode, Value: int32(mode)}, 1)
		program.Evaluate(s, 0, &ear{})
		k.rest[mode] = s
	}
	k.scratch = program.NewState()
	return k
}

// ear notes what is demanded of outputs.
type ear struct {
	events uint64
	heard  []demand
	now    time.Duration
}

func (e *ear) Note(c logic.Change) uint64 {
	if e.events++; c.Kind == logic.OutputDemanded {
		e.heard = append(e.heard, demand{output: c.Index, effect: c.Effect, state: c.State, at: e.now})
	}
	return e.events
}

// signal is what a point can signal, or an act of an operator, some time after the quiescent start.
type signal struct {
	point int32
	act   *logic.Operation
	at    time.Duration
}

// run signals and waits for all that follows. With proofs equipment answers at once.
func (k *walker) run(mode int32, proofs bool, signals ...signal) []demand {
	s, e := k.scratch, &ear{}
	s.CopyFrom(k.rest[mode])
	last, next := time.Duration(0), 0
	if len(signals) > 0 {
		last = signals[len(signals)-1].at
	}
	for range mostTurns {
		due, ok := k.program.Next(s)
		if next < len(signals) && (!ok || signals[next].at <= due) {
			due = signals[next].at
			for ; next < len(signals) && signals[next].at == due; next++ {
				k.set(s, signals[next], e.events)
			}
		} else if !ok || due > last+k.horizon {
			break
		}
		k.evaluate(s, e, due, proofs)
	}
	return e.heard
}

// mostAnswers bounds how often equipment answers in one instant.
const mostAnswers = 20

// evaluate brings the program to an instant, and with proofs lets equipment answer what is demanded in it.
func (k *walker) evaluate(s *logic.State, e *ear, at time.Duration, proofs bool) {
	e.now = at
	before := len(e.heard)
	k.program.Evaluate(s, at, e)
	for turn := 0; proofs && turn < mostAnswers && len(e.heard) > before; turn++ {
		answered := false
		for _, d := range e.heard[before:] {
			for _, f := range k.proofs[d.output] {
				if on := d.state != term.Rest; k.program.Fact(s, f) != on {
					k.program.Set(s, f, on, e.events)
					answered = true
				}
			}
		}
		before = len(e.heard)
		if answered {
			k.program.Evaluate(s, at, e)
		}
	}
}

// set makes a point signal whatever it can, or does the act.
func (k *walker) set(s *logic.State, what signal, event uint64) {
	if what.act != nil {
		k.program.Operate(s, *what.act, event)
		return
	}
	point := what.point
	switch input := k.in.Points[point].Input; {
	case input.Fire():
		k.program.Set(s, term.Fact{Kind: term.DeviceFire, Index: point}, true, event)
	case input == loop.Supervisory:
		k.program.Set(s, term.Fact{Kind: term.DeviceSupervisory, Index: point}, true, event)
	}
	k.program.Set(s, term.Fact{Kind: term.DeviceActive, Index: point}, true, event)
}

// alone walks one signal or act by day and by night; by night only where it makes a difference.
func (k *walker) alone(what signal, modes bool) []walk {
	list := []walk{{point: what.point, act: what.act, mode: term.Day, demands: k.run(term.Day, true, what)}}
	if modes {
		list = append(list, walk{point: what.point, act: what.act, mode: term.Night, demands: k.run(term.Night, true, what)})
	}
	return list
}

// together walks points that signal at one instant, as alone does.
func (k *walker) together(points []int32, modes bool) (list []walk) {
	var signals []signal
	for _, p := range points {
		signals = append(signals, signal{point: p})
	}
	for _, mode := range []int32{term.Day, term.Night} {
		if mode == term.Day || modes {
			list = append(list, walk{point: points[0], mode: mode, demands: k.run(mode, true, signals...), beside: points[1:]})
		}
	}
	return list
}

// points are those that signal at the beginning of a walk.
func (w *walk) points() []int32 { return append([]int32{w.point}, w.beside...) }

// begins is what a walk begins with.
func (w *walk) begins() signal { return signal{point: w.point, act: w.act} }
