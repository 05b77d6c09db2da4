package wire

import "time"

// Feed switches the driver of the loop off, or on again. Without it no terminal is driven: devices
// lose their voltage, and isolators open one and all, as they do on a dead piece of line. When it
// is back they test and close one after another from the first terminal, and a ring is driven from
// there alone.
func (n *Network) Feed(s *State, now time.Duration, on bool, event uint64, sink Sink) {
	if s.dark == !on {
		return
	}
	s.reach(now)
	s.dark, s.cause = !on, event
	if !on && s.far {
		s.far = false
		n.move(s, farEnd, true, event, sink)
	}
	n.settle(s, true, true, sink)
}

// darken lets isolators and devices see a line without a driver.
func (n *Network) darken(s *State, sink Sink) {
	s.safe, s.work.fresh = false, false
	s.limited, s.strained, s.strainDue = false, false, never
	s.touch()
	if s.collapsed {
		s.collapsed = false
		s.cause = sink.Note(Change{CollapsedChanged, 0, false, s.cause})
	}
	for i := range s.iso {
		iso := &s.iso[i]
		iso.blocked = false
		if iso.low = !iso.open; i == farEnd || iso.stuck != Free || iso.open {
			iso.due = never
			continue
		}
		iso.arm(true, s.now+OpenTime, s.cause)
	}
	for e := range s.dev {
		n.see(s, int32(e), 0, sink)
	}
	s.arrange()
}
