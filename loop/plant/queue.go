package plant

// The arrivals that are under way stand in a binary heap of part numbers, ordered by time and,
// within an instant, by part: a total order, so that the heap's own shape never shows.

// before tells whether part a arrives before part b.
func (s *State) before(a, b int32) bool {
	x, y := s.motions[a].due, s.motions[b].due
	return x < y || (x == y && a < b)
}

// schedule puts a part into the heap, or moves it after its time has changed.
func (s *State) schedule(part int) {
	if s.place[part] < 0 {
		s.place[part] = int32(len(s.due))
		s.due = append(s.due, int32(part))
	}
	s.sink(s.rise(int(s.place[part])))
}

// cancel takes a part out of the heap, if it is there.
func (s *State) cancel(part int) {
	at := int(s.place[part])
	if at < 0 {
		return
	}
	s.place[part] = -1
	last := len(s.due) - 1
	moved := s.due[last]
	s.due = s.due[:last]
	if at == last {
		return
	}
	s.set(at, moved)
	s.sink(s.rise(at))
}

func (s *State) set(at int, part int32) {
	s.due[at] = part
	s.place[part] = int32(at)
}

// rise moves an entry towards the root and returns where it comes to rest.
func (s *State) rise(at int) int {
	part := s.due[at]
	for at > 0 {
		above := (at - 1) / 2
		if !s.before(part, s.due[above]) {
			break
		}
		s.set(at, s.due[above])
		at = above
	}
	s.set(at, part)
	return at
}

// sink moves an entry away from the root.
func (s *State) sink(at int) {
	part := s.due[at]
	for {
		below := 2*at + 1
		if below >= len(s.due) {
			break
		}
		if right := below + 1; right < len(s.due) && s.before(s.due[right], s.due[below]) {
			below = right
		}
		if !s.before(s.due[below], part) {
			break
		}
		s.set(at, s.due[below])
		at = below
	}
	s.set(at, part)
}
