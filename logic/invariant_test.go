package logic

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// randomDetection draws how the zones decide.
func randomDetection(r chooser) string {
	var zones []string
	for _, zone := range []string{"a", "b"} {
		keys := []string{"zone: " + zone}
		switch r.IntN(4) {
		case 0:
			keys = append(keys, "confirm: other", pick(r, "within: 20s", "first_signal: prealarm", "first_signal: fire"))
		case 1:
			keys = append(keys, "confirm: same-or-other, ready_after: 2s", pick(r, "within: 20s", "first_signal: prealarm"))
		case 2:
			keys = append(keys, "confirm: other-zone", pick(r, "within: 15s", "first_signal: fire"))
		}
		if len(keys) == 1 && r.IntN(2) == 0 {
			keys = append(keys, "investigate: {acknowledge_within: 5s, extra: 8s}")
		}
		if r.IntN(3) == 0 {
			keys = append(keys, "verification: {restart: 3s, window: 6s}")
		}
		zones = append(zones, "{"+strings.Join(keys, ", ")+"}")
	}
	return strings.Join(zones, ", ")
}

// What holds of every panel whatever is done to it, detection included: a zone in test has no new
// fire; what is indicated is what conditions call so; the buzzer sounds for something that stands; an
// output is at rest where it is disabled, as its switch says where it has one; and once all has gone,
// was enabled, put back and reset, the panel is quiescent and silent.
func TestWhatHoldsOfEveryPanel(t *testing.T) {
	checkAtLeast(t, 600)
	seen := map[ChangeKind]int{}
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Replace(randomProgram(drawn{t}), "program: {", "program: {detection: ["+randomDetection(drawn{t})+"], ", 1)
		p, site, w, findings := compileText(t, text)
		if finding.Worst(findings) == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("refused: %v\n%s", findings, text)
		}
		p.chainLimit = 20
		b := &bench{t: t, world: w, program: p, site: site, state: p.NewState()}
		b.evaluate()
		for range 1 + rapid.IntRange(0, 30).Draw(t, "steps") {
			before := b.testedFires()
			var acts []string
			for range 1 + rapid.IntRange(0, 2).Draw(t, "acts") {
				acts = append(acts, randomAct(drawn{t}))
			}
			b.step(b.now+time.Duration(rapid.SampledFrom([]int{1, 500, 1000, 3000, 7000}).Draw(t, "ms"))*time.Millisecond, acts...)
			b.holds(before)
		}
		b.putBack()
		for _, c := range b.changes {
			seen[c.Kind]++
		}
	})
	for _, kind := range []ChangeKind{FireTested, SignalHeld, SignalConfirmed, SignalDropped, VerificationStarted, InvestigationStarted, OverrideMoved} {
		if seen[kind] == 0 {
			t.Errorf("no %v came about", kind)
		}
	}
}

// testedFires lists the devices of zones in test that are not in fire.
func (b *bench) testedFires() map[int32]bool {
	quiet := map[int32]bool{}
	for i, point := range b.world.Points {
		if b.program.inTest(b.state, int32(i)) && !b.program.Fact(b.state, term.Fact{Kind: term.DeviceFire, Index: int32(i)}) {
			quiet[int32(i)] = point.Zone >= 0
		}
	}
	return quiet
}

// holds checks the panel as it is now; quiet are the devices that were in test and not in fire.
func (b *bench) holds(quiet map[int32]bool) {
	for point := range quiet {
		if b.program.inTest(b.state, point) && b.program.Fact(b.state, term.Fact{Kind: term.DeviceFire, Index: point}) {
			b.differ("%s fires in test", b.world.Points[point].Label)
		}
	}
	b.indicatesAsNamed()
	b.disabledSaysNothing()
	first := b.program.Indicated(b.state)
	if sounds := b.program.Fact(b.state, term.Fact{Kind: term.PanelBuzzer}); sounds && !first.News() {
		b.differ("the buzzer sounds for %v", first)
	}
	for o, out := range b.world.Outputs {
		demand := b.program.Demand(b.state, o)
		if b.program.disabledOutput(b.state, int32(o)) && demand != term.Rest {
			b.differ("%s is disabled and %v", out.Label, demand)
		}
		over, ok := b.program.Overridden(b.state, o)
		if !ok {
			continue
		}
		on := b.program.Position(b.state, over) == term.SwitchedOn
		for _, opposed := range b.site.GetProgram().GetOverrides()[over].GetOpposes() {
			for _, e := range b.site.GetProgram().GetEffects() {
				if e.GetEffect() == opposed && b.reaches(e, o) {
					on = b.program.Position(b.state, over) == term.SwitchedOff
				}
			}
		}
		if on == (demand == term.Rest) {
			b.differ("%s is %v under override %d", out.Label, demand, over)
		}
	}
}

// disabledSaysNothing checks that nothing counts that a disabled device says, but for what stays until reset: fire, and
// what the panel latches.
func (b *bench) disabledSaysNothing() {
	reset := b.state.turn.reset // of the last evaluation
	for i, point := range b.world.Points {
		if !b.program.disabled(b.state, int32(i)) {
			continue
		}
		for _, kind := range []term.Kind{term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory} {
			f := term.Fact{Kind: kind, Index: int32(i)}
			stays := kind == term.DeviceFire || b.program.latched(f)
			if (!stays || reset) && b.program.Fact(b.state, f) {
				b.differ("%s is disabled and %v", point.Label, f)
			}
		}
	}
}

func (b *bench) reaches(e *pb.Effect, o int) bool {
	for _, ref := range e.GetOutputs() {
		if b.world.OutputRefs[ref] == o {
			return true
		}
	}
	return false
}

// putBack takes away all that was done, resets, and checks that the panel is as it was.
func (b *bench) putBack() {
	b.level = 0
	acts := []string{"supervisory VALVE off", "prealarm A1 off", "fault TECH off", "output-fault FAN off", "proven fan off", "control k1 off", "control k2 off",
		"disable-device A1 off", "disable-device FAN off", "disable-zone a off", "disable-output SND-A off", "disable-equipment fan off",
		"test a off", "test b off", "override s0 auto", "override s1 auto"}
	for _, label := range []string{"A1", "A2", "ACP", "B1", "B2", "TECH"} {
		acts = append(acts, "clear "+label)
	}
	b.step(b.now+time.Second, acts...)
	b.step(b.now+time.Second, "reset")
	if first := b.program.Indicated(b.state); first != panel.Quiescent {
		b.differ("%v is indicated at last: %v", first, b.program.Conditions(b.state))
	}
	if b.program.Fact(b.state, term.Fact{Kind: term.PanelBuzzer}) {
		b.differ("the buzzer sounds at last")
	}
	for zone := range b.world.Zones {
		if f := (term.Fact{Kind: term.ZoneConfirmed, Index: int32(zone)}); b.program.Fact(b.state, f) {
			b.differ("%v at last", f)
		}
	}
	if _, ok := b.program.Next(b.state); ok && b.state.shows.Next() != never {
		b.differ("a fault that has gone is still to sound again")
	}
	for o := range b.world.Outputs {
		if _, ok := b.program.Overridden(b.state, o); ok {
			b.differ("%s is overridden at last", fmt.Sprint(b.world.Outputs[o].Label))
		}
	}
}
