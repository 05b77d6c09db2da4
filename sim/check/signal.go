package check

import (
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic/bdd"
	program "loopdrill.dev/loopdrill/logic/check"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
)

// coincidences finds `and` where `or` was probably meant: a cause of fires that no device makes true alone, and outputs
// that nothing else operates from one device. A cause that counts on purpose, in at_least or in a number, is believed,
// and so is one that releases an extinguishing agent.
func (j *judge) coincidences() {
	operated := make([]bool, len(j.Installation.Outputs))
	for i := range j.walks {
		for _, d := range j.walks[i].demands {
			operated[d.output] = operated[d.output] || d.state != term.Rest
		}
	}
	for i, c := range j.Message.GetProgram().GetCauses() {
		if !counts(c.GetWhen()) && !j.discharges(i) {
			j.coincidence(i, operated)
		}
	}
}

// coincidence judges one cause, with the `unless` of its actions, by the outputs that single devices operate.
func (j *judge) coincidence(i int, operated []bool) {
	c := j.Message.GetProgram().GetCauses()[i]
	alone := !strings.Contains(c.GetWhen(), "&&") || j.alone(j.analysis.Causes[i])
	for k := range j.analysis.Pairs {
		p := &j.analysis.Pairs[k]
		if p.Cause != i || p.State == term.Off {
			continue
		}
		path, asks := fmt.Sprintf("program.causes[%d].when", i), fmt.Sprintf("cause %q asks", c.GetCause())
		if alone {
			if !j.guarded(p) {
				continue
			}
			path, asks = p.Path+".unless", fmt.Sprintf("cause %q and `unless` ask", c.GetCause())
		}
		outputs := j.Program.EffectOutputs(p.Effect)
		at := slices.IndexFunc(outputs, func(o int32) bool { return !operated[o] })
		facts, ok := j.analysis.Space.Witness(p.Active)
		if at < 0 || !ok {
			continue
		}
		j.add(finding.Warn("program.coincidence-only", path, fmt.Sprintf("no single device operates %q: %s for several at once", j.Installation.Outputs[outputs[at]].Label, asks),
			fmt.Sprintf("it takes %s: write || if each of them is enough, or count in so many words with at_least", j.analysis.Words(facts))), commonPractice)
		return
	}
}

// guarded tells whether the `unless` of an action makes a coincidence of what one device would bring about, without
// counting in so many words.
func (j *judge) guarded(p *program.Pair) bool {
	if p.Action < 0 {
		return false
	}
	unless := j.Message.GetProgram().GetActions()[p.Action].GetUnless()
	return unless != "" && !counts(unless) && !j.alone(p.Active)
}

// counts tells whether a condition counts on purpose.
func counts(text string) bool {
	return strings.Contains(text, "at_least") || strings.Contains(text, "_in_fire")
}

// alone tells whether some single fire makes a condition true, whatever else than fires is so; or the condition needs none.
func (j *judge) alone(condition bdd.Node) bool {
	s := j.analysis.Space
	node := s.And(condition, j.analysis.Domain)
	holds := func(only int32) bool {
		return s.Assume(node, func(f term.Fact) (holds, known bool) {
			return f.Index == only, f.Kind == term.DeviceFire
		}) != bdd.False
	}
	if node == bdd.False || holds(-1) {
		return true
	}
	for _, f := range s.Support(node) {
		if f.Kind == term.DeviceFire && holds(f.Index) {
			return true
		}
	}
	return false
}

// discharges tells whether a cause operates an extinguishing release.
func (j *judge) discharges(cause int) bool {
	for i := range j.analysis.Pairs {
		p := &j.analysis.Pairs[i]
		if p.Cause != cause {
			continue
		}
		for _, o := range j.Program.EffectOutputs(p.Effect) {
			if e, _ := j.input(o); p.State == term.Release || e >= 0 && j.Message.GetEquipment()[e].GetRelease() != nil {
				return true
			}
		}
	}
	return false
}

// rows: every fire input must make some cause true, and be asked for by some row of the required matrix: every input
// is verified against it.
func (j *judge) rows() {
	read, asked := j.read(), j.asked()
	var unread, unasked []int32
	for p := range j.Installation.Points {
		if !j.Installation.Points[p].Input.Fire() {
			continue
		}
		if !read[p] {
			unread = append(unread, int32(p))
		}
		if !asked[p] {
			unasked = append(unasked, int32(p))
		}
	}
	if len(unread) > 0 && len(j.analysis.Pairs) > 0 {
		j.add(finding.Warn("program.signal-without-effect", j.path(unread[0]), "nothing follows from a fire at "+j.labels(unread),
			"no cause with an action becomes true by it: name its zone, group or label in one"), commonPractice)
	}
	if len(unasked) > 0 && j.Matrix != nil {
		j.add(finding.Warn("matrix.signal-without-row", j.path(unasked[0]), "no row of the required matrix asks for "+j.labels(unasked),
			"what is to follow from it is written nowhere, and `verify` does not try it: add it to the `when` of a row"), "common practice: every input is verified against the matrix")
	}
}

// read tells, by point, whether its signal can make a cause with an action true: to end or inhibit one is not enough.
func (j *judge) read() []bool {
	read := make([]bool, len(j.Installation.Points))
	for i := range j.analysis.Pairs {
		p := &j.analysis.Pairs[i]
		if i > 0 && j.analysis.Pairs[i-1].Cause == p.Cause && j.analysis.Pairs[i-1].Action == p.Action {
			continue // pairs of one cause stand together
		}
		for _, f := range j.analysis.Space.Raises(p.Active) {
			if f.Kind == term.DeviceFire || f.Kind == term.DeviceActive {
				read[f.Index] = true
			}
		}
	}
	return read
}

// asked tells, by point, whether a row of the matrix does.
func (j *judge) asked() []bool {
	asked := make([]bool, len(j.Installation.Points))
	if j.Matrix == nil {
		return asked
	}
	for i := range j.Matrix.Rows {
		when := j.Matrix.Rows[i].When
		if when == nil {
			continue
		}
		when.Each(func(f term.Fact) {
			switch f.Kind {
			case term.DeviceFire, term.DeviceActive:
				asked[f.Index] = true
			case term.CauseTrue:
				for _, f := range j.analysis.Space.Support(j.analysis.Causes[f.Index]) {
					if f.Kind == term.DeviceFire {
						asked[f.Index] = true
					}
				}
			}
		})
	}
	return asked
}
