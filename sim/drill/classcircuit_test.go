package drill

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// classed is one circuit of the class table: on a module or the panel, with six sounders S1 to S6, on
// class X with isolators in S2 and S4.
type classed struct {
	class   string
	onPanel bool
}

func (c classed) String() string {
	return fmt.Sprintf("class %s, on %s", c.class, choose(c.onPanel, "the panel", "a module"))
}

const classLoads = 6

func (c classed) site() *pb.Site {
	k := &pb.Circuit{Wiring: "branch", EndOfLineOhm: new(4700.0), Cable: &pb.Cable{ConductorMm2: new(1.5)}, RequiredClass: c.class}
	for i := 1; i <= classLoads; i++ {
		k.Loads = append(k.Loads, &pb.Load{
			Label: fmt.Sprintf("S%d", i), CableM: new(20.0), Kind: &pb.Load_Sounder{Sounder: &pb.Appliance{CurrentMa: new(40.0)}},
			Isolator: c.class == "x" && (i == 2 || i == 4),
		})
	}
	if c.class != "b" {
		k.Wiring, k.ReturnCableM = "ring", new(20.0)
	}
	site := circuitSite()
	if c.onPanel {
		site.Panel.Outputs[0].Kind = &pb.PanelOutput_Circuit{Circuit: k}
	} else {
		site.Loops[0].Devices[1].GetControlModule().Circuit = k
	}
	return site
}

func (c classed) output() string { return choose(c.onPanel, "PANEL", "BRANCH") }

func (c classed) places() []string {
	places := []string{"S1", "S2", "S3", "S4", "S5", "S6"}
	if c.class != "b" {
		places = append(places, "return")
	}
	return places
}

// sound is what sounds with the circuit open before a load.
func (c classed) open(before int) []string {
	if c.class == "b" {
		return sounders(1, before-1)
	}
	return sounders(1, classLoads)
}

// short is what sounds with the circuit shorted before a load since before the alarm. On class X a load
// with an isolator is fed from its other side.
func (c classed) short(before int) []string {
	switch {
	case c.class != "x":
		return nil
	case before <= 2:
		return sounders(2, classLoads)
	case before <= 4:
		return append(sounders(1, 2), sounders(4, classLoads)...)
	}
	return sounders(1, 4)
}

func sounders(from, to int) (labels []string) {
	for i := from; i <= to; i++ {
		labels = append(labels, fmt.Sprintf("S%d", i))
	}
	return labels
}

func circuitEarth(name, output, before, core string) *pb.Step {
	return &pb.Step{Step: name, Kind: &pb.Step_CircuitEarth{CircuitEarth: &pb.CircuitEarthStep{Output: output, Before: before, Core: core}}}
}

// atRest injects faults at rest, requires trouble of the circuit in time, with this reading, and then
// what sounds in an alarm; repaired, everything sounds and the trouble is gone.
func (c classed) atRest(t *testing.T, what string, reading int64, sound []string, faults ...*pb.Step) {
	t.Helper()
	const at, alarm = 10 * time.Second, 10*time.Second + troubleLimit
	what = fmt.Sprintf("%v: %s", c, what)
	b := newBench(t, c.site())
	for i, f := range faults {
		f.Step = fmt.Sprintf("fault-%d", i)
		b.do(at, f)
		b.repair(alarm+time.Minute, f.GetStep())
	}
	b.do(alarm, press())
	b.run(alarm - 1)
	if _, ok := b.since(at, CircuitFault, reading, c.output()); !ok || !b.is("output('"+c.output()+"').fault") || !b.is("panel.fault") {
		t.Errorf("%s: no trouble with reading %d\n%s", what, reading, b.latest(5))
	}
	b.run(alarm + responseLimit)
	b.sounds(what, sound)
	if got := b.sounding("O"); len(got) != 2 { // NFPA 72 chapter 10: the fault of one circuit does not affect another
		t.Errorf("%s: of the other circuit %v sound", what, got)
	}
	b.run(alarm + 2*time.Minute)
	b.sounds(what+", repaired", sounders(1, classLoads))
	b.do(alarm+3*time.Minute, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	b.run(alarm + 4*time.Minute)
	b.want("!panel.fault")
	rooted(t, b.Drill)
}

// inAlarm injects faults while everything sounds.
func (c classed) inAlarm(t *testing.T, what string, sound []string, faults ...*pb.Step) {
	t.Helper()
	const at = time.Minute
	what = fmt.Sprintf("%v: %s in alarm", c, what)
	b := newBench(t, c.site())
	b.do(time.Second, press())
	for _, f := range faults {
		b.do(at, f)
	}
	b.do(2*time.Minute, &pb.Step{Kind: &pb.Step_Silence{Silence: &pb.SilenceStep{}}})
	b.run(at - 1)
	b.sounds(what+", before", sounders(1, classLoads))
	b.run(at + responseLimit)
	b.sounds(what, sound)
	b.want("!panel.fault") // the reading at rest stands until it is at rest again
	b.run(2*time.Minute + troubleLimit)
	b.want("output('" + c.output() + "').fault")
}

func (b *bench) sounds(what string, want []string) {
	b.Helper()
	if got := b.sounding("S"); !slices.Equal(got, want) {
		b.Errorf("%s: %v sound, wanted %v\n%s", what, got, want, b.latest(8))
	}
}

// The class table of NFPA 72 chapter 12 for notification circuits of class B (branch), A (ring) and X
// (ring with isolators), row by row, at every place of the cable, on a module and on the panel (opens:
// legalclarity.org on fire alarm circuit supervision; shorts in standby, and that the panel holds the
// circuit off: douglaskrantz.com/SCShortedNAC.html; single ground, two grounds on opposite legs as a
// short: training texts on ground faults, from memory, and the class X column from the class rule).
// Trouble within 200 s: NFPA 72 chapters 10 and 12.
func TestClassTableOfCircuits(t *testing.T) {
	t.Parallel()
	const open, short, earth = 1, 2, 3
	for _, c := range []classed{{"b", false}, {"a", false}, {"x", false}, {"b", true}, {"a", true}, {"x", true}} {
		all := sounders(1, classLoads)
		for i, place := range c.places() {
			before, core, other := i+1, []string{"positive", "negative"}[i%2], []string{"negative", "positive"}[i%2]
			o := c.output()
			c.atRest(t, "open before "+place, open, c.open(before), circuitStep("open", o, place))
			c.inAlarm(t, "open before "+place, c.open(before), circuitStep("open", o, place))
			c.atRest(t, "ground before "+place, earth, all, circuitEarth("", o, place, core))
			c.inAlarm(t, "ground before "+place, all, circuitEarth("", o, place, core))
			c.atRest(t, "short before "+place, short, c.short(before), circuitStep("short", o, place))
			c.atRest(t, "grounds before "+place, short, c.short(before), circuitEarth("", o, place, core), circuitEarth("", o, place, other))
			// The section of the positive ground: isolators stand in that core (rule H2).
			far := (i + 3) % len(c.places())
			c.atRest(t, "grounds before "+place+" and far from it", short, c.short(before),
				circuitEarth("", o, place, "positive"), circuitEarth("", o, c.places()[far], "negative"))
			if c.class == "x" {
				c.inAlarm(t, "short before "+place, c.short(before), circuitStep("short", o, place))
			}
		}
	}
}

// Earths stand each by itself: of two on one core one may be repaired, and the trouble stays; of two
// on opposite cores the short goes and an earth is left. Each follows from what was done.
func TestCircuitEarthsNest(t *testing.T) {
	t.Parallel()
	b := newBench(t, circuitSite())
	b.do(time.Second, circuitEarth("one", "BRANCH", "B1", "positive"))
	b.do(time.Second, circuitEarth("again", "BRANCH", "B1", "positive"))
	b.do(10*time.Second, circuitEarth("other", "BRANCH", "B3", "negative"))
	b.do(15*time.Second, press())
	b.repair(20*time.Second, "other")
	b.repair(40*time.Second, "again")
	b.repair(50*time.Second, "one")
	read := func(at time.Duration, want string) {
		t.Helper()
		b.run(at)
		if got := b.outputs[b.output("BRANCH")].reading.String(); got != want {
			t.Errorf("at %v it reads %s, wanted %s", at, got, want)
		}
	}
	read(9*time.Second, "earth")
	b.want("output('BRANCH').fault")
	read(19*time.Second, "short")
	b.want("output('BRANCH').fault && !output('BRANCH').on && load('O1').on")
	read(30*time.Second, "earth")
	b.want("output('BRANCH').on && load('B3').on") // no longer held off
	read(45*time.Second, "earth")
	read(55*time.Second, "normal")
	if got := b.chain(CircuitFault, 3); !slices.Equal(got, []string{"fault-injected", "circuit-fault"}) {
		t.Errorf("the chain of the earth is %v", got)
	}
	text := b.latest(b.log.Len())
	for _, line := range []string{"fault: BRANCH: core of the circuit to earth", "BRANCH: its wiring reads earth", "BRANCH: its wiring reads short"} {
		if !strings.Contains(text, line) {
			t.Errorf("the log does not say %q:\n%s", line, text)
		}
	}
}

// A weak earth is seen below 20 kohm (common practice); two weak ones on opposite cores are a leak
// that the windows allow, and the circuit works.
func TestWeakCircuitEarths(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		ohm     float64
		reading string
	}{{21_000, "normal"}, {19_000, "earth"}, {3_000, "earth"}, {2_000, "short"}} { // 6 kohm beside 4.7: 2.64; 4 kohm: 2.16, and half of 4.7 is 2.35
		b := newBench(t, circuitSite())
		for _, core := range []string{"positive", "negative"} {
			step := circuitEarth(core, "BRANCH", "", core)
			step.GetCircuitEarth().Ohm = new(c.ohm)
			b.do(time.Second, step)
		}
		b.do(time.Minute, press())
		b.run(time.Minute + responseLimit)
		if got := b.outputs[b.output("BRANCH")].reading.String(); got != c.reading || b.is("load('B3').on") == (got == "short") {
			t.Errorf("%g ohm each: reads %s, wanted %s\n%s", c.ohm, got, c.reading, b.latest(5))
		}
	}
}
