package plant

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestFanTwin holds a fan to an obvious twin that integrates its speed tick by tick: 12 s up, 24 s
// down, in ticks of half a second, at half the rate when slow by 2. Commands fall
// on whole ticks, so that both are exact.
func TestFanTwin(t *testing.T) {
	const (
		tick = 500 * time.Millisecond
		full = 24 * 2 * 2 // so that a tick down, slow, is 1
	)
	rapid.Check(t, func(t *rapid.T) {
		p, found := Compile(oneOfEach())
		if len(found) > 0 {
			t.Fatal(found)
		}
		r := &rig{p: p, s: p.NewState()}
		e, _ := p.Lookup("fan")
		speed, start, stop, slow, stuck := 0, false, false, false, false
		for i := range rapid.IntRange(1, 400).Draw(t, "ticks") {
			r.until(time.Duration(i)*tick, true)
			if r.p.Signal(r.s, e, 0) != (speed == full) {
				t.Fatalf("at %v running is %v, the twin's speed %d of %d", r.now, r.p.Signal(r.s, e, 0), speed, full)
			}
			if word := p.States(e)[p.StateIndex(r.s, e)]; (word == "stopped") != (speed == 0 && (stuck || stop || !start)) {
				t.Fatalf("at %v the fan is %s, the twin's speed %d", r.now, word, speed)
			}
			switch rapid.IntRange(0, 30).Draw(t, "command") {
			case 0:
				start = !start
				p.Drive(r.s, r.now, e, fanStart, start, 1, r)
			case 1:
				stop = !stop
				p.Drive(r.s, r.now, e, fanStop, stop, 1, r)
			case 2:
				slow, stuck = !slow, false
				fault := NoFault
				if slow {
					fault = Slow
				}
				p.SetFault(r.s, r.now, e, fault, 2, 1, r)
			case 3:
				slow, stuck = false, !stuck
				fault := NoFault
				if stuck {
					fault = Stuck
				}
				p.SetFault(r.s, r.now, e, fault, 0, 1, r)
			}
			rate := 2
			if slow {
				rate = 1
			}
			switch {
			case stuck:
			case start && !stop:
				speed = min(full, speed+2*rate)
			default:
				speed = max(0, speed-rate)
			}
		}
	})
}
