package logic

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// one returns a program of one cause, a control, and one action on one relay.
func one(keys string) string {
	return `{program: {controls: [{control: in}, {control: guard}],
		causes: [{cause: in, when: "control('in').on"}],
		effects: [{effect: fan, outputs: [FAN]}],
		actions: [{causes: [in], effects: [fan], state: "on", ` + keys + `}]}}`
}

// Traces of the timers of IEC 61131-3 (from memory), run through real actions: TON is `after`, TOF
// is `hold`, TP is `for`. Beside the traces of the standard stand instants at the very ends, which
// this program settles as rules E2, E3 say.
func TestTimersOfIEC61131(t *testing.T) {
	tests := []struct {
		source, keys string
		in           string // edges of the input: seconds, rising and falling by turns
		want         string
	}{
		{"IEC 61131-3 TON: an input shorter than PT", "after: 5s", "0 3", ""},
		{"IEC 61131-3 TON: an input longer than PT", "after: 5s", "10 20", "15s-20s"},
		{"IEC 61131-3 TOF: one input", "hold: 5s", "0 10", "0s-15s"},
		{"IEC 61131-3 TOF: the input is back within PT", "hold: 5s", "0 10 12 14", "0s-19s"},
		{"IEC 61131-3 TP: an input shorter than PT", "for: 5s", "0 1", "0s-5s"},
		{"IEC 61131-3 TP: an input longer than PT", "for: 5s", "0 20", "0s-5s"},
		{"IEC 61131-3 TP: an edge within the pulse, one after it", "for: 5s", "0 1 3 4 6 7", "0s-5s 6s-11s"},
		{"rule E2: at the instant of expiry a cause that just became false wins", "after: 5s", "10 15", ""},
		{"rule E2: the delay starts again with the cause", "after: 5s", "0 4 6 12", "11s-12s"},
		{"rule E3: a new edge at the end of a pulse starts another", "for: 5s", "0 1 5 6", "0s-10s"},
		{"rule E3: an edge within a pulse is not kept", "for: 5s", "0 1 3 9", "0s-5s"},
		{"an input that rises again at the end of the hold wins", "hold: 5s", "0 10 15 20", "0s-25s"},
		{"rule E4: after, then for", "after: 2s, for: 3s", "10 30", "12s-15s"},
		{"rule E4: after, then hold", "after: 2s, hold: 3s", "10 13", "12s-16s"},
		{"rule E4: after, for, hold", "after: 2s, for: 1s, hold: 4s", "10 11 20 30", "22s-27s"},
		{"rule E1: level", "", "3 7 9 11", "3s-7s 9s-11s"},
	}
	for _, test := range tests {
		t.Run(test.source, func(t *testing.T) {
			b := newBench(t, one(test.keys))
			for i, edge := range strings.Fields(test.in) {
				b.step(seconds(t, edge), "control in "+map[bool]string{true: "on", false: "off"}[i%2 == 0])
			}
			b.runTo(100 * time.Second)
			if got := b.spans("FAN"); got != test.want {
				t.Errorf("%s, input edges %s: output true %q, want %q\n%s", test.keys, test.in, got, test.want, strings.Join(b.log, "\n"))
			}
		})
	}
}

func seconds(t *testing.T, text string) time.Duration {
	d, err := time.ParseDuration(text + "s")
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// ET of TON (IEC 61131-3, from memory), the elapsed time of the input longer than PT: 2 at 12, 5 at 18, 0 after 20.
func TestElapsedTimeOfOnDelay(t *testing.T) {
	b := newBench(t, one("after: 5s"))
	elapsed := func() time.Duration {
		st := b.state.pair[0]
		switch st.delay {
		case running:
			return 5*time.Second - (st.due - b.now)
		case done:
			return 5 * time.Second
		}
		return 0
	}
	b.step(10*time.Second, "control in on")
	for _, check := range []struct{ at, want int }{{10, 0}, {12, 2}, {15, 5}, {18, 5}} {
		b.runTo(time.Duration(check.at) * time.Second)
		if got := elapsed(); got != time.Duration(check.want)*time.Second {
			t.Errorf("elapsed at %d s: %v, want %d s", check.at, got, check.want)
		}
	}
	b.step(20*time.Second, "control in off")
	if got := elapsed(); got != 0 {
		t.Errorf("elapsed after 20 s: %v, want 0", got)
	}
}

// SR and RS (IEC 61131-3, from memory): with set and reset both true SR is true, RS false. A latched
// effect whose cause is true at the reset behaves as SR: Q1 = S1 or (not R and Q1); a fire latch
// under `reset: drop-all` as RS: Q1 = not R1 and (S or Q1).
func TestLatchesOfIEC61131(t *testing.T) {
	const program = `program: {controls: [{control: s}],
		causes: [{cause: s, when: "control('s').on"}, {cause: fire, when: "panel.fire"}],
		effects: [{effect: q, outputs: [FAN], until: reset}, {effect: f, outputs: [DOOR]}],
		actions: [{causes: [s], effects: [q], state: "on"}, {causes: [fire], effects: [f], state: "on"}]}`
	for _, test := range []struct {
		set, reset bool
		from       bool
		want       string
	}{{true, false, false, "on"}, {false, false, true, "on"}, {false, true, true, "off"}, {true, true, false, "on"}, {true, true, true, "on"}, {false, false, false, "off"}} {
		b := newBench(t, "{"+program+"}")
		if test.from {
			b.step(time.Second, "control s on")
			b.step(2*time.Second, "control s off")
		}
		var acts []string
		if test.set {
			acts = append(acts, "control s on")
		}
		if test.reset {
			acts = append(acts, "reset")
		}
		b.step(3*time.Second, acts...)
		if got := b.demand("FAN"); got != test.want {
			t.Errorf("SR with %+v: %s", test, got)
		}
	}
	for reset, want := range map[string]string{"keep-caused": "on", "drop-all": "off"} {
		b := newBench(t, "{panel: {reset: "+reset+"}, "+program+"}")
		b.step(time.Second, "fire A1", "reset")
		if got := b.demand("DOOR"); got != want {
			t.Errorf("fire and reset at one instant, %s: %s, want %s", reset, got, want)
		}
	}
}

// A program of many pairs keeps its timers in order whatever starts and stops them.
func TestManyTimers(t *testing.T) {
	var causes, actions []string
	for i := 1; i <= 40; i++ {
		causes = append(causes, fmt.Sprintf(`{cause: c%d, when: "control('in').on"}`, i))
		actions = append(actions, fmt.Sprintf(`{causes: [c%d], effects: [fan], state: "on", after: %ds, for: 1s}`, i, i*37%41*3))
	}
	b := newBench(t, `{program: {controls: [{control: in}], causes: [`+strings.Join(causes, ",")+`], effects: [{effect: fan, outputs: [FAN]}], actions: [`+strings.Join(actions, ",")+`]}}`)
	b.step(0, "control in on")
	b.runTo(200 * time.Second)
	var want []string
	for i := 1; i <= 40; i++ { // 37 and 41 are coprime: each multiple of 3 s up to 120 s once
		want = append(want, fmt.Sprintf("%v-%v", time.Duration(i*3)*time.Second, time.Duration(i*3+1)*time.Second))
	}
	if got := b.spans("FAN"); got != strings.Join(want, " ") {
		t.Errorf("got %s\nwant %s", got, strings.Join(want, " "))
	}
	if len(b.state.timers) != 0 {
		t.Errorf("%d timers are left", len(b.state.timers))
	}
}
