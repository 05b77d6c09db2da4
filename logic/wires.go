package logic

import "slices"

// wires is the changing part of a network: what every node says now, and why.
type wires struct {
	value []bool
	// event is that of the last change of each fact.
	event []uint64
	// count is the number of true inputs of each gate; up and down are the nodes of the inputs
	// that became true and false last.
	count, up, down []int32
	// due lists the gates to look at again, smallest node first: a heap, empty between
	// evaluations; queued says whether a gate is on it.
	due    []int32
	queued []bool
	// looked counts the gates and pairs looked at in this evaluation: the work it made.
	looked uint64
	// changed lists the nodes that changed since it was last taken.
	changed []int32
}

// settle fills w with what the network says when the given facts hold and no other.
func (n *network) settle(w *wires, facts []int32) {
	w.value = make([]bool, n.nodes())
	w.event = make([]uint64, n.leaves)
	w.count, w.up, w.down = make([]int32, len(n.gates)), make([]int32, len(n.gates)), make([]int32, len(n.gates))
	w.queued = make([]bool, len(n.gates))
	w.value[n.always()] = true
	for _, fact := range facts {
		w.value[fact] = true
	}
	for g, gate := range n.gates {
		w.up[g], w.down[g] = -1, -1
		for _, in := range n.inputs.at(int32(g)) {
			if w.value[in] {
				w.count[g]++
			}
		}
		w.value[n.always()+1+int32(g)] = (w.count[g] >= gate.need) != gate.invert
	}
}

// set changes a fact, by event; it reports whether the fact was otherwise.
func (n *network) set(w *wires, leaf int32, on bool, event uint64) bool {
	if w.value[leaf] == on {
		return false
	}
	w.event[leaf] = event
	n.flip(w, leaf)
	return true
}

// flip inverts a node and tells the gates it feeds.
func (n *network) flip(w *wires, node int32) {
	on := !w.value[node]
	w.value[node] = on
	w.changed = append(w.changed, node)
	for _, out := range n.outs.at(node) {
		g := out - n.always() - 1
		if on {
			w.count[g]++
			w.up[g] = node
		} else {
			w.count[g]--
			w.down[g] = node
		}
		if !w.queued[g] {
			w.queued[g] = true
			push(&w.due, out)
		}
	}
}

// propagate brings every gate up to date. A gate is looked at after all its inputs, hence once.
func (n *network) propagate(w *wires) {
	for len(w.due) > 0 {
		node := pop(&w.due)
		g := node - n.always() - 1
		w.queued[g] = false
		w.looked++
		if w.value[node] != ((w.count[g] >= n.gates[g].need) != n.gates[g].invert) {
			n.flip(w, node)
		}
	}
}

// support appends to events those without which the node would not say what it says: of a gate
// that needed several inputs the last one first. It stops at limit.
func (n *network) support(w *wires, node int32, events []uint64, limit int) []uint64 {
	if len(events) >= limit || node == n.never() || node == n.always() {
		return events
	}
	if node < n.leaves {
		if e := w.event[node]; e != 0 && !slices.Contains(events, e) {
			events = append(events, e)
		}
		return events
	}
	g := node - n.always() - 1
	reached := w.count[g] >= n.gates[g].need
	last := w.down[g]
	if reached {
		last = w.up[g]
	}
	// One input is enough for `or` to be reached and for `and` to be missed.
	inputs := n.inputs.at(g)
	wanted := int32(len(inputs)) - n.gates[g].need + 1
	if reached {
		wanted = n.gates[g].need
	}
	if last >= 0 && w.value[last] == reached {
		events = n.support(w, last, events, limit)
		wanted--
	} else {
		last = -1
	}
	for _, in := range inputs {
		if wanted <= 0 || len(events) >= limit {
			break
		}
		if w.value[in] == reached && in != last {
			events = n.support(w, in, events, limit)
			wanted--
		}
	}
	return events
}

// push and pop keep a heap of numbers, the smallest first.
func push(heap *[]int32, node int32) {
	h := append(*heap, node)
	for i := len(h) - 1; i > 0; {
		parent := (i - 1) / 2
		if h[parent] <= h[i] {
			break
		}
		h[parent], h[i] = h[i], h[parent]
		i = parent
	}
	*heap = h
}

func pop(heap *[]int32) int32 {
	h := *heap
	top, last := h[0], len(h)-1
	h[0] = h[last]
	h = h[:last]
	for i := 0; ; {
		child := 2*i + 1
		if child >= last {
			break
		}
		if child+1 < last && h[child+1] < h[child] {
			child++
		}
		if h[i] <= h[child] {
			break
		}
		h[i], h[child] = h[child], h[i]
		i = child
	}
	*heap = h
	return top
}
