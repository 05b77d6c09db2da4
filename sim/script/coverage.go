package script

import (
	"context"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Coverage collects what scenarios exercise of one site. It only reads: with or without it the logs
// of the runs are the same.
type Coverage struct {
	plan  *drill.Plan
	sorts []*sort // in the order of the report
	// By index of what they are about; nil for what the site gives no aspect.
	causes, actions, delays, outputs, equipment, detection, controls, overrides []*thing
	modes, keys, faults                                                         []*thing // by entry of their tables
}

// sort is the things of one sort.
type sort struct {
	word   string
	things []*thing
}

// thing is one thing of the site, and the ways in which it can be seen.
type thing struct {
	name, path string
	aspects    []string // that the site gives it
	seen       []string // of these, and of those that only an operator or a fault gives
}

// see notes that a thing was seen in one way. Of a thing that is nil there is nothing to see.
func (t *thing) see(aspect string) {
	if t != nil && !slices.Contains(t.seen, aspect) {
		t.seen = append(t.seen, aspect)
	}
}

// unseen lists the aspects that the site gives a thing and that nobody saw.
func (t *thing) unseen() []string {
	var missing []string
	for _, a := range t.aspects {
		if !slices.Contains(t.seen, a) {
			missing = append(missing, a)
		}
	}
	return missing
}

// Words of aspects.
const (
	seenTrue, seenFalse = "true", "false"
	active              = "active"
	byUnless            = "withheld by unless"
	byDisablement       = "withheld by disablement"
	bySilence           = "withheld by silence"
	started, ended      = "started", "ended"
	cutShort            = "cancelled"
	stoodStill          = "paused"
	beganAgain          = "restarted"
	hurried             = "hurried"
	held                = "held"
	confirmed           = "confirmed"
	dropped             = "dropped"
	investigated        = "investigated"
	verified            = "verified"
	silenced            = "silenced"
	inFault             = "in fault"
	proven              = "proven"
	turnedOn            = "on"
	operated            = " operated" // behind an input's name
)

// Play runs and judges a script as Play does, and notes what it exercises.
func (c *Coverage) Play(ctx context.Context, s *Script) (*pb.ScenarioReport, error) {
	return play(ctx, s, c)
}

// watcher is the coverage of one run: it knows how much of the log it has read.
type watcher struct {
	*Coverage
	d    *drill.Drill
	read uint64
}

// watch begins to watch a drill at its very start, where conditions are as they are at rest.
func (c *Coverage) watch(d *drill.Drill) *watcher {
	c.modes[mode(d)].see(seenTrue)
	return &watcher{Coverage: c, d: d}
}

func mode(d *drill.Drill) int {
	if d.Fact(term.Fact{Kind: term.PanelMode, Value: term.Night}) {
		return int(term.Night)
	}
	return int(term.Day)
}

// observe reads what the last instant has added to the log.
func (w *watcher) observe() {
	events := w.d.Log().Since(w.read)
	w.read += uint64(len(events))
	program := false
	for i := range events {
		w.event(&events[i])
		switch events[i].Kind {
		case drill.CauseChanged, drill.ActionChanged, drill.DelayEnded, drill.PanelChanged, drill.DisablementSet:
			program = true
		case drill.OutputOperated:
			w.drives(&events[i])
		}
	}
	if program {
		w.withheld()
	}
}

// end notes what can only be told once the run is over: a cause that never changed was what it was
// at rest, which is false unless the log says otherwise at 0 s.
func (w *watcher) end() {
	never := make([]bool, len(w.causes))
	for i := range never {
		never[i] = true
	}
	for _, e := range w.d.Log().Since(0) {
		if e.Kind == drill.CauseChanged && e.At == 0 && e.Value != 0 {
			never[e.Subject] = false
		}
	}
	for i, t := range w.causes {
		if never[i] {
			t.see(seenFalse)
		}
	}
}

// withheld notes actions that are kept from acting as things stand.
func (w *watcher) withheld() {
	program := w.plan.Program
	for i, t := range w.actions {
		pair := program.Pair(i)
		switch {
		case w.d.Withheld(i):
			t.see(byUnless)
		case w.d.Active(i):
			for _, o := range program.EffectOutputs(pair.Effect) {
				if w.d.Fact(term.Fact{Kind: term.OutputDisabled, Index: o}) {
					t.see(byDisablement)
				}
				if e := w.plan.In.Outputs[o].Equipment; e >= 0 && w.d.Fact(term.Fact{Kind: term.EquipmentDisabled, Index: e}) {
					t.see(byDisablement)
					w.equipment[e].see(byDisablement)
				}
				if program.Silenceable(pair.Effect) && w.d.Silenced(o) >= pair.State && pair.State != term.Off {
					t.see(bySilence)
					w.outputs[o].see(silenced)
				}
			}
		}
	}
	w.modes[mode(w.d)].see(seenTrue)
}

// drives notes the input of equipment that an output has just operated.
func (w *watcher) drives(e *sim.Event) {
	out := &w.plan.In.Outputs[e.Subject]
	if out.Equipment >= 0 && w.d.InputOperated(int(out.Equipment), int(out.Input)) {
		w.equipment[out.Equipment].see(w.plan.In.Plant.InputName(int(out.Equipment), int(out.Input)) + operated)
	}
}
