package week

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// rule is one pair of a cause and an effect that demands its state without reserve: no unless, no
// pause, no pulse, no choice among effects. Whoever writes it counts on it.
type rule struct {
	cause   int32
	after   time.Duration
	state   term.State
	silence bool // silence removes it
	outputs []int32
	since   time.Duration // the cause is true; -1
}

// reserveless lists the rules of a program.
func (s *site) reserveless() []rule {
	var rules []rule
	actions, effects := s.message.GetProgram().GetActions(), s.message.GetProgram().GetEffects()
	for i := range s.plan.Program.Pairs() {
		p := s.plan.Program.Pair(i)
		if p.Action < 0 || reserved(actions[p.Action]) || effects[p.Effect].GetOneOf() != "" || p.State == term.Off {
			continue
		}
		r := rule{cause: int32(p.Cause), after: p.After, state: p.State, silence: s.plan.Program.Silenceable(p.Effect), since: -1}
		for _, o := range s.plan.Program.EffectOutputs(p.Effect) {
			if !s.switched(o) {
				r.outputs = append(r.outputs, o)
			}
		}
		rules = append(rules, r)
	}
	return rules
}

// reserved reports whether an action may hold back by itself.
func reserved(a *pb.Action) bool {
	return a.GetUnless() != "" || a.GetPauseWhile() != "" || a.GetRestartWhile() != "" || a.GetCancelWhen() != "" || a.GetHurryWhen() != "" || a.GetFor() != nil
}

// switched reports whether a switch stands above an output: whoever moves it is the master.
func (s *site) switched(o int32) bool {
	program := s.message.GetProgram()
	for _, e := range s.plan.Program.OutputEffects(int(o)) {
		id := program.GetEffects()[e].GetEffect()
		for _, sw := range program.GetOverrides() {
			if slices.Contains(sw.GetEffects(), id) || slices.Contains(sw.GetOpposes(), id) {
				return true
			}
		}
	}
	return false
}

// demands checks that what causes ask for without reserve is demanded.
func (w *watch) demands() *Violation {
	for i := range w.rules {
		r := &w.rules[i]
		if !w.Fact(term.Fact{Kind: term.CauseTrue, Index: r.cause}) {
			r.since = -1
			continue
		}
		if r.since < 0 || w.reset == w.now && w.now-r.since <= r.after { // a delay that has not run out begins anew
			r.since = w.now
		}
		if w.now-r.since < r.after {
			continue
		}
		for _, o := range r.outputs {
			if w.Demanded(o) >= r.state || w.kept(r, o) {
				continue
			}
			label := w.plan.In.Outputs[o].Label
			return &Violation{Required, w.now, fmt.Sprintf("cause %s is true since %s, and %s is not demanded of %s", w.plan.World.Causes[r.cause], drill.Seconds(r.since), r.state, label),
				fmt.Sprintf("!cause('%s') || output('%s').commanded == '%s'", w.plan.World.Causes[r.cause], label, r.state), label}
		}
	}
	return nil
}

// kept reports whether somebody keeps an output at rest: it is silenced, disabled or inhibited.
func (w *watch) kept(r *rule, o int32) bool {
	out := &w.plan.In.Outputs[o]
	return r.silence && w.Silenced(o) >= r.state || w.Inhibited(o) || w.Fact(term.Fact{Kind: term.OutputDisabled, Index: o}) ||
		out.Point >= 0 && w.Fact(term.Fact{Kind: term.DeviceDisabled, Index: out.Point}) ||
		out.Equipment >= 0 && w.Fact(term.Fact{Kind: term.EquipmentDisabled, Index: out.Equipment})
}
