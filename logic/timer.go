package logic

// The timers of a state: a heap of the pairs with something due, the earliest first, among
// equals the lowest pair. Each pair knows its place, so that it can be moved.

// before reports whether pair a is due before pair b.
func (s *State) before(a, b int32) bool {
	ta, tb := s.pair[a].earliest(), s.pair[b].earliest()
	return ta < tb || ta == tb && a < b
}

// reschedule puts pair i where it belongs after its times changed.
func (s *State) reschedule(i int32) {
	st := &s.pair[i]
	if st.earliest() == never {
		if st.slot >= 0 {
			s.removeTimer(st.slot)
		}
		return
	}
	if st.slot < 0 {
		s.timers = append(s.timers, i)
		st.slot = int32(len(s.timers) - 1)
	}
	s.sink(s.rise(st.slot))
}

// removeTimer takes the pair at a place off the heap.
func (s *State) removeTimer(slot int32) {
	last := int32(len(s.timers) - 1)
	s.pair[s.timers[slot]].slot = -1
	moved := s.timers[last]
	s.timers = s.timers[:last]
	if slot == last {
		return
	}
	s.timers[slot] = moved
	s.pair[moved].slot = slot
	s.sink(s.rise(slot))
}

// rise moves the pair at a place towards the front, and returns its new place.
func (s *State) rise(slot int32) int32 {
	for slot > 0 {
		parent := (slot - 1) / 2
		if !s.before(s.timers[slot], s.timers[parent]) {
			break
		}
		s.swapTimers(slot, parent)
		slot = parent
	}
	return slot
}

// sink moves the pair at a place towards the end.
func (s *State) sink(slot int32) {
	for {
		child := 2*slot + 1
		if child >= int32(len(s.timers)) {
			return
		}
		if child+1 < int32(len(s.timers)) && s.before(s.timers[child+1], s.timers[child]) {
			child++
		}
		if !s.before(s.timers[child], s.timers[slot]) {
			return
		}
		s.swapTimers(slot, child)
		slot = child
	}
}

func (s *State) swapTimers(a, b int32) {
	s.timers[a], s.timers[b] = s.timers[b], s.timers[a]
	s.pair[s.timers[a]].slot, s.pair[s.timers[b]].slot = a, b
}
