package wire

// weights are what is left of a node once it is eliminated: the share of each neighbour in its
// voltage, which is also the share of its current that goes there, and its own resistance. The
// positive core goes first, so the negative one is a neighbour of it and not the reverse.
type weights struct {
	pn, pP, pD, pE, pOhm float64 // to the negative core, the parent's positive, the driver, earth
	nP, nN, nD, nE, nOhm float64
	up                   int32 // parent
}

// border is what is between driver, its negative terminal and earth once all nodes are gone.
type border struct {
	dg, de, ge float64 // siemens
	jd, je     float64 // amperes into the driver's terminal and into earth
	vd, ve     float64 // volts
}

// driver is the driver's part of a solution.
type driver struct {
	volts, amps float64
	collapsed   bool
}

// fill is the conductance of a node to driver, ground and earth that elimination leaves behind.
type fill struct{ pd, pg, pe, nd, ng, ne, y float64 }

// eliminate reduces the circuit node by node, the last first, to the three borders: driver's
// terminal, its negative terminal (ground) and earth. A node without any conductance floats; its
// weights are zero and so is its voltage.
func (n *Network) eliminate(s *State) {
	n.shunt(s)
	s.work.bent = false
	s.work.reduce()
}

// shunt sets what of each node leads elsewhere than along its links: shorts, earths, the far terminal.
func (n *Network) shunt(s *State) {
	w := &s.work
	count := len(w.nodes)
	for len(w.w) < count {
		w.w, w.inject, w.v, w.fills = append(w.w, weights{}), append(w.inject, pair{}), append(w.v, pair{}), append(w.fills, fill{})
	}
	for k := range count {
		d := &w.nodes[k]
		w.fills[k] = fill{y: d.short}
		if w.earths > 1 { // a single earth is joined to nothing: it changes nothing
			w.fills[k].pe, w.fills[k].ne = d.earth.p, d.earth.n
		}
	}
	if w.end >= 0 && !s.iso[farEnd].open {
		w.fills[w.end].pd, w.fills[w.end].ng = 1/leastOhm, 1/leastOhm
	}
	w.tree = w.shunts == 0 && w.earths < 2 && (w.end < 0 || s.iso[farEnd].open)
}

// reduce is the elimination itself. It is unstable where a conductance comes out negative, as it may
// with those of tangents.
func (w *work) reduce() {
	w.border, w.unstable = border{}, false
	for k := len(w.nodes) - 1; k > 0; k-- {
		w.starMesh(k, &w.fills[w.nodes[k].parent])
	}
	var top fill // a node at the driver itself: positive = driver, negative = ground
	w.starMesh(0, &top)
	b := &w.border
	b.dg += top.y + top.pg + top.nd
	b.de += top.pe
	b.ge += top.ne
}

// starMesh eliminates both cores of node k: each pair of neighbours gets the product of
// its conductances over their sum.
func (w *work) starMesh(k int, up *fill) {
	d, f, x, b := &w.nodes[k], &w.fills[k], &w.w[k], &w.border
	*x = weights{up: d.parent}
	gp, gn := 1/d.ohm.p, 1/d.ohm.n
	nP := 0.0 // negative core to the parent's positive
	sum := f.y + gp + f.pd + f.pg + f.pe
	w.unstable = w.unstable || sum < 0
	if sum > 0 {
		x.pOhm = 1 / sum
		x.pn, x.pP, x.pD, x.pE = float64(f.y*x.pOhm), float64(gp*x.pOhm), float64(f.pd*x.pOhm), float64(f.pe*x.pOhm)
		nP = float64(x.pn * gp)
		f.nd += float64(x.pn * f.pd)
		f.ng += float64(x.pn * f.pg)
		f.ne += float64(x.pn * f.pe)
		up.pd += float64(x.pP * f.pd)
		up.pg += float64(x.pP * f.pg)
		up.pe += float64(x.pP * f.pe)
		b.dg += float64(x.pD * f.pg)
		b.de += float64(x.pD * f.pe)
		b.ge += float64(x.pE * f.pg)
	}
	sum = nP + gn + f.nd + f.ng + f.ne
	w.unstable = w.unstable || sum < 0
	if sum > 0 {
		x.nOhm = 1 / sum
		x.nP, x.nN, x.nD, x.nE = float64(nP*x.nOhm), float64(gn*x.nOhm), float64(f.nd*x.nOhm), float64(f.ne*x.nOhm)
		up.y += float64(x.nP * gn)
		up.pd += float64(x.nP * f.nd)
		up.pg += float64(x.nP * f.ng)
		up.pe += float64(x.nP * f.ne)
		up.nd += float64(x.nN * f.nd)
		up.ng += float64(x.nN * f.ng)
		up.ne += float64(x.nN * f.ne)
		b.dg += float64(x.nD * f.ng)
		b.de += float64(x.nD * f.ne)
		b.ge += float64(x.nE * f.ng)
	}
}

// solve computes every node voltage for the currents wanted (amperes by entry at the driver's
// voltage, zero where an entry is not joined), then takes off the line whatever has no voltage left
// to work with, until nothing more goes. Time: proportional to the nodes, times as often as
// something goes.
func (n *Network) solve(s *State) {
	w := &s.work
	w.solved = true
	clear(w.off)
	copy(w.draw, w.want)
	for {
		if n.power {
			n.iterate(s)
		} else {
			n.once(s)
		}
		if w.driver.collapsed || !w.starve() {
			return
		}
	}
}

// place puts the entries' currents at their nodes.
func (w *work) place() {
	clear(w.inject[:len(w.nodes)])
	at0 := w.at[:len(w.draw)]
	for e, amps := range w.draw {
		if amps != 0 && !w.off[e] {
			at := &w.inject[at0[e]]
			at.p -= amps
			at.n += amps
		}
	}
}

// once solves for the drawn currents: down to the driver, the driver, and up again.
func (n *Network) once(s *State) {
	s.solves++
	w := &s.work
	if w.bent {
		n.eliminate(s)
	}
	w.place()
	if w.tree {
		w.gather()
	} else {
		w.forward()
	}
	if n.drive(w) {
		clear(w.inject[:len(w.nodes)]) // folded back: nothing has the voltage to draw
	}
	if w.tree {
		w.spend()
	} else {
		w.back()
	}
}

// gather and spend are forward and back where each core is a tree of its own: a node's current is
// the sum of all beyond, and its voltage its parent's less the drop.
func (w *work) gather() {
	count := len(w.nodes)
	ws, inject := w.w[:count], w.inject[:count]
	for k := count - 1; k > 0; k-- {
		x, j := &ws[k], &inject[k]
		up := &inject[ws[k].up]
		up.p += float64(x.pP * j.p)
		up.n += float64(x.nN * j.n)
	}
	w.border = border{jd: float64(ws[0].pP * inject[0].p)}
}

func (w *work) spend() {
	count := len(w.nodes)
	ws, inject, vs := w.w[:count], w.inject[:count], w.v[:count]
	up := pair{w.border.vd, 0}
	for k := range count {
		if k > 0 {
			up = vs[ws[k].up]
		}
		x, j := &ws[k], &inject[k]
		vs[k] = pair{float64(x.pP*up.p) + float64(x.pOhm*j.p), float64(x.nN*up.n) + float64(x.nOhm*j.n)}
	}
}

func (w *work) forward() {
	count := len(w.nodes)
	ws, inject := w.w[:count], w.inject[:count]
	jd, je := 0.0, 0.0
	for k := count - 1; k >= 0; k-- {
		x, j := &ws[k], &inject[k]
		j.n += float64(x.pn * j.p)
		jd += float64(x.pD*j.p) + float64(x.nD*j.n)
		je += float64(x.pE*j.p) + float64(x.nE*j.n)
		if k == 0 {
			jd += float64(x.pP*j.p) + float64(x.nP*j.n)
			break
		}
		up := &inject[ws[k].up]
		up.p += float64(x.pP*j.p) + float64(x.nP*j.n)
		up.n += float64(x.nN * j.n)
	}
	w.border.jd, w.border.je = jd, je
}

func (w *work) back() {
	count := len(w.nodes)
	ws, inject, vs := w.w[:count], w.inject[:count], w.v[:count]
	vd, ve := w.border.vd, w.border.ve
	for k := range count {
		up := pair{vd, 0}
		if k > 0 {
			up = vs[ws[k].up]
		}
		x, j, v := &ws[k], &inject[k], &vs[k]
		v.n = float64(x.nP*up.p) + float64(x.nN*up.n) + float64(x.nD*vd) + float64(x.nE*ve) + float64(x.nOhm*j.n)
		v.p = float64(x.pn*v.n) + float64(x.pP*up.p) + float64(x.pD*vd) + float64(x.pE*ve) + float64(x.pOhm*j.p)
	}
}

// drive finds the driver's voltage and current. It returns true where the driver has folded back:
// what is left then is the short alone.
func (n *Network) drive(w *work) bool {
	b := &w.border
	g, demand := b.dg, -b.jd
	earth := b.de + b.ge
	if earth > 0 {
		g += float64(b.de * b.ge / earth)
		demand -= float64(b.je * b.de / earth)
	}
	w.unstable = float64(n.source*g) <= -1
	volts := (n.volts - float64(n.source*demand)) / (1 + float64(n.source*g))
	amps := float64(g*volts) + demand
	folded := false
	if micro(amps) > micro(n.limit) {
		volts, amps = (n.limit-demand)/max(g, leastSiemens), n.limit
		if micro(volts) < foldback {
			folded = true
			amps = float64(foldbackShare * n.limit)
			volts = amps / max(g, leastSiemens)
			if micro(volts) >= foldback { // loads, and no short, ask for too much
				volts, amps = 0, 0
			}
		}
	}
	w.driver = driver{volts, amps, folded}
	b.vd, b.ve = volts, 0
	if earth > 0 {
		je := b.je
		if folded {
			je = 0
		}
		b.ve = (float64(b.de*volts) + je) / earth
	}
	return folded
}

// starve takes devices off the line that would be left with less than a volt, and tells whether
// there were any.
func (w *work) starve() (some bool) {
	for e, amps := range w.draw {
		if amps != 0 && !w.off[e] && w.below(w.at[e], starved) {
			w.off[e], some = true, true
		}
	}
	return some
}

// across is the voltage between the cores of a node, microvolts.
func (w *work) across(k int32) int64 { return micro(w.v[k].p - w.v[k].n) }

// below tells whether the voltage of a node is below some microvolts; it rounds only near them.
func (w *work) below(k int32, micro int64) bool {
	v := w.v[k].p - w.v[k].n
	return !(v > float64(micro+10)/1e6) && w.across(k) < micro
}

// ConstantPower returns the same loop with devices that draw all that they draw as constant power: that which
// their currents mean at the driver's voltage.
func (n *Network) ConstantPower() *Network {
	c := *n
	c.power, c.all = true, true
	c.safe = c.healthy()
	return &c
}
