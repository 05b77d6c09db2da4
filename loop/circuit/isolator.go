package circuit

import "math"

// feed is where the positive core is parted while a circuit is active. Sections of the cable are
// counted from the first terminals; those that are joined to them are the first ones, those that
// are joined to the return terminals of a ring the last ones.
type feed struct {
	whole bool // everything is joined to everything: no isolator and no terminal is open
	first int  // sections joined to the first terminals
	back  int  // sections joined to the return terminals
	far   bool // the load at which those meet hangs on the terminal towards the return
}

// parts reports whether the module's terminals part from a shorted section as isolators would: it
// feeds a ring that isolators divide.
func (c *Circuit) parts() bool { return c.ring && c.sections > 1 }

// joined reports whether a section is fed.
func (f feed) joined(section, sections int) bool {
	return f.whole || section < f.first || section >= sections-f.back
}

// closed reports whether the isolator before a section is closed.
func (f feed) closed(section, sections int) bool {
	return f.whole || section < f.first || section > sections-f.back
}

// part opens isolators and terminals in the ladder. A load with an open isolator inside hangs on
// that of its two terminals which is fed: on the far one where the section before it is not, or is
// broken before it comes there.
func (w *Work) part(c *Circuit) {
	if w.feed.whole {
		return
	}
	for i := range c.runs {
		section := c.runs[i].section
		switch {
		case !c.runs[i].isolator || w.feed.closed(section, c.sections):
		case section == c.sections-w.feed.back && (section > w.feed.first || w.feed.far):
			w.rungs[2*i].along[0] = 0
		default:
			w.rungs[2*i+1].along[0] = 0
		}
	}
	if w.feed.first == 0 {
		w.rungs[1].along[0] = 0
	}
	if w.both && w.feed.back == 0 {
		w.rungs[len(w.rungs)-1].along[0] = 0
	}
}

// isolate solves an active circuit with its isolators where they settle, and reports whether there
// is a steady solution. They stay closed where all of them together hold. Otherwise each end closes
// one after another, outwards, until one would not hold, first from the first terminals and then
// from the return: of the isolators beside a shorted section neither does. More sections never hold
// where fewer did not, so the last that holds is found by halving.
func (w *Work) isolate(c *Circuit, s *State) bool {
	if w.tries(c, s, feed{whole: true}) || c.sections == 1 {
		return w.steady
	}
	at := feed{first: 1}
	if c.parts() {
		at.first = w.reach(c, s, 0, c.sections, func(n int) feed { return feed{first: n} })
		at.back = w.reach(c, s, 0, c.sections-at.first, func(n int) feed { return feed{first: at.first, back: n} })
	} else {
		at.first = w.reach(c, s, 1, c.sections, func(n int) feed { return feed{first: n} })
	}
	w.tries(c, s, at)
	if w.steady && at.first+at.back == c.sections && at.first > 0 && at.back > 0 && w.across(c.before(at.first)) < isolatorOpensV {
		at.far = true
		w.tries(c, s, at)
	}
	return w.steady
}

// before is the load whose isolator stands before a section.
func (c *Circuit) before(section int) int {
	for i := range c.runs {
		if c.runs[i].section == section {
			return i - 1
		}
	}
	panic("circuit: no such section")
}

// reach is the largest number up to most whose feed holds; least is taken to hold.
func (w *Work) reach(c *Circuit, s *State, least, most int, of func(int) feed) int {
	for least < most {
		middle := (least + most + 1) / 2
		if w.tries(c, s, of(middle)) {
			least = middle
		} else {
			most = middle - 1
		}
	}
	return least
}

// tries solves with the isolators as given and reports whether they would stay so.
func (w *Work) tries(c *Circuit, s *State, f feed) bool {
	w.feed = f
	w.lay(c, s, 0)
	w.steady = w.settle(c, s)
	return w.steady && w.holds(c)
}

// holds reports whether no closed isolator or terminal would open, after a solve: none has too
// little voltage at its own terminals, no section that it borders is shorted, and the circuit takes
// no more than a healthy one could, short of starting currents. An isolator that watches its current
// does as much (common practice): at a stiff supply, over some cable, the voltage alone says little.
func (w *Work) holds(c *Circuit) bool {
	if c.sections == 1 {
		return true
	}
	for i := range c.runs {
		r := &c.runs[i]
		if !w.feed.joined(r.section, c.sections) {
			continue
		}
		if r.isolator && w.feed.closed(r.section, c.sections) && w.across(i-1) < isolatorOpensV {
			return false
		}
		if w.shorted(&w.rungs[2*i+1]) {
			return false
		}
	}
	return w.sourceAmps() <= float64(overloadTimes*c.rated)
}

// shorted reports whether what is wrong in the middle of a run pulls its voltage down. A short that
// no current reaches is not felt.
func (w *Work) shorted(r *rung) bool {
	between := r.volts[0] - r.volts[1]
	felt := math.Abs(float64(r.across * between))
	if w.earths >= 2 {
		for k, g := range r.earth {
			felt = max(felt, math.Abs(float64(g*(r.volts[k]-w.earthV))))
		}
	}
	return between < isolatorOpensV && felt > feltA
}

// Class is the pathway class that the wiring achieves (NFPA 72 chapter 12 for the meanings): "a"
// where no single break silences a load, "x" where besides no single short does more than its
// section between two isolators, else "b".
func (c *Circuit) Class() string {
	switch {
	case len(c.loads) == 0 || !c.ring:
		return "b"
	case c.parts():
		return "x"
	}
	return "a"
}

// Isolators returns how many there are that divide the cable: one in the last load of a branch has
// nothing beyond it.
func (c *Circuit) Isolators() int { return c.sections - 1 }

// IsolatorOhm is the resistance of all of them, closed.
func (c *Circuit) IsolatorOhm() float64 { return float64(isolatorOhm * float64(c.Isolators())) }

// LostToBreak is the most loads that one break of a run silences.
func (c *Circuit) LostToBreak() int {
	if c.ring {
		return 0
	}
	return len(c.loads)
}

// LostToShort is the most loads that one short at rest silences. Without class X the module holds
// the whole circuit off; with it a section loses its loads, apart from those with an isolator, which
// are fed from their other side.
func (c *Circuit) LostToShort() int {
	if !c.parts() {
		return len(c.loads)
	}
	most, here := 0, 0
	for i := range c.loads {
		if c.runs[i].isolator {
			here = 0
		}
		if !c.runs[i+1].isolator {
			here++
		}
		most = max(most, here)
	}
	return most
}
