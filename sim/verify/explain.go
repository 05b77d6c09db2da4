package verify

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/drill"
)

// The links between a stimulus and the equipment, in order: the first that is missing explains a
// cell that does not do as required.
const (
	linkSeen      = "stimulus seen"
	linkConfirmed = "confirmed"
	linkCondition = "condition"
	linkTaken     = "device, and its zone, neither disabled nor in test"
	linkPassed    = "signal passed on by the detection of its zone"
	linkCause     = "cause true"
	linkAction    = "action present and not inhibited"
	linkEnabled   = "output, and its equipment, not disabled"
	linkSwitch    = "left to automatic control by its switches"
	linkCommanded = "commanded"
	linkReached   = "module fed and reachable"
	linkOperated  = "operated"
)

// explain gives every difference its chain, or the first broken link.
func (j *judgement) explain() {
	for i := range j.out.diffs {
		d := &j.out.diffs[i]
		if d.did != nil {
			d.links, d.linkTimes = j.chain(d.did.event)
			if d.verdict == wrongState || d.verdict == late || d.verdict == early || d.verdict == unexpected {
				continue
			}
		}
		if d.stage == "fire" && d.broken == "" && d.verdict != errored && !d.switched {
			d.broken = j.brokenLink(d)
		}
		if d.broken != "" && len(d.links) == 0 {
			d.links, d.linkTimes = j.lastOf(d)
		}
	}
}

// chain is the events that led to event n, in words.
func (j *judgement) chain(n uint64) (words []string, at []int64) {
	log := j.c.d.Log()
	for _, k := range j.c.d.Chain(n) {
		e := log.Event(k)
		words = append(words, j.w.v.plan.Describe(e))
		at = append(at, int64(e.At))
	}
	return words, at
}

// brokenLink finds the first link that is missing between the run's signals and an output that
// should have changed, as things stood when it was required or came to be later.
func (j *judgement) brokenLink(d *difference) string {
	seen := j.linksOf(d)
	for _, s := range j.r.signals {
		if !seen.read[int32(s.Point)] {
			return linkSeen
		}
		if !seen.decided[int32(s.Point)] {
			return linkConfirmed
		}
	}
	if d.row >= 0 && j.truthOf(d.row) == nil {
		return linkCondition
	}
	if link := j.programLink(d, seen.causes, seen.pairs); link != "" {
		return j.untaken(link, seen.waiting)
	}
	_, overridden := j.c.d.Overridden(d.output)
	switch {
	case j.c.d.Disabled(d.output):
		return linkEnabled
	case overridden:
		return linkSwitch
	case !seen.demanded:
		return linkAction
	case !seen.sent && j.w.v.plan.In.Outputs[d.output].Point >= 0:
		return linkCommanded
	case seen.lost:
		return linkReached
	}
	return linkOperated
}

// untaken names, where no cause is true, what keeps the run's signals from the program, if something does.
func (j *judgement) untaken(link string, waiting map[int32]bool) string {
	if link != linkCause {
		return link
	}
	for _, s := range j.r.signals {
		if j.w.disabled(j.c, term.Fact{Index: int32(s.Point)}) {
			return linkTaken
		}
		if waiting[int32(s.Point)] {
			return linkPassed
		}
	}
	return link
}

// linksSeen is how far a run came on its way to an output.
type linksSeen struct {
	read, decided, waiting map[int32]bool // points: read active, decided, held by the detection of their zone
	causes, pairs          map[int32]bool // true, active
	demanded, sent, lost   bool           // of the output: its demand, its command, and that nobody heard this
}

// linksOf reads the log up to silence.
func (j *judgement) linksOf(d *difference) linksSeen {
	log := j.c.d.Log()
	seen := linksSeen{read: map[int32]bool{}, decided: map[int32]bool{}, waiting: map[int32]bool{}, causes: map[int32]bool{}, pairs: map[int32]bool{}}
	for n := 1; n <= log.Len(); n++ {
		e := log.Event(uint64(n))
		if e.At >= j.c.silence {
			break
		}
		if f, on, ok := confirmed(e); ok && on {
			seen.read[e.Subject] = true
			seen.decided[e.Subject] = seen.decided[e.Subject] || f.Kind != term.DeviceActive || !j.w.v.plan.World.Points[e.Subject].Input.Fire()
		}
		if begins, about := drill.Holds(e.Kind); about && j.signals(e.Subject) {
			seen.waiting[e.Subject] = begins
		}
		on := e.Value != 0
		if !on && e.At > d.at {
			continue // what was there when it was required may end later
		}
		mine := e.Subject == d.output
		switch {
		case e.Kind == drill.CauseChanged:
			seen.causes[e.Subject] = on
		case e.Kind == drill.ActionChanged:
			seen.pairs[e.Subject] = on
		case e.Kind == drill.OutputDemanded && mine:
			seen.demanded, seen.sent, seen.lost = on, false, false
		case e.Kind == drill.CommandSent && mine:
			seen.sent = on
		case e.Kind == drill.CommandHeard && mine:
			seen.lost = e.Extra == 0
		}
	}
	return seen
}

// programLink looks for a cause that is true and an action that joins it with the output.
func (j *judgement) programLink(d *difference, causes, pairs map[int32]bool) string {
	program := j.w.v.plan.Program
	effects := program.OutputEffects(int(d.output))
	present, caused := false, false
	for i := range program.Pairs() {
		pair := program.Pair(i)
		if !slices.Contains(effects, int32(pair.Effect)) || d.begun != nil && inMatrix(pair.State) != d.begun.State {
			continue
		}
		present = true
		caused = caused || causes[int32(pair.Cause)]
		if pairs[int32(i)] {
			return ""
		}
	}
	switch {
	case !present:
		return linkAction
	case !caused:
		return linkCause
	}
	return linkAction
}

// lastOf is the chain of the last thing that happened towards the output: its demand, or the
// decision on the run's last signal.
func (j *judgement) lastOf(d *difference) (words []string, at []int64) {
	last := j.lastTowards(d.output)
	if last == 0 {
		return nil, nil
	}
	return j.chain(last)
}

func aboutOutput(e *sim.Event, o int32) bool {
	switch e.Kind {
	case drill.OutputDemanded, drill.CommandSent, drill.CommandHeard:
		return e.Subject == o
	}
	return false
}

// coverage is what a run exercised.
type coverage struct{ causes, pairs, outputs []bool }

func newCoverage(v *Verifier) *coverage {
	return &coverage{
		causes:  make([]bool, v.plan.Program.Causes()),
		pairs:   make([]bool, v.plan.Program.Pairs()),
		outputs: make([]bool, len(v.plan.In.Outputs)),
	}
}

// seen notes what the run exercised.
func (j *judgement) seen() {
	c := newCoverage(j.w.v)
	for _, e := range j.c.d.Log().Since(0) {
		switch {
		case e.Kind == drill.CauseChanged && e.Value == 1:
			c.causes[e.Subject] = true
		case e.Kind == drill.ActionChanged && e.Value == 1:
			c.pairs[e.Subject] = true
		case e.Kind == drill.OutputOperated && e.Value != 0:
			c.outputs[e.Subject] = true
		}
	}
	j.out.seen = c
}

func (c *coverage) add(o *coverage) {
	or := func(to, from []bool) {
		for i, b := range from {
			to[i] = to[i] || b
		}
	}
	or(c.causes, o.causes)
	or(c.pairs, o.pairs)
	or(c.outputs, o.outputs)
}
