package plant

import (
	"slices"
	"testing"
	"time"
)

// Each fault does to every kind of equipment, through each of its inputs, what the words of the step
// say: stuck equipment does nothing, slow equipment takes so many times its time, and unproven
// equipment works and its signals stay. A dialler has no other way to work than its signals.
func TestFaultsOfEveryKind(t *testing.T) {
	type outcome struct {
		done    []time.Duration // times at which an input is done
		signals int
		word    int
	}
	play := func(e, in int, fault Fault) outcome {
		p := newRig(t, oneOfEach()...).p
		r := &rig{p: p, s: p.NewState()}
		before := p.StateIndex(r.s, e)
		p.SetFault(r.s, 0, e, fault, 3, 1, r)
		p.Drive(r.s, 0, e, in, true, 1, r)
		o := outcome{}
		note := func() {
			for _, c := range r.changes {
				switch {
				case int(c.Equipment) != e:
				case c.Kind == Done:
					o.done = append(o.done, r.now)
				case c.Kind == SignalChanged:
					o.signals++
				}
			}
			r.changes = r.changes[:0]
		}
		note()
		for next, ok := p.Next(r.s); ok; next, ok = p.Next(r.s) {
			r.now = next
			p.Advance(r.s, next, r)
			note()
		}
		o.word = p.StateIndex(r.s, e)
		if o.word == before {
			o.word = -1
		}
		return o
	}
	p := newRig(t, oneOfEach()...).p
	for e := range p.Len() {
		for in := range p.InputCount(e) {
			name := p.ID(e) + "/" + p.InputName(e, in)
			healthy := play(e, in, 0)
			if len(healthy.done) != 1 {
				t.Errorf("%s: healthy, and done %d times", name, len(healthy.done))
				continue
			}
			if stuck := play(e, in, Stuck); healthy.done[0] > 0 && (len(stuck.done) > 0 || stuck.signals > 0 && p.ID(e) != "dialler" && p.ID(e) != "lift") {
				t.Errorf("%s: stuck, and done %v with %d signals", name, stuck.done, stuck.signals)
			}
			if slow := play(e, in, Slow); !slices.Equal(slow.done, []time.Duration{3 * healthy.done[0]}) || slow.word != healthy.word {
				t.Errorf("%s: done at %v, and slow at %v", name, healthy.done, slow.done)
			}
			unproven := play(e, in, Unproven)
			if p.ID(e) == "dialler" {
				if len(unproven.done) > 0 || unproven.word != int(diallerFailed) {
					t.Errorf("%s: no receipt, and done %v", name, unproven.done)
				}
				continue
			}
			if unproven.signals > 0 || !slices.Equal(unproven.done, healthy.done) || unproven.word != healthy.word {
				t.Errorf("%s: healthy %+v, unproven %+v", name, healthy, unproven)
			}
		}
	}
}
