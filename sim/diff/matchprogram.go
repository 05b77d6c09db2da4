package diff

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// pairProgram matches what the program names. Whether two causes or actions are the same is decided by
// their conditions; the matching of causes and effects only serves what refers to them by id.
func (p *pairing) pairProgram() {
	program := func(s int) *pb.Program { return p.built[s].Site.GetProgram() }
	sizes := func(n func(*pb.Program) int) (int, int) { return n(program(0)), n(program(1)) }

	a, b := sizes(func(m *pb.Program) int { return len(m.GetControls()) })
	p.controls = match(a, b, func(s, i int) string { return program(s).GetControls()[i].GetControl() },
		func(s, i int) string { return p.use(s, "control", program(s).GetControls()[i].GetControl()) })
	a, b = sizes(func(m *pb.Program) int { return len(m.GetEffects()) })
	p.effects = match(a, b, func(s, i int) string { return program(s).GetEffects()[i].GetEffect() },
		func(s, i int) string { return p.effectKey(s, program(s).GetEffects()[i], true) },
		func(s, i int) string { return p.effectKey(s, program(s).GetEffects()[i], false) })
	a, b = sizes(func(m *pb.Program) int { return len(m.GetCauses()) })
	p.causes = match(a, b, func(s, i int) string { return program(s).GetCauses()[i].GetCause() },
		func(s, i int) string { return "when " + program(s).GetCauses()[i].GetWhen() },
		func(s, i int) string { return "title " + program(s).GetCauses()[i].GetTitle() })
	a, b = sizes(func(m *pb.Program) int { return len(m.GetOverrides()) })
	p.overrides = match(a, b, func(s, i int) string { return program(s).GetOverrides()[i].GetOverride() },
		func(s, i int) string {
			o := program(s).GetOverrides()[i]
			return p.effectsKey(s, o.GetEffects()) + " against " + p.effectsKey(s, o.GetOpposes())
		})
	a, b = sizes(func(m *pb.Program) int { return len(m.GetPhasings()) })
	p.phasings = match(a, b, func(s, i int) string { return program(s).GetPhasings()[i].GetPhasing() },
		func(s, i int) string {
			var ids []string
			for _, f := range program(s).GetPhasings()[i].GetFloors() {
				ids = append(ids, f.GetEffect())
			}
			return p.effectsKey(s, ids)
		})
	p.pairSets()
}

// effectKey keys an effect by its outputs, and by what becomes of them.
func (p *pairing) effectKey(s int, e *pb.Effect, whole bool) string {
	var parts []string
	for _, ref := range e.GetOutputs() {
		if o, ok := p.built[s].Installation.Output(ref); ok {
			parts = append(parts, p.outputKey(s, o))
		}
	}
	if whole {
		return sortedKey(parts) + fmt.Sprint(e.GetSilenceable(), e.GetUntil(), e.GetOneOf() != "")
	}
	return sortedKey(parts)
}

func (p *pairing) effectsKey(s int, ids []string) string {
	var parts []string
	for _, e := range p.built[s].Site.GetProgram().GetEffects() {
		if slices.Contains(ids, e.GetEffect()) {
			parts = append(parts, "("+p.effectKey(s, e, true)+")")
		}
	}
	return sortedKey(parts)
}

// pairSets matches the one_of sets: by name, else by their outputs.
func (p *pairing) pairSets() {
	var keys [2][]string
	for s := range p.built {
		members := map[string][]string{}
		for _, e := range p.built[s].Site.GetProgram().GetEffects() {
			if name := e.GetOneOf(); name != "" {
				if members[name] == nil {
					p.setNames[s] = append(p.setNames[s], name)
				}
				members[name] = append(members[name], p.effectKey(s, e, false))
			}
		}
		for _, name := range p.setNames[s] {
			keys[s] = append(keys[s], sortedKey(members[name]))
		}
	}
	p.sets = match(len(p.setNames[0]), len(p.setNames[1]), func(s, i int) string { return p.setNames[s][i] }, func(s, i int) string { return keys[s][i] })
}

var quoted = regexp.MustCompile(`'(?:[^'\\]|\\.)*'`)

// use keys a control or a switch by where conditions name it: all else that they name is left out, since
// it may be renamed too.
func (p *pairing) use(s int, what, id string) string {
	program := p.built[s].Site.GetProgram()
	var parts []string
	look := func(key, text string) {
		if !strings.Contains(text, what+"('"+id+"')") {
			return
		}
		parts = append(parts, key+" "+quoted.ReplaceAllStringFunc(text, func(word string) string {
			if word == "'"+id+"'" {
				return "#"
			}
			return "*"
		}))
	}
	for _, c := range program.GetCauses() {
		look("cause", c.GetWhen())
	}
	for _, a := range program.GetActions() {
		for _, g := range guardsOf(a) {
			look(fmt.Sprint(g.name, " ", a.GetState(), " ", a.GetAfter().AsDuration()), g.text)
		}
	}
	for _, d := range program.GetDetection() {
		look("detection", d.GetInvestigate().GetGiven())
	}
	for _, ph := range program.GetPhasings() {
		if ph.GetHold() == id {
			parts = append(parts, "hold of a phasing")
		}
		if ph.GetHurry() == id {
			parts = append(parts, "hurry of a phasing")
		}
	}
	return sortedKey(parts)
}

// guard is one condition beside an action.
type guard struct{ name, text string }

// guardsOf lists the conditions beside an action, `unless` first.
func guardsOf(a *pb.Action) []guard {
	return []guard{{"unless", a.GetUnless()}, {"pause while", a.GetPauseWhile()}, {"restart while", a.GetRestartWhile()},
		{"cancel when", a.GetCancelWhen()}, {"hurry when", a.GetHurryWhen()}}
}
