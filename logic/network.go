package logic

import (
	"encoding/binary"
	"slices"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// network is every condition of a program as one graph of threshold gates, equal parts built
// once. Nodes are numbered so that a gate comes after all its inputs: first every fact there is,
// then the two constants, then the gates. Immutable once built.
type network struct {
	base   [term.LastKnown + 1]int32 // node of the first fact of a kind
	size   [term.LastKnown + 1]int32 // facts of the kind
	leaves int32
	// condition says which of the panel's conditions each fact makes; Quiescent for none.
	condition []panel.Condition
	gates     []gate
	// inputs[g] are the inputs of gate g; outs[n] the gates that node n feeds, one entry for each
	// wire; both by node number in the flat lists.
	inputs lists
	outs   lists
}

// gate is true when at least need of its inputs are; with invert, when fewer are.
type gate struct {
	need   int32
	invert bool
}

// lists are many lists of numbers in one.
type lists struct {
	start []int32
	flat  []int32
}

func (l *lists) at(i int32) []int32 { return l.flat[l.start[i]:l.start[i+1]] }

// pack makes lists of many.
func pack(many [][]int32) lists {
	l := lists{start: make([]int32, 1, len(many)+1)}
	for _, one := range many {
		l.flat = append(l.flat, one...)
		l.start = append(l.start, int32(len(l.flat)))
	}
	return l
}

// states of OutputCommanded facts: Rest to Release, since nothing is ever commanded Off.
const commandedStates = int32(term.Off)

// positions of OverrideAt facts.
const positions = term.SwitchedOff + 1

// newNetwork numbers the facts of the world.
func newNetwork(w *term.World) *network {
	n := &network{}
	sizes := map[term.Kind]int{
		term.ZoneDisabled: len(w.Zones), term.OutputCommanded: len(w.Outputs) * int(commandedStates), term.OutputFault: len(w.Outputs),
		term.OutputDisabled: len(w.Outputs), term.SupplyFault: len(w.Supplies), term.LoopFault: len(w.Loops), term.EquipmentProven: len(w.Equipment),
		term.ControlOn: len(w.Controls), term.PanelMode: 2, term.PanelAcknowledged: 1, term.PanelSilenced: 1, term.PanelEvacuate: 1,
		term.ZoneTest: len(w.Zones), term.ZoneConfirmed: len(w.Zones), term.EquipmentDisabled: len(w.Equipment),
		term.OverrideAt: len(w.Overrides) * int(positions), term.PanelBuzzer: 1,
	}
	for kind := term.DeviceFire; kind <= term.LastKnown; kind++ {
		n.base[kind] = n.leaves
		n.size[kind] = int32(sizes[kind])
		if kind <= term.DeviceDisabled {
			n.size[kind] = int32(len(w.Points))
		}
		n.leaves += n.size[kind]
		n.condition = append(n.condition, slices.Repeat([]panel.Condition{panel.ConditionOf(kind)}, int(n.size[kind]))...)
	}
	return n
}

// leaf returns the node of a fact that the panel keeps, and false for any other fact.
func (n *network) leaf(f term.Fact) (int32, bool) {
	if f.Kind == 0 || f.Kind > term.LastKnown || f.Kind == term.CauseTrue {
		return 0, false
	}
	i := f.Index
	switch f.Kind {
	case term.OutputCommanded:
		if f.Value < 0 || f.Value >= commandedStates {
			return 0, false
		}
		i = f.Index*commandedStates + f.Value
	case term.PanelMode:
		i = f.Value
	case term.OverrideAt:
		if f.Value < 0 || f.Value >= positions {
			return 0, false
		}
		i = f.Index*positions + f.Value
	}
	if i < 0 || i >= n.size[f.Kind] {
		return 0, false
	}
	return n.base[f.Kind] + i, true
}

func (n *network) never() int32  { return n.leaves }
func (n *network) always() int32 { return n.leaves + 1 }
func (n *network) nodes() int32  { return n.leaves + 2 + int32(len(n.gates)) }

// builder adds conditions to a network.
type builder struct {
	*network
	ins    [][]int32
	byKey  map[string]int32
	byTerm map[*term.Term]int32
	// cause returns the node of a cause.
	cause func(index int32) int32
}

func newBuilder(n *network) *builder {
	return &builder{network: n, byKey: map[string]int32{}, byTerm: map[*term.Term]int32{}}
}

// node returns the node of a condition, built on first use.
func (b *builder) node(t *term.Term) int32 {
	if node, ok := b.byTerm[t]; ok {
		return node
	}
	node := b.build(t)
	b.byTerm[t] = node
	return node
}

func (b *builder) build(t *term.Term) int32 {
	switch t.Op {
	case term.Const:
		if t.True {
			return b.always()
		}
		return b.never()
	case term.Leaf:
		if t.Fact.Kind == term.CauseTrue {
			return b.cause(t.Fact.Index)
		}
		node, ok := b.leaf(t.Fact)
		if !ok {
			panic("logic: the panel keeps no fact " + t.Fact.String())
		}
		return node
	case term.Not:
		return b.not(b.node(t.Args[0]))
	}
	args := make([]int32, len(t.Args))
	for i, arg := range t.Args {
		args[i] = b.node(arg)
	}
	return b.threshold(t.N, args)
}

// not returns the node that is true when the given one is not.
func (b *builder) not(node int32) int32 {
	switch {
	case node == b.never():
		return b.always()
	case node == b.always():
		return b.never()
	}
	if node > b.always() {
		if g := node - b.always() - 1; b.gates[g].invert {
			return b.ins[g][0]
		}
	}
	return b.gate(gate{need: 1, invert: true}, []int32{node})
}

// threshold returns the node of `at least need of args`, constants taken out.
func (b *builder) threshold(need int, args []int32) int32 {
	kept := args[:0:0]
	for _, arg := range args {
		switch arg {
		case b.always():
			need--
		case b.never():
		default:
			kept = append(kept, arg)
		}
	}
	slices.Sort(kept)
	// One of several, or all of them: an input twice says nothing more.
	if need == 1 {
		kept = slices.Compact(kept)
	} else if need == len(kept) {
		kept = slices.Compact(kept)
		need = len(kept)
	}
	switch {
	case need <= 0:
		return b.always()
	case need > len(kept):
		return b.never()
	case len(kept) == 1:
		return kept[0]
	}
	return b.gate(gate{need: int32(need)}, kept)
}

// gate returns the gate with these inputs, built once.
func (b *builder) gate(g gate, inputs []int32) int32 {
	key := binary.AppendVarint(nil, int64(g.need))
	if g.invert {
		key = append(key, 1)
	} else {
		key = append(key, 0)
	}
	for _, in := range inputs {
		key = binary.AppendVarint(key, int64(in))
	}
	if node, ok := b.byKey[string(key)]; ok {
		return node
	}
	node := b.nodes()
	b.gates = append(b.gates, g)
	b.ins = append(b.ins, inputs)
	b.byKey[string(key)] = node
	return node
}

// finish makes the lists of wires.
func (b *builder) finish() *network {
	outs := make([][]int32, b.nodes())
	for g, inputs := range b.ins {
		node := b.always() + 1 + int32(g)
		for _, in := range inputs {
			outs[in] = append(outs[in], node)
		}
	}
	b.inputs, b.outs = pack(b.ins), pack(outs)
	return b.network
}
