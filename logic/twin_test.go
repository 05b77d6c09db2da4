package logic

import (
	"flag"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// drawn draws numbers from rapid, so that failures shrink.
type drawn struct{ t *rapid.T }

func (d drawn) IntN(n int) int { return rapid.IntRange(0, n-1).Draw(d.t, "n") }

// subset draws at least one of the words, in random order.
func subset(r chooser, words ...string) []string {
	words = slices.Clone(words)
	for i := range words {
		j := i + r.IntN(len(words)-i)
		words[i], words[j] = words[j], words[i]
	}
	return words[:1+r.IntN(len(words))]
}

// randomProgram draws a site: panel and program. Some read output(..).commanded.
func randomProgram(r chooser) string {
	extra := []string{"control('k1').on", "control('k2').on", "panel.mode == 'night'"}
	if r.IntN(4) == 0 {
		extra = append(extra, "panel.buzzer", "panel.test", "zone('a').confirmed", "equipment('fan').disabled", "panel.indicated == 'fault'")
	}
	if r.IntN(4) == 0 {
		extra = append(extra, "output('FAN').commanded == 'on'", "output('SND-A').commanded != 'off'")
	}
	condition := func(depth int) string {
		for {
			text := randomCondition(r, depth, extra...)
			if _, problems := term.Parse(text, plainWorld(), term.Cause); len(problems) == 0 {
				return fmt.Sprintf("%q", text)
			}
		}
	}
	var causes, effects, actions []string
	for i := range 1 + r.IntN(5) {
		causes = append(causes, fmt.Sprintf("{cause: c%d, when: %s}", i, condition(r.IntN(3))))
		extra = append(extra, fmt.Sprintf("cause('c%d')", i))
	}
	kinds := []bool{}
	if r.IntN(40) == 0 { // a condition that denies its own effect
		causes = append(causes, fmt.Sprintf(`{cause: c%d, when: "output('FAN').commanded != 'on'"}`, len(causes)))
		effects, kinds = append(effects, "{effect: e0, outputs: [FAN]}"), append(kinds, false)
		actions = append(actions, fmt.Sprintf("{causes: [c%d], effects: [e0], state: %q}", len(causes)-1, "on"))
	}
	for range 1 + r.IntN(5) {
		i, sounder := len(effects), r.IntN(2) == 0
		kinds = append(kinds, sounder)
		outputs := subset(r, "FAN", "2/4", "LIFT-ALT", "DOOR", "PANEL")
		if sounder {
			outputs = subset(r, "SND-A", "SND-B")
		}
		effects = append(effects, fmt.Sprintf("{effect: e%d, outputs: [%s]%s%s%s}", i, quoted(outputs), pick(r, "", ", silenceable: true"), pick(r, "", "", ", until: reset"), pick(r, "", "", ", one_of: s1")))
	}
	seconds := func() string { return pick(r, "1s", "2s", "3s", "5s", "0.5s") }
	for range 1 + r.IntN(6) {
		e := r.IntN(len(effects))
		state := pick(r, "on", "on", "on", "off", "release")
		if kinds[e] {
			state = pick(r, "alert", "evacuate", "evacuate", "off")
		}
		keys := fmt.Sprintf("causes: [c%d], effects: [e%d], state: %q", r.IntN(len(causes)), e, state)
		if r.IntN(2) == 0 {
			keys += ", after: " + seconds()
		}
		for _, key := range []string{"for", "hold"} {
			if r.IntN(3) == 0 {
				keys += ", " + key + ": " + seconds()
			}
		}
		for _, key := range []string{"unless", "pause_while", "restart_while", "cancel_when", "hurry_when"} {
			if r.IntN(4) == 0 {
				keys += ", " + key + ": " + condition(1)
			}
		}
		actions = append(actions, "{"+keys+"}")
	}
	var phasings string
	if r.IntN(2) == 0 {
		phasings = randomPhasing(r, condition, &causes, &effects)
	}
	var overrides []string
	for i := range r.IntN(3) {
		overrides = append(overrides, randomOverride(r, i, kinds))
	}
	mode := "mode: " + pick(r, "day", "night")
	if r.IntN(3) == 0 {
		mode = fmt.Sprintf("calendar: [{days: [mon, thu], at: %s, mode: night}, {days: [mon, sun], at: %s, mode: day}]", pick(r, "3s", "9s"), pick(r, "2s", "7s", "23s"))
	}
	return fmt.Sprintf("{panel: {%s%s%s%s%s},\n places: [{place: a, floor: '0'}, {place: b, floor: '1'}, {place: c, floor: '2'}],\n program: {controls: [{control: k1}, {control: k2%s}],\n causes: [%s],\n effects: [%s],\n actions: [%s],\n phasings: [%s],\n overrides: [%s]}}",
		mode, pick(r, "", ", resound: new-device"), pick(r, "", "", ", reset: drop-all"), pick(r, "", ", latched: [supervisory, prealarm]", ", latched: [fault]", ", latched: [technical, fault]"), pick(r, "", ", fault_sounds_again: 4s"),
		pick(r, "", ", level: 3"), strings.Join(causes, ",\n  "), strings.Join(effects, ",\n  "), strings.Join(actions, ",\n  "), phasings, strings.Join(overrides, ", "))
}

// randomPhasing draws a phasing of two or three floors, with causes and effects of its own.
func randomPhasing(r chooser, condition func(int) string, causes, effects *[]string) string {
	var floors []string
	for i := range 2 + min(1, r.IntN(4)) {
		*causes = append(*causes, fmt.Sprintf("{cause: f%d, when: %s}", i, pick(r, "\"panel.fire\"", "\"zone('a').fire\"", condition(1))))
		*effects = append(*effects, fmt.Sprintf("{effect: p%d, outputs: [%s]%s}", i, quoted(subset(r, "SND-A", "SND-B")), pick(r, "", ", silenceable: true")))
		floors = append(floors, fmt.Sprintf("{floor: '%d', cause: f%d, effect: p%d}", i, i, i))
	}
	return fmt.Sprintf("{phasing: up, step_time: %s, floors: [%s]%s%s%s%s}", pick(r, "2s", "6s"), strings.Join(floors, ", "), pick(r, "", ", together: [below]", ", together: [above, below]"),
		pick(r, "", ", waiting: nothing"), pick(r, "", ", hold: k1"), pick(r, "", ", hurry: k2", ", hurry: k2", ", hurry: k2"))
}

// randomOverride draws a switch over some of the effects.
func randomOverride(r chooser, i int, kinds []bool) string {
	e, opposes := r.IntN(len(kinds)), ""
	if other := r.IntN(len(kinds)); kinds[other] != kinds[e] { // then they share no output
		opposes = fmt.Sprintf(", opposes: [e%d]", other)
	}
	return fmt.Sprintf("{override: s%d, effects: [e%d]%s%s}", i, e, opposes, pick(r, "", ", level: 1"))
}

func quoted(words []string) string {
	var out []string
	for _, word := range words {
		out = append(out, fmt.Sprintf("%q", word))
	}
	return strings.Join(out, ", ")
}

// plainWorld is the bureau with the names that random programs use.
func plainWorld() *term.World {
	w := bureau()
	w.Controls = []string{"k1", "k2"}
	w.Causes = []string{"c0", "c1", "c2", "c3", "c4"}
	return w
}

// randomAct draws one act in the words of the stories.
func randomAct(r chooser) string {
	onOff := pick(r, "on", "off")
	switch r.IntN(13) {
	case 0, 1, 2:
		return pick(r, "fire", "fire", "decide") + " " + pick(r, "A1", "A2", "ACP", "B1", "B2")
	case 3:
		return pick(r, "clear ", "clear ", "active ") + pick(r, "A1", "A2", "ACP", "B1", "B2", "TECH")
	case 4:
		return pick(r, "supervisory VALVE ", "prealarm A1 ", "active TECH ", "fault TECH ", "output-fault FAN ", "proven fan ") + onOff
	case 5, 6:
		return "control " + pick(r, "k1 ", "k2 ", "k2 ") + onOff
	case 7:
		return pick(r, "day", "night", "acknowledge", "resound", "evacuate")
	case 8:
		return pick(r, "disable-device A1 ", "disable-device FAN ", "disable-zone a ", "disable-output SND-A ", "disable-equipment fan ") + onOff
	case 9:
		return "silence"
	case 10:
		return "test " + pick(r, "a ", "a ", "b ") + onOff
	case 11:
		return "override " + pick(r, "s0 ", "s1 ") + pick(r, "auto", "on", "off")
	}
	return "reset"
}

// The incremental program against the twin that evaluates everything: random programs, random
// acts, every evaluation compared. What must have come about somewhere is counted.
func TestProgramAgainstNaiveTwin(t *testing.T) {
	checkAtLeast(t, 1500)
	counts := map[ChangeKind]int{}
	programs := 0
	rapid.Check(t, func(t *rapid.T) {
		text := randomProgram(drawn{t})
		p, site, w, findings := compileText(t, text)
		if finding.Worst(findings) == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("refused: %v\n%s", findings, text)
		}
		programs++
		b := &bench{t: t, world: w, program: p, site: site, state: p.NewState(), twin: newNaive(site, w)}
		if rapid.Bool().Draw(t, "week") {
			begin := rapid.SampledFrom([]time.Duration{0, 3 * time.Second, 5 * time.Second, panel.Week - 2*time.Second, 50 * time.Hour}).Draw(t, "begin")
			b.state = p.NewStateAt(begin)
			b.twin.beginWeek(begin)
		}
		p.chainLimit, b.twin.chainLimit = 20, 20 // the story of the oscillation has the whole chain
		b.both(0)
		for range 1 + rapid.IntRange(0, 24).Draw(t, "steps") {
			instant := b.now + time.Duration(rapid.SampledFrom([]int{0, 1, 500, 1000, 1000, 2000, 3000, 7000}).Draw(t, "ms"))*time.Millisecond
			b.bothBefore(instant)
			b.level = uint8(rapid.SampledFrom([]int{0, 0, 0, 1, 2, 3}).Draw(t, "level"))
			for range 1 + rapid.IntRange(0, 2).Draw(t, "acts") {
				b.do(randomAct(drawn{t}))
			}
			b.both(instant)
		}
		b.bothBefore(b.now + 30*time.Second)
		for _, c := range b.changes {
			counts[c.Kind]++
		}
		b.indicatesAsNamed()
	})
	t.Logf("%d programs, changes by kind: %v", programs, counts)
	for kind := CauseChanged; kind <= DelayHurried; kind++ {
		if counts[kind] == 0 && (kind <= ChainStopped || kind >= OperationRefused) { // between them: detection, which has a twin of its own
			t.Errorf("no %v came about", kind)
		}
	}
}

// checkAtLeast makes rapid draw n times, unless the command line asks for another number than
// rapid's own default.
func checkAtLeast(t *testing.T, n int) {
	const name, byDefault = "rapid.checks", "100"
	if f := flag.Lookup(name); f.Value.String() == byDefault {
		if err := flag.Set(name, strconv.Itoa(n)); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = flag.Set(name, byDefault) })
	}
}

// bothBefore lets time pass in program and twin up to just before an instant.
func (b *bench) bothBefore(instant time.Duration) {
	for {
		next, ok := b.program.Next(b.state)
		if naiveNext, naiveOK := b.twin.next(); ok != naiveOK || ok && next != naiveNext {
			b.differ("next: %v %v, twin %v %v", next, ok, naiveNext, naiveOK)
		}
		if !ok || next >= instant {
			b.now = instant
			return
		}
		b.both(next)
	}
}

// both evaluates program and twin at an instant and compares all there is to see.
func (b *bench) both(instant time.Duration) {
	b.now = instant
	seen := len(b.changes)
	b.program.Evaluate(b.state, instant, b)
	for slot, i := range b.state.timers { // a heap: nothing is due before what it hangs on
		parent := b.state.timers[max(slot-1, 0)/2]
		if b.state.pair[i].earliest() < b.state.pair[parent].earliest() {
			panic(fmt.Sprintf("timers out of order at %v: pair %d before pair %d", instant, i, parent))
		}
	}
	b.twin.evaluate(instant)
	var outputs []naiveOutput
	var unlatched []int
	var shown []string
	for _, c := range b.changes[seen:] {
		switch c.Kind {
		case OutputDemanded:
			outputs = append(outputs, naiveOutput{int(c.Index), c.From, c.State})
		case Unlatched:
			unlatched = append(unlatched, int(c.Index))
		case ConditionChanged:
			shown = append(shown, panel.Condition(c.Index).String()+map[bool]string{true: " on", false: " off"}[c.On])
		case BuzzerChanged:
			shown = append(shown, "buzzer"+map[bool]string{true: " on", false: " off"}[c.On])
		case FireTested:
			shown = append(shown, "tested")
		case OperationRefused:
			shown = append(shown, "refused")
		case ModeScheduled:
			shown = append(shown, "scheduled")
		}
	}
	if !slices.Equal(outputs, b.twin.outputs) {
		b.differ("outputs %v, twin %v", outputs, b.twin.outputs)
	}
	if !slices.Equal(unlatched, b.twin.unlatched) {
		b.differ("unlatched %v, twin %v", unlatched, b.twin.unlatched)
	}
	if !slices.Equal(shown, b.twin.shown) {
		b.differ("shows %v, twin %v", shown, b.twin.shown)
	}
	for i, p := range b.twin.pairs {
		if got := b.program.Active(b.state, i); got != p.active {
			b.differ("pair %s active %v, twin %v", b.pair(int32(i)), got, p.active)
		}
	}
	for e, demands := range b.twin.demands {
		strongest := term.Rest
		for state := range demands {
			strongest = max(strongest, state)
		}
		if got := b.program.EffectDemand(b.state, e); got != strongest {
			b.differ("effect %d demands %v, twin %v", e, got, strongest)
		}
	}
	for kind := term.DeviceFire; kind <= term.LastKnown; kind++ {
		b.compareFacts(kind)
	}
}

// compareFacts compares all facts of one kind.
func (b *bench) compareFacts(kind term.Kind) {
	size := int(b.program.net.size[kind])
	switch kind {
	case term.CauseTrue:
		size = len(b.world.Causes)
	case term.OutputCommanded:
		for o, state := range b.twin.demand {
			if !b.program.Fact(b.state, term.Fact{Kind: kind, Index: int32(o), Value: int32(state)}) {
				b.differ("output %d is not commanded %v, as the twin has it", o, state)
			}
		}
		return
	case term.OverrideAt:
		for i := range b.world.Overrides {
			if got, want := b.program.Position(b.state, i), b.twin.position[i]; got != want {
				b.differ("override %d at %d, twin %d", i, got, want)
			}
		}
		return
	case term.PanelMode:
		for _, mode := range []int32{term.Day, term.Night} {
			f := term.Fact{Kind: kind, Value: mode}
			if got, want := b.program.Fact(b.state, f), b.twin.is(f); got != want {
				b.differ("%v: %v, twin %v", f, got, want)
			}
		}
		return
	}
	for i := range size {
		f := term.Fact{Kind: kind, Index: int32(i)}
		want := b.twin.is(f)
		if kind == term.CauseTrue {
			want = b.twin.was[i] // as this evaluation found it
		}
		if got := b.program.Fact(b.state, f); got != want {
			b.differ("%v: %v, twin %v", f, got, want)
		}
	}
}

// indicatesAsNamed checks that what the panel indicates is what conditions call by the same words.
func (b *bench) indicatesAsNamed() {
	holds := func(text string) bool {
		t, problems := term.Parse(text, b.world, term.Cause)
		if len(problems) > 0 {
			b.t.Fatalf("%s: %v", text, problems)
		}
		return t.Eval(func(f term.Fact) bool { return b.program.Fact(b.state, f) })
	}
	if first := b.program.Indicated(b.state); !holds("panel.indicated == '" + first.String() + "'") {
		b.differ("%v is indicated first", first)
	}
	names := map[panel.Condition]string{panel.Fire: "fire", panel.Prealarm: "prealarm", panel.Supervisory: "supervisory", panel.Fault: "fault", panel.Disablement: "disabled", panel.Test: "test"}
	for c := panel.Fire; c <= panel.Test; c++ {
		if got, want := slices.Contains(b.program.Conditions(b.state), c), holds("panel."+names[c]); got != want || b.program.Stands(b.state, c) != want {
			b.differ("condition %v stands: %v, panel.%s: %v", c, got, names[c], want)
		}
	}
}

// differ fails with the log of what led there.
func (b *bench) differ(format string, args ...any) {
	b.t.Helper()
	b.t.Fatalf("at %v: %s\n%v\n%s", b.now, fmt.Sprintf(format, args...), b.site.GetProgram(), strings.Join(b.log[max(0, len(b.log)-60):], "\n"))
}

// next returns when the twin wants to be evaluated.
func (n *naive) next() (time.Duration, bool) {
	if !n.started {
		return 0, true
	}
	next, ok := n.nextTimer()
	if n.again && n.chain < n.chainLimit {
		switchTime := time.Millisecond // the default: rule B12
		if d := n.site.GetPanel().GetSwitchTime(); d != nil {
			switchTime = d.AsDuration()
		}
		if again := n.last + switchTime; !ok || again < next {
			next, ok = again, true
		}
	}
	return next, ok
}
