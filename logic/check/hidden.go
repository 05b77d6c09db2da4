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
	byEffect := make([][]int, j.Program.Effects())
	for i := range j.Pairs {
		byEffect[j.Pairs[i].Effect] = append(byEffect[j.Pairs[i].Effect], i)
	}
	shows := make([]bool, len(j.beside))
	by := make([]int, len(j.beside)) // a pair that hides the action, and one more
	union := map[string]bdd.Node{}
	for i := range j.Pairs {
		p := &j.Pairs[i]
		if p.Action < 0 || shows[p.Action] || p.Active == bdd.False {
			continue
		}
		outputs := j.Program.EffectOutputs(p.Effect)
		for _, o := range outputs {
			effects := j.Program.OutputEffects(int(o))
			hider := -1
			for _, e := range effects {
				for _, q := range byEffect[e] {
					if j.hides(&j.Pairs[q], p) {
						hider = q
					}
				}
			}
			if hider < 0 && p.Hold == 0 && p.For == 0 && !j.latches(p.Effect) {
				key := fmt.Sprint(effects, p.State, j.Program.Silenceable(p.Effect))
				node, ok := union[key]
				if !ok {
					node = j.immediate(effects, byEffect, p)
					union[key] = node
				}
				if p.State != term.Off && j.Space.Implies(p.Active, node) {
					hider = i
				}
			}
			if hider < 0 {
				shows[p.Action] = true
				break
			}
			by[p.Action] = hider + 1
		}
		if len(outputs) == 0 {
			shows[p.Action] = true
		}
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
func (j *judge) immediate(effects []int32, byEffect [][]int, p *Pair) bdd.Node {
	var nodes []bdd.Node
	for _, e := range effects {
		for _, i := range byEffect[e] {
			if q := &j.Pairs[i]; q.State > p.State && q.After == 0 && q.For == 0 && j.sure(q.Effect) && j.lasts(q, p) {
				nodes = append(nodes, q.Active)
			}
		}
	}
	return j.Space.Or(nodes...)
}
