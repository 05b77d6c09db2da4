package wire

import "math"

// iterate finds the voltages at which every device draws its power, and its constant current. It takes Newton's steps down from
// the driver's voltage: the current of a device is a convex function of its voltage, so that each
// step, from where the circuit of tangents is stable, leads to the highest solution or above it, and
// the last ones double the digits, whatever the number of devices. Where no step leads on, because the
// tangents are unstable or would leave a device with less than a volt, the present currents are put in
// instead, as the voltage itself would fall: a device that falls below a volt leaves the line. What
// does not settle within the bound has no solution: the line has collapsed.
func (n *Network) iterate(s *State) {
	w := &s.work
	for k := range w.nodes {
		w.v[k] = pair{n.volts, 0}
	}
	for range mostIterations {
		if !n.step(s) {
			n.once(s)
		}
		if w.driver.collapsed {
			return
		}
		if n.redraw(w) < settledShare {
			if w.tree { // so far only the voltage between the cores has been looked for
				n.once(s)
			}
			return
		}
	}
	w.driver = driver{collapsed: true}
	clear(w.v[:len(w.nodes)])
}

// redraw puts in the currents that the powers mean at the voltages found, takes devices with less than a
// volt off the line, and returns the greatest difference to the currents solved for, as a share.
func (n *Network) redraw(w *work) float64 {
	worst := 0.0
	for e := range w.draw {
		if w.want[e] == 0 || w.off[e] {
			continue
		}
		at := w.at[e]
		if w.below(at, starved) {
			w.off[e], worst = true, math.Inf(1)
			continue
		}
		v := w.v[at].p - w.v[at].n
		amps := w.fixed[e] + float64((w.want[e]-w.fixed[e])*n.volts)/v
		worst = max(worst, math.Abs(amps-w.draw[e])/amps)
		w.draw[e] = amps
	}
	return worst
}

// step takes one of Newton's: it solves with the tangent of each device's current at the voltage
// across it, twice the current of its power less a conductance, beside its constant current. It tells whether the step can be taken; if so,
// draw is the current by tangent.
func (n *Network) step(s *State) bool {
	s.solves++
	w := &s.work
	clear(w.inject[:len(w.nodes)])
	if w.tree {
		w.lean()
		w.furl()
	} else {
		n.shunt(s)
		w.lean()
		w.bent = true
		w.reduce()
		w.forward()
	}
	if w.unstable {
		return false
	}
	if n.drive(w); w.unstable || w.driver.collapsed {
		return false
	}
	if w.tree {
		w.unfurl()
	} else {
		w.back()
	}
	for e := range w.draw {
		if w.want[e] != 0 && !w.off[e] && !(w.v[w.at[e]].p-w.v[w.at[e]].n >= starved/1e6) {
			return false
		}
	}
	for e := range w.draw {
		if w.want[e] != 0 && !w.off[e] {
			at := w.at[e]
			w.draw[e] = float64(2*w.draw[e]) - w.fixed[e] - float64(w.tangent[e]*(w.v[at].p-w.v[at].n))
		}
	}
	return true
}

// lean puts the tangents to their nodes: conductances among the shunts, currents among those drawn.
func (w *work) lean() {
	if w.tree {
		for k := range w.nodes {
			w.fills[k].y = 0
		}
	}
	for e := range w.draw {
		if w.want[e] == 0 || w.off[e] {
			continue
		}
		at := w.at[e]
		w.tangent[e] = (w.draw[e] - w.fixed[e]) / (w.v[at].p - w.v[at].n)
		w.fills[at].y -= w.tangent[e]
		w.inject[at].p -= float64(2*w.draw[e]) - w.fixed[e]
		w.inject[at].n += float64(2*w.draw[e]) - w.fixed[e]
	}
}

// furl and unfurl are reduce, forward and back where each core is a tree of its own: what one core
// carries out the other brings back, so that the voltage between them is that of a single line with
// the resistance of both. What lies beyond a link counts as a conductance y and a current j drawn,
// and through the link both are less by 1 + r y.
func (w *work) furl() {
	w.border, w.unstable = border{}, false
	for k := len(w.nodes) - 1; k >= 0; k-- {
		d, y, j := &w.nodes[k], w.fills[k].y, w.inject[k].p
		if y == 0 && j == 0 { // nothing is drawn beyond, and the link may be open
			w.fills[k].pd = 1
			continue
		}
		through := 1 + float64((d.ohm.p+d.ohm.n)*y)
		if through <= 0 {
			w.unstable = true
			return
		}
		share := 1 / through
		w.fills[k].pd = share
		if k == 0 {
			w.border.dg, w.border.jd = float64(y*share), float64(j*share)
			return
		}
		w.fills[d.parent].y += float64(y * share)
		w.inject[d.parent].p += float64(j * share)
	}
}

func (w *work) unfurl() {
	for k := range w.nodes {
		d, v := &w.nodes[k], w.border.vd
		if k > 0 {
			v = w.v[d.parent].p
		}
		if w.fills[k].y != 0 || w.inject[k].p != 0 {
			v = float64((v + float64((d.ohm.p+d.ohm.n)*w.inject[k].p)) * w.fills[k].pd)
		}
		w.v[k] = pair{v, 0}
	}
}
