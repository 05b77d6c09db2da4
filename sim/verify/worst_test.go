package verify

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/sim/drill"
)

const phases = 10_000

// phaseSite has two loops whose slots have nothing in common, so that over a few seconds each of
// their phases meets each of the other's. All outputs stand on the second.
const phaseSite = `
site: phases
rules: {packs: [en54]}
places: [{place: hall}]
zones: [{zone: hall}]
loops:
  - loop: 1
    wiring: branch
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    line: {poll_slot: 13ms, no_reply_slot: 20ms, command_slot: 15ms}
    devices:
      - {address: 1, label: SD-1, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 2, label: SD-2, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 3, label: SD-3, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 4, label: SD-4, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
  - loop: 2
    wiring: branch
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    line: {poll_slot: 17ms, no_reply_slot: 20ms, command_slot: 15ms, commands_between_visits: BURST}
    devices:
      - {address: 1, label: SD-5, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 2, label: SD-6, place: hall, zone: hall, cable_m: 5, smoke_detector: {}}
      - {address: 3, label: SOUNDER-1, place: hall, cable_m: 5, loop_sounder: {current_ma: 5}}
      - {address: 4, label: SOUNDER-2, place: hall, cable_m: 5, loop_sounder: {current_ma: 5}}
program:
  causes: [{cause: way, when: "WHEN"}]
  effects: [{effect: sounders, outputs: [SOUNDER-1, SOUNDER-2]}]
  actions: [{causes: [way], effects: [sounders], state: evacuate}]
`

// TestWorstCase: over ten thousand uniform phases of the stimuli the slowest response is at least
// the computed worst case less one poll slot, and none is above it: for one signal, and for a
// pair across two loops that needs both; and where a visit comes after each command. The computed one is what verify reports; what is
// observed here owes nothing to it. (The formula is rule F6 with J19.)
func TestWorstCase(t *testing.T) {
	for _, c := range []struct{ name, when, burst string }{
		{"one signal", "device('SD-2').fire", "8"},
		{"a pair across two loops", "device('SD-2').fire && device('SD-6').fire", "8"},
		{"a visit after each command", "device('SD-2').fire", "1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := replaced(t, replaced(t, phaseSite, "WHEN", c.when), "BURST", c.burst)
			built := buildText(t, text, "cause,when,given,SOUNDER-1,SOUNDER-2\nway,"+c.when+",,evacuate,evacuate\n")
			v := newVerifier(t, built.Plan(), built.Matrix)
			report, records := verified(t, v)
			if !report.GetPassed() {
				t.Fatal("the site does not pass")
			}
			bounds := map[int32]time.Duration{}
			for _, r := range records {
				for _, timing := range r.Timings {
					bounds[timing.Output] = max(bounds[timing.Output], timing.Bound)
				}
			}
			slowest := slowestOf(t, v)
			for output, bound := range bounds {
				cfg := v.plan.In.Loops[v.plan.LoopOf(output)].Line.Config()
				label := v.plan.In.Outputs[output].Label
				t.Logf("%s: slowest of %d phases %v, computed %v", label, phases, slowest[output], bound)
				switch slow := slowest[output]; {
				case slow > bound:
					t.Errorf("%s took %v, above the computed worst case of %v", label, slow, bound)
				case slow < bound-cfg.PollSlot:
					t.Errorf("%s took %v at most: more than a poll slot of %v below the computed worst case of %v", label, slow, cfg.PollSlot, bound)
				}
			}
		})
	}
}

// slowestOf gives all signals of the first way at once, at uniform instants, each time to another
// fork of one drill, and measures t4 - t0 of every output.
func slowestOf(t *testing.T, v *Verifier) map[int32]time.Duration {
	r := rand.New(rand.NewPCG(1, phases))
	base := v.bases[""]
	d := base.Fork()
	slowest := map[int32]time.Duration{}
	for range phases {
		d.CopyFrom(base)
		at := base.Instant() + 1 + time.Duration(r.Int64N(int64(20*time.Second)))
		for _, s := range v.runs[0].signals {
			if err := d.Do(v.plan.Stimulus(int32(s.Point), false, at)); err != nil {
				t.Fatal(err)
			}
		}
		if err := d.RunUntil(at + 5*time.Second); err != nil {
			t.Fatal(err)
		}
		operated := 0
		for _, e := range d.Log().Since(uint64(base.Log().Len())) {
			if e.Kind == drill.OutputOperated {
				operated++
				slowest[e.Subject] = max(slowest[e.Subject], e.At-at)
			}
		}
		if operated != len(v.plan.In.Outputs) {
			t.Fatalf("stimulated at %v: %d outputs operated", at, operated)
		}
	}
	return slowest
}

// TestNeverAboveTheComputed: no run of the demo is slower than computed for it.
func TestNeverAboveTheComputed(t *testing.T) {
	demo := openDemo(t)
	v := newVerifier(t, demo.Plan(), demo.Matrix)
	_, records := verified(t, v)
	timed := 0
	for _, r := range records {
		for _, timing := range r.Timings {
			timed++
			if timing.Observed > timing.Bound {
				t.Errorf("%s: %s took %v, above the computed worst case of %v", r.Text, v.plan.In.Outputs[timing.Output].Label, timing.Observed, timing.Bound)
			}
		}
	}
	if timed < len(records) {
		t.Errorf("only %d responses in %d runs", timed, len(records))
	}
}

// TestNoPhaseAboveTheComputed: random programs, the signals of every way at once, at random
// instants: no response is above the computed worst case that verification gives for that way
// and output.
func TestNoPhaseAboveTheComputed(t *testing.T) {
	bench := readText(t, "testdata/bench.yaml")
	timed := 0
	for seed := range uint64(150) {
		p := newRandomProgram(seed)
		built := buildText(t, bench+p.site(), p.matrix())
		v := newVerifier(t, built.Plan(), built.Matrix)
		_, records := verified(t, v)
		bounds := map[string]time.Duration{}
		for i, r := range v.runs {
			for _, timing := range records[i].Timings {
				key := wayAndOutput(r, timing.Output)
				bounds[key] = max(bounds[key], timing.Bound)
			}
		}
		w := v.newWorker()
		for _, r := range v.runs {
			if r.atOnce != 0 {
				continue
			}
			for range 10 {
				for _, timing := range responsesAt(t, w, r, time.Duration(p.r.Int64N(int64(10*time.Second)))) {
					timed++
					if bound := bounds[wayAndOutput(r, timing.Output)]; timing.Observed > bound {
						t.Errorf("seed %d: %s: %s took %v, computed %v\n%s", seed, v.text(r), v.plan.In.Outputs[timing.Output].Label, timing.Observed, bound, p.site())
					}
				}
			}
		}
	}
	if timed < 10_000 {
		t.Errorf("only %d responses", timed)
	}
}

// wayAndOutput is the same for all runs of one way: at once, and in every order.
func wayAndOutput(r *run, output int32) string {
	signals := slices.Clone(r.signals)
	slices.SortFunc(signals, func(a, b matrix.Signal) int { return a.Point - b.Point })
	return fmt.Sprint(signals, output)
}

// responsesAt gives a run's signals at once, so long after the panel has settled, and judges what
// comes of it until silence would be due.
func responsesAt(t *testing.T, w *worker, r *run, after time.Duration) []Timing {
	d := w.v.bases[r.givenKey].Fork()
	c := &course{d: d, stimulated: d.Instant() + 1 + after}
	c.silence = c.stimulated + w.v.watch.horizon
	c.reset = c.silence
	for _, s := range r.signals {
		if err := d.Do(w.stimulus(s, c.stimulated)); err != nil {
			t.Fatal(err)
		}
	}
	if err := d.RunUntil(c.silence); err != nil {
		t.Fatal(err)
	}
	j := &judgement{w: w, r: r, c: c, out: &verdicts{}}
	j.truths = w.truths(r, c, c.silence-1)
	j.operations = j.collect()
	j.fire()
	return j.out.timings
}
