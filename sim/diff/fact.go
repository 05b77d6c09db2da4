package diff

import (
	"cmp"
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/logic/term"
)

// indexed is the matching in whose numbers facts of a kind are indexed; nil for kinds without an index.
func (p *pairing) indexed(k term.Kind) *matching {
	switch k {
	case term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault, term.DeviceDisabled, term.DeviceFed, term.DeviceReachable:
		return &p.points
	case term.ZoneDisabled, term.ZoneTest, term.ZoneConfirmed:
		return &p.zones
	case term.OutputCommanded, term.OutputFault, term.OutputDisabled, term.OutputState, term.OutputCadence:
		return &p.outputs
	case term.SupplyFault:
		return &p.supplies
	case term.LoopFault:
		return &p.loops
	case term.EquipmentProven, term.EquipmentState, term.EquipmentDisabled:
		return &p.equipment
	case term.ControlOn:
		return &p.controls
	case term.OverrideAt:
		return &p.overrides
	case term.LoadOn, term.LoadSounding:
		return &p.loads
	case term.CauseTrue:
		return &p.causes
	}
	return nil
}

// commonFact puts a fact of one side into common numbers.
func (p *pairing) commonFact(side int, f term.Fact) term.Fact {
	if m := p.indexed(f.Kind); m != nil && side == 1 {
		f.Index = m.common(f.Index)
	}
	return f
}

// sideFact puts a common fact into the numbers of one side; false where that side has no such thing.
func (p *pairing) sideFact(side int, f term.Fact) (term.Fact, bool) {
	m := p.indexed(f.Kind)
	if m == nil {
		return f, true
	}
	index, ok := m.side(side, f.Index)
	f.Index = index
	return f, ok
}

// compareFacts orders facts: settings of the panel first, since many conditions turn on them, then
// kind by kind in file order.
func compareFacts(a, b term.Fact) int {
	return cmp.Or(-cmp.Compare(rankOf(a.Kind), rankOf(b.Kind)), cmp.Compare(a.Index, b.Index), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Value, b.Value))
}

func rankOf(k term.Kind) int {
	switch k {
	case term.DeviceFire, term.DeviceActive, term.DevicePrealarm, term.DeviceSupervisory, term.DeviceFault, term.DeviceDisabled:
		return 0 // of one device side by side
	}
	return int(k)
}

// sortedFacts lists facts in the order of variables.
func sortedFacts(all map[term.Fact]bool) []term.Fact {
	list := make([]term.Fact, 0, len(all))
	for f := range all { // order does not show: the list is sorted
		list = append(list, f)
	}
	slices.SortFunc(list, compareFacts)
	return list
}

// causeDepth bounds how deep causes may name one another; the compiler has refused cycles.
const causeDepth = 10_000

// expand replaces cause(..) by its condition, and puts all facts into common numbers.
func (p *pairing) expand(side int, t *term.Term, causes []*term.Term, depth int) *term.Term {
	if t == nil {
		return term.False()
	}
	if depth > causeDepth {
		panic(fmt.Sprintf("diff: causes name one another more than %d deep", causeDepth))
	}
	switch t.Op {
	case term.Leaf:
		if t.Fact.Kind == term.CauseTrue {
			return p.expand(side, causes[t.Fact.Index], causes, depth+1)
		}
		return &term.Term{Op: term.Leaf, Fact: p.commonFact(side, t.Fact)}
	case term.Not:
		return term.Negate(p.expand(side, t.Args[0], causes, depth))
	case term.AtLeast:
		args := make([]*term.Term, len(t.Args))
		for i, a := range t.Args {
			args[i] = p.expand(side, a, causes, depth)
		}
		return term.Threshold(t.N, args)
	}
	return t
}
