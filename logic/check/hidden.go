package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// hidden finds actions that never show: whenever one demands its state of an output, something
// stronger is demanded of it too (rule E6).
func (j *judge) hidden() {
	h := hiding{judge: j, byEffect: make([][]int, j.Program.Effects()), union: map[string]bdd.Node{}}
	for i := range j.Pairs {
		h.byEffect[j.Pairs[i].Effect] = append(h.byEffect[j.Pairs[i].Effect], i)
	}
	shows := make([]bool, len(j.beside))
	by := make([]int, len(j.beside)) // one more than a pair that hides the action
	for i := range j.Pairs {
		p := &j.Pairs[i]
		if p.Action < 0 || shows[p.Action] || p.Active == bdd.False {
			continue
		}
		hider := h.everywhere(i)
		shows[p.Action] = hider < 0
		by[p.Action] = hider + 1
	}
	if j.Space.Err() != nil {
		return
	}
	for action, pair := range by {
		if pair == 0 || shows[action] {
			continue
		}
		stronger := "stronger demands together"
		if q := &j.Pairs[pair-1]; q.Action != action {
			stronger = fmt.Sprintf("the `%s` of cause %q", q.State, j.cause(q.Cause))
		}
		j.add(finding.Warn("program.action-hidden", actionPath(action), fmt.Sprintf("action %d is always hidden", action+1),
			fmt.Sprintf("whenever it demands its state, %s overrides it on every output: take it out, or look at the delays", stronger)), commonPractice)
	}
}

// hiding looks for what hides pairs.
type hiding struct {
	*judge
	byEffect [][]int             // pairs
	union    map[string]bdd.Node // when something stronger is demanded, by effects and what it must outlast
}

// everywhere returns a pair that hides pair i on all its outputs, i itself where several do together, and -1 if
// it shows on one of them.
func (h *hiding) everywhere(i int) int {
	hider := -1
	for _, o := range h.Program.EffectOutputs(h.Pairs[i].Effect) {
		if hider = h.on(i, h.Program.OutputEffects(int(o))); hider < 0 {
			return -1
		}
	}
	return hider
}

// on is the same for one output, given the effects that it belongs to.
func (h *hiding) on(i int, effects []int32) int {
	p := &h.Pairs[i]
	for _, e := range effects {
		for _, q := range h.byEffect[e] {
			if h.hides(&h.Pairs[q], p) {
				return q
			}
		}
	}
	if p.Hold > 0 || p.For > 0 || p.State == term.Off || h.latches(p.Effect) {
		return -1
	}
	key := fmt.Sprint(effects, p.State, h.Program.Silenceable(p.Effect))
	node, ok := h.union[key]
	if !ok {
		node = h.immediate(effects, p)
		h.union[key] = node
	}
	if h.Space.Implies(p.Active, node) {
		return i
	}
	return -1
}

// latches tells whether an effect holds until reset what was once demanded.
func (j *judge) latches(effect int) bool { return j.file.GetEffects()[effect].GetUntil() == "reset" }

// sure tells whether an effect passes on whatever is demanded of it: it stands in no set that another may hold.
func (j *judge) sure(effect int) bool { return j.file.GetEffects()[effect].GetOneOf() == "" }

// lasts tells whether q goes on as long as p when both end, and is silenced no sooner.
func (j *judge) lasts(q, p *Pair) bool {
	return (j.latches(q.Effect) || !j.latches(p.Effect)) && (!j.Program.Silenceable(q.Effect) || j.Program.Silenceable(p.Effect))
}

// hides tells whether q is stronger than p and demanded all the time that p is. Its delay runs over
// the same cause, and is no longer.
func (j *judge) hides(q, p *Pair) bool {
	return q.State > p.State && q.For == 0 && q.After <= p.After && q.Hold >= p.Hold && (p.For == 0 || j.latches(q.Effect) && q.unless == bdd.False) &&
		j.sure(q.Effect) && j.lasts(q, p) && q.pause == bdd.False && q.restart == bdd.False && q.cancel == bdd.False && p.hurry == bdd.False &&
		j.Space.Implies(j.Space.And(j.Causes[p.Cause], j.Domain), j.Causes[q.Cause]) && j.Space.Implies(p.Active, j.Space.Not(q.unless)) &&
		(p.Hold == 0 || q.unless == bdd.False)
}

// immediate is when something stronger than p's state is demanded at once through effects that last as p's.
func (h *hiding) immediate(effects []int32, p *Pair) bdd.Node {
	var nodes []bdd.Node
	for _, e := range effects {
		for _, i := range h.byEffect[e] {
			if q := &h.Pairs[i]; q.State > p.State && q.After == 0 && q.For == 0 && h.sure(q.Effect) && h.lasts(q, p) {
				nodes = append(nodes, q.Active)
			}
		}
	}
	return h.Space.Or(nodes...)
}
