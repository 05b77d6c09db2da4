package drill

import (
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/term"
)

// chainLimit is the greatest number of events of a chain; the first ones fall away.
const chainLimit = 100

// Chain returns the numbers of the events that led to event n, first to last, n itself last: its
// parent, that one's parent, and so on.
func (d *Drill) Chain(n uint64) []uint64 {
	var chain []uint64
	for ; n != 0 && len(chain) < chainLimit; n = d.log.Event(n).Parent {
		chain = append(chain, n)
	}
	slices.Reverse(chain)
	return chain
}

// LastAbout returns the number of the last event, up to and including the instant until, that
// happened to anything the facts are about; 0 if nothing has happened to any of them.
func (d *Drill) LastAbout(facts []term.Fact, until time.Duration) uint64 {
	type thing struct {
		space space
		index int32
	}
	about := map[thing]bool{}
	for _, f := range facts {
		s, i := d.plan.thingOf(f)
		about[thing{s, i}] = true
	}
	for n := d.log.Len(); n > 0; n-- {
		e := d.log.Event(uint64(n))
		if e.At > until {
			continue
		}
		s, i := spaceOf(e), e.Subject
		switch e.Kind {
		case PanelChanged:
			s = ofPanel
		case PanelStopped:
			s, i = ofPanel, int32(term.PanelStopped)
		}
		if about[thing{s, i}] {
			return uint64(n)
		}
	}
	return 0
}

// thingOf is what a fact is about.
func (p *Plan) thingOf(f term.Fact) (space, int32) {
	switch f.Kind {
	case term.ZoneDisabled, term.ZoneTest, term.ZoneConfirmed:
		return ofZone, f.Index
	case term.OutputCommanded, term.OutputFault, term.OutputDisabled, term.OutputState, term.OutputCadence:
		return ofOutput, f.Index
	case term.LoadOn, term.LoadSounding:
		return ofOutput, p.In.Loads[f.Index].Output
	case term.SupplyFault:
		return ofSupply, f.Index
	case term.LoopFault:
		return ofLoop, f.Index
	case term.EquipmentProven, term.EquipmentState, term.EquipmentDisabled:
		return ofEquipment, f.Index
	case term.ControlOn:
		return ofControl, f.Index
	case term.OverrideAt:
		return ofOverride, f.Index
	case term.CauseTrue:
		return ofCause, f.Index
	case term.PanelMode, term.PanelAcknowledged, term.PanelSilenced, term.PanelEvacuate, term.PanelBuzzer, term.PanelStopped:
		return ofPanel, int32(f.Kind)
	}
	return ofPoint, f.Index
}
