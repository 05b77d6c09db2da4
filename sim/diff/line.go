package diff

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// timing is everything of a line but its condition and the output: two lines of one timing on one
// output differ only if their conditions do.
type timing struct {
	state              term.State
	after, pulse, hold time.Duration
	// guards other than an `unless` that could be joined with the condition; never where there is none.
	unless, pause, restart, cancel, hurry function
	latched                               bool
	silenceable                           bool
	set                                   int32  // common one_of set, -1 for none
	effect                                string // of a one_of set: which of its effects
	phasing                               int32  // common phasing whose steps hurry together, -1 for none
	lever                                 lever  // it is an override's
}

// lever says in which position an override operates an output: on, or off for one that it opposes; in the other
// it rests it.
type lever uint8

const (
	noLever lever = iota
	operates
	opposes
)

// instant reports whether the line follows its condition without memory before `until: reset`.
func (t *timing) instant() bool { return t.after == 0 && t.pulse == 0 && t.hold == 0 }

// line is one demand on one output: while its condition is true, and as its timing says.
type line struct {
	timing
	when  function
	from  []origin // the actions it comes from
	evacs bool     // it is the evacuate control's
}

// origin is where a line comes from: an action or a phasing (then action is -1), a cause, an effect.
type origin struct {
	action, cause, effect int
	path                  string
}

// guardsBeside are the guards in which two timings differ, in pairs.
func (t *timing) guardsBeside(o *line) [][2]function {
	var list [][2]function
	for _, pair := range [][2]function{{t.unless, o.unless}, {t.pause, o.pause}, {t.restart, o.restart}, {t.cancel, o.cancel}, {t.hurry, o.hurry}} {
		if pair[0] != pair[1] {
			list = append(list, pair)
		}
	}
	return list
}

// side is one site's program, read.
type side struct {
	number int
	own    []*term.Term // conditions of causes in the site's own facts
	when   []function   // of causes
	guards [][5]function
	lines  [][]line // by common output
}

// terms reads all conditions of one side into common facts, and notes the facts.
func (p *pairing) terms(s int, facts map[term.Fact]bool) (own, causes []*term.Term, guards [][5]*term.Term) {
	b := p.built[s]
	reader := term.NewReader(b.World)
	parse := func(text string) *term.Term {
		t, problems := reader.Parse(text, term.Cause)
		if len(problems) > 0 {
			panic(fmt.Sprintf("diff: a condition that the compiler has accepted: %q: %s", text, problems[0].Title))
		}
		return t
	}
	own = make([]*term.Term, len(b.Site.GetProgram().GetCauses()))
	for i, c := range b.Site.GetProgram().GetCauses() {
		own[i] = parse(c.GetWhen())
	}
	note := func(t *term.Term) *term.Term {
		t.Each(func(f term.Fact) { facts[f] = true })
		return t
	}
	for _, t := range own {
		causes = append(causes, note(p.expand(s, t, own, 0)))
	}
	for _, a := range b.Site.GetProgram().GetActions() {
		var five [5]*term.Term
		for g, guard := range guardsOf(a) {
			if guard.text != "" {
				five[g] = note(p.expand(s, parse(guard.text), own, 0))
			}
		}
		guards = append(guards, five)
	}
	for _, d := range b.Site.GetProgram().GetDetection() {
		if given := d.GetInvestigate().GetGiven(); given != "" {
			note(p.expand(s, parse(given), own, 0))
		}
	}
	for i := range b.Site.GetProgram().GetOverrides() {
		facts[p.commonFact(s, term.IsValue(term.OverrideAt, i, term.SwitchedOn).Fact)] = true
		facts[p.commonFact(s, term.IsValue(term.OverrideAt, i, term.SwitchedOff).Fact)] = true
	}
	for _, ph := range b.Site.GetProgram().GetPhasings() {
		for _, id := range []string{ph.GetHold(), ph.GetHurry()} {
			if i := slices.Index(b.World.Controls, id); i >= 0 {
				facts[p.commonFact(s, term.Is(term.ControlOn, i).Fact)] = true
			}
		}
	}
	return own, causes, guards
}

// readLines makes the lines of one side.
func (p *pairing) readLines(f *functions, s int, causes []*term.Term, guards [][5]*term.Term) *side {
	out := &side{number: s}
	for _, t := range causes {
		out.when = append(out.when, f.of(t))
	}
	for _, five := range guards {
		var g [5]function
		for i, t := range five {
			if t != nil {
				g[i] = f.of(t)
			}
		}
		out.guards = append(out.guards, g)
	}
	b := p.built[s]
	program := b.Site.GetProgram()
	out.lines = make([][]line, len(p.outputs.toNew)+len(p.outputs.toOld))
	number := map[string]int{}
	for i, c := range program.GetCauses() {
		number[c.GetCause()] = i
	}
	effects := map[string]int{}
	for i, e := range program.GetEffects() {
		effects[e.GetEffect()] = i
	}
	actionsOf := make([][]origin, len(program.GetEffects()))
	for a, action := range program.GetActions() {
		for _, c := range action.GetCauses() {
			for _, e := range action.GetEffects() {
				actionsOf[effects[e]] = append(actionsOf[effects[e]], origin{a, number[c], effects[e], fmt.Sprintf("program.actions[%d]", a)})
			}
		}
	}
	steps := make([][]line, len(program.GetEffects()))
	p.phasedLines(f, out, steps)
	levers := p.levers(f, s, effects)
	evacuate := f.of(term.Is(term.PanelEvacuate, 0))
	for e, effect := range program.GetEffects() {
		lines := p.effectLines(f, out, effect, actionsOf[e], steps[e], evacuate)
		for _, ref := range effect.GetOutputs() {
			own, _ := b.Installation.Output(ref)
			o := own
			if s == 1 {
				o = p.outputs.common(o)
			}
			out.lines[o] = append(append(out.lines[o], lines...), leversAt(levers[e], b.World.Outputs[own])...)
		}
	}
	for o := range out.lines {
		out.lines[o] = normal(f, out.lines[o])
	}
	return out
}

// effectLines makes the lines of one effect.
func (p *pairing) effectLines(f *functions, s *side, effect *pb.Effect, from []origin, steps []line, evacuate function) []line {
	program := p.built[s.number].Site.GetProgram()
	base := timing{latched: effect.GetUntil() == "reset", silenceable: effect.GetSilenceable(), set: -1, phasing: -1}
	if name := effect.GetOneOf(); name != "" {
		base.set = int32(slices.Index(p.setNames[s.number], name))
		if s.number == 1 {
			base.set = p.sets.common(base.set)
		}
	}
	var lines []line
	evacuates := false
	for _, o := range from {
		a, g := program.GetActions()[o.action], s.guards[o.action]
		l := line{timing: base, when: s.when[o.cause], from: []origin{o}}
		l.state, _ = term.DemandWord(a.GetState())
		l.after, l.pulse, l.hold = a.GetAfter().AsDuration(), a.GetFor().AsDuration(), a.GetHold().AsDuration()
		evacuates = evacuates || l.state == term.Evacuate
		if l.state == term.Off {
			l.silenceable = false // silence never removes an inhibit
		}
		l.unless = g[0]
		if l.instant() {
			l.when, l.unless = f.without(l.when, g[0]), never
		}
		if l.after > 0 {
			l.pause, l.restart, l.cancel, l.hurry = g[1], g[2], g[3], g[4]
		}
		lines = append(lines, l)
	}
	for _, l := range steps {
		timed := base
		timed.state, timed.after, timed.pause, timed.hurry, timed.phasing = l.state, l.after, l.pause, l.hurry, l.phasing
		l.timing = timed
		evacuates = true
		lines = append(lines, l)
	}
	if base.set >= 0 {
		key := setKey(lines) + " for " + p.effectKey(s.number, effect, false)
		for i := range lines {
			lines[i].effect = key
		}
	}
	if evacuates {
		l := line{timing: base, when: evacuate, evacs: true}
		l.state, l.latched, l.set, l.effect = term.Evacuate, false, -1, ""
		lines = append(lines, l)
	}
	return lines
}

// phasedLines makes the lines of phasings, by effect: their times, what holds and what hurries them; the rest
// is the effect's.
func (p *pairing) phasedLines(f *functions, s *side, steps [][]line) {
	b := p.built[s.number]
	control := func(id string) function {
		i := slices.Index(b.World.Controls, id)
		if i < 0 {
			return never
		}
		return f.of(&term.Term{Op: term.Leaf, Fact: p.commonFact(s.number, term.Is(term.ControlOn, i).Fact)})
	}
	for i := range b.Program.Pairs() {
		pair := b.Program.Pair(i)
		if pair.Phasing < 0 {
			continue
		}
		m := b.Site.GetProgram().GetPhasings()[pair.Phasing]
		l := line{when: s.when[pair.Cause], from: []origin{{-1, pair.Cause, pair.Effect, b.Program.PairPath(i)}}}
		l.state, l.after, l.phasing = pair.State, pair.After, -1
		if l.after > 0 {
			l.pause, l.hurry = control(m.GetHold()), control(m.GetHurry())
		}
		if l.hurry != never {
			if l.phasing = int32(pair.Phasing); s.number == 1 {
				l.phasing = p.phasings.common(l.phasing)
			}
		}
		steps[pair.Effect] = append(steps[pair.Effect], l)
	}
}

// levers are the overrides that reach each effect: while such a switch is where it operates it.
func (p *pairing) levers(f *functions, s int, effects map[string]int) map[int][]line {
	reach := map[int][]line{}
	for i, o := range p.built[s].Site.GetProgram().GetOverrides() {
		at := map[lever]term.Fact{operates: p.commonFact(s, term.IsValue(term.OverrideAt, i, term.SwitchedOn).Fact),
			opposes: p.commonFact(s, term.IsValue(term.OverrideAt, i, term.SwitchedOff).Fact)}
		for what, ids := range map[lever][]string{operates: o.GetEffects(), opposes: o.GetOpposes()} { // order does not show: lines are sorted
			for _, id := range ids {
				l := line{when: f.of(&term.Term{Op: term.Leaf, Fact: at[what]}), from: []origin{{-1, -1, effects[id], fmt.Sprintf("program.overrides[%d]", i)}}}
				l.lever, l.set, l.phasing = what, -1, -1
				reach[effects[id]] = append(reach[effects[id]], l)
			}
		}
	}
	return reach
}

// leversAt are the lines of overrides at one output: its own state is what they operate it in.
func leversAt(levers []line, o term.Output) []line {
	lines := slices.Clone(levers)
	for i := range lines {
		if lines[i].state = term.On; o.Sounder {
			lines[i].state = term.Evacuate
		}
	}
	return lines
}

// setKey tells the effects of a one_of set apart by what they demand.
func setKey(lines []line) string {
	var parts []string
	for i := range lines {
		parts = append(parts, fmt.Sprint(lines[i].when, lines[i].timing))
	}
	slices.Sort(parts)
	return strings.Join(slices.Compact(parts), ";")
}

// normal brings the lines of one output into a form that is the same for programs that ask the same of
// it: lines without memory are joined by timing, what a stronger line always covers is taken out, and
// what is left is in a fixed order.
func normal(f *functions, lines []line) []line {
	var joined []line
	at := map[timing]int{}
	for _, l := range lines {
		if i, ok := at[l.timing]; ok && l.instant() {
			joined[i].when = f.or(joined[i].when, l.when)
			joined[i].from = append(slices.Clip(joined[i].from), l.from...)
			continue
		}
		if l.instant() {
			at[l.timing] = len(joined)
		}
		joined = append(joined, l)
	}
	var kept []line
	for i := range joined {
		l := joined[i]
		for j := range joined {
			if i != j && l.instant() && !l.latched && strips(&joined[j].timing, &l.timing) {
				l.when = f.without(l.when, joined[j].when)
			}
		}
		covered := l.when == never
		for j := 0; j < len(joined) && !covered; j++ {
			same := joined[j].timing == l.timing && joined[j].when == l.when
			covered = i != j && covers(f, &joined[j], &l) && (!same || j < i)
		}
		if !covered {
			kept = append(kept, l)
		}
	}
	slices.SortFunc(kept, compareLines)
	return kept
}

// strips reports whether a line of the first timing makes one of the second, which has no memory, without
// effect wherever its own condition is true: it is as immediate, stronger, and silenced alike (silence notes
// the strongest state demanded at its instant, so one that it takes and one that it leaves both count).
func strips(by, l *timing) bool {
	return by.lever == noLever && l.lever == noLever && by.instant() && by.state > l.state && by.set < 0 && by.unless == never && by.silenceable == l.silenceable
}

// covers reports whether one line always demands at least as much as another, whatever happens.
func covers(f *functions, by, l *line) bool {
	a, b := &by.timing, &l.timing
	if a.lever != noLever || b.lever != noLever {
		return a.lever == b.lever && a.state == b.state && by.when == l.when
	}
	if a.phasing >= 0 && a.phasing != b.phasing {
		return false // its steps come when others of it are hurried
	}
	sameGuards := a.unless == b.unless && a.pause == b.pause && a.restart == b.restart && a.cancel == b.cancel && a.hurry == b.hurry
	noGuards := a.unless == never && a.pause == never && a.restart == never && a.cancel == never
	if !noGuards && a.cancel != never && by.when != l.when {
		return false // what is cancelled waits for its own cause to rise again
	}
	return a.state >= b.state && a.after <= b.after && (a.pulse == 0 || a.pulse == b.pulse && a.after == b.after && by.when == l.when) && a.hold >= b.hold &&
		(a.latched || !b.latched) && (!a.silenceable || b.silenceable) && (a.set < 0 || a.set == b.set && a.effect == b.effect) &&
		(noGuards && (a.after == 0 || b.hurry == never || a.hurry == b.hurry) || sameGuards && a.after == b.after) && f.within(l.when, by.when)
}

func compareLines(a, b line) int {
	yes := func(on bool) int {
		if on {
			return 1
		}
		return 0
	}
	return cmp.Or(-cmp.Compare(a.state, b.state), cmp.Compare(a.after, b.after), cmp.Compare(a.pulse, b.pulse), cmp.Compare(a.hold, b.hold),
		cmp.Compare(yes(a.latched), yes(b.latched)), cmp.Compare(yes(a.silenceable), yes(b.silenceable)), cmp.Compare(a.set, b.set),
		strings.Compare(a.effect, b.effect), cmp.Compare(a.when, b.when), cmp.Compare(a.unless, b.unless), cmp.Compare(a.pause, b.pause),
		cmp.Compare(a.restart, b.restart), cmp.Compare(a.cancel, b.cancel), cmp.Compare(a.hurry, b.hurry),
		cmp.Compare(a.phasing, b.phasing), cmp.Compare(a.lever, b.lever))
}

// unlike are the lines of a that b does not have.
func unlike(a, b []line) []line {
	var out []line
	for i := range a {
		if !slices.ContainsFunc(b, func(l line) bool { return l.timing == a[i].timing && l.when == a[i].when }) {
			out = append(out, a[i])
		}
	}
	return out
}
