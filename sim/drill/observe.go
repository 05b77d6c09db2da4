package drill

import (
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// What an observer may ask between two instants, beside facts and the log.

// Withheld reports whether a pair of a cause and an effect would demand its state, were it not for
// the action's `unless`.
func (d *Drill) Withheld(pair int) bool { return d.plan.Program.Withheld(d.program, pair) }

// Active reports whether a pair of a cause and an effect demands its state.
func (d *Drill) Active(pair int) bool { return d.plan.Program.Active(d.program, pair) }

// Silenced is the state up to which silence removes demands on an output; rest for none.
func (d *Drill) Silenced(o int32) term.State { return d.plan.Program.Silenced(d.program, int(o)) }

// InputOperated reports whether contacts operate an input of a piece of equipment now.
func (d *Drill) InputOperated(e, input int) bool { return d.operated[d.plan.first[e]+input] }

// Driven reports whether any output drives an input of a piece of equipment.
func (p *Plan) Driven(e, input int) bool { return len(p.drivers[p.first[e]+input]) > 0 }

// Proven reports whether any input can prove to the panel that a piece of equipment did its fire action.
func (p *Plan) Proven(e int) bool {
	return slices.ContainsFunc(p.proofs[e], func(point int32) bool {
		_, proves := p.In.Plant.Proof(e, int(p.In.Points[point].ProvesSignal))
		return proves
	})
}

// AtPanel reports whether somebody at the panel does it, and so at an access level.
func (k ActKind) AtPanel() bool { return k.operator() }

// InputActive reports whether the own output of a point's device is active now, read or not.
func (d *Drill) InputActive(point int32) bool { return d.points[point].active }

// Inhibited reports whether an output is at rest because an `off` overrides all else.
func (d *Drill) Inhibited(o int32) bool { return d.plan.Program.Inhibited(d.program, int(o)) }
