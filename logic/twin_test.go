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
	extra := []string{"control('k1').on", "control('k2').on"}
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
		state := pick(r, "on", "on", "on", "off")
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
		for _, key := range []string{"unless", "pause_while", "restart_while", "cancel_when"} {
			if r.IntN(4) == 0 {
				keys += ", " + key + ": " + condition(1)
			}
		}
		actions = append(actions, "{"+keys+"}")
	}
	return fmt.Sprintf("{panel: {mode: %s%s%s%s}, program: {controls: [{control: k1}, {control: k2}],\n causes: [%s],\n effects: [%s],\n actions: [%s]}}",
		pick(r, "day", "night"), pick(r, "", ", resound: new-device"), pick(r, "", "", ", reset: drop-all"), pick(r, "", ", latched: [supervisory]", ", latched: [fault]"),
		strings.Join(causes, ",\n  "), strings.Join(effects, ",\n  "), strings.Join(actions, ",\n  "))
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
	switch r.IntN(11) {
	case 0, 1, 2:
		return pick(r, "fire", "fire", "decide") + " " + pick(r, "A1", "A2", "ACP", "B1", "B2")
	case 3:
		return pick(r, "clear ", "clear ", "active ") + pick(r, "A1", "A2", "ACP", "B1", "B2", "TECH")
	case 4:
		return pick(r, "supervisory VALVE ", "prealarm A1 ", "fault TECH ", "output-fault FAN ", "proven fan ") + onOff
	case 5, 6:
		return "control " + pick(r, "k1 ", "k2 ") + onOff
	case 7:
		return pick(r, "day", "night", "acknowledge", "resound", "evacuate")
	case 8:
		return pick(r, "disable-device A1 ", "disable-device FAN ", "disable-zone a ", "disable-output SND-A ") + onOff
	case 9:
		return "silence"
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
		p.chainLimit, b.twin.chainLimit = 20, 20 // the story of the oscillation has the whole chain
		b.both(0)
		for range 1 + rapid.IntRange(0, 24).Draw(t, "steps") {
			instant := b.now + time.Duration(rapid.SampledFrom([]int{0, 1, 500, 1000, 1000, 2000, 3000, 7000}).Draw(t, "ms"))*time.Millisecond
			b.bothBefore(instant)
			for range 1 + rapid.IntRange(0, 2).Draw(t, "acts") {
				b.do(randomAct(drawn{t}))
			}
			b.both(instant)
		}
		b.bothBefore(b.now + 30*time.Second)
		for _, c := range b.changes {
			counts[c.Kind]++
		}
	})
	t.Logf("%d programs, changes by kind: %v", programs, counts)
	for kind := CauseChanged; kind <= ChainStopped; kind++ {
		if counts[kind] == 0 {
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
	b.twin.evaluate(instant)
	var outputs []naiveOutput
	var unlatched []int
	for _, c := range b.changes[seen:] {
		switch c.Kind {
		case OutputDemanded:
			outputs = append(outputs, naiveOutput{int(c.Index), c.From, c.State})
		case Unlatched:
			unlatched = append(unlatched, int(c.Index))
		}
	}
	if !slices.Equal(outputs, b.twin.outputs) {
		b.differ("outputs %v, twin %v", outputs, b.twin.outputs)
	}
	if !slices.Equal(unlatched, b.twin.unlatched) {
		b.differ("unlatched %v, twin %v", unlatched, b.twin.unlatched)
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
	for kind := term.DeviceFire; kind <= term.PanelEvacuate; kind++ {
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
