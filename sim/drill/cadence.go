package drill

import (
	"time"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop/cadence"
)

// Cadence is how the sounders of an output sound now, and the instant at which that began: when the
// output went into its state. An output without sounders is silent.
func (d *Drill) Cadence(o int32) (cadence.Pattern, time.Duration) {
	out := &d.outputs[o]
	var since time.Duration
	if out.event != 0 {
		since = d.log.Event(out.event).At
	}
	if !d.plan.In.Outputs[o].Sounder {
		return cadence.Silent, since
	}
	switch out.state {
	case term.Alert:
		return d.plan.In.Cadences.Alert, since
	case term.Evacuate:
		return d.plan.In.Cadences.Evacuate, since
	}
	return cadence.Silent, since
}

// sounding reports whether a load sounds at the last instant executed: it works, and its output's
// pattern is on. The loads of one output share the pattern's origin, and so are in step.
func (d *Drill) sounding(load int32) bool {
	l := &d.plan.In.Loads[load]
	pattern, since := d.Cadence(l.Output)
	return l.Sounder && d.loads[load] && pattern.On(max(d.instant, 0)-since)
}
