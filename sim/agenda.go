package sim

import (
	"fmt"
	"time"
)

// Agenda holds at most one pending event for each of a fixed number of sources, ordered by
// (time, phase, source). Setting a source again replaces its pending event, so a model that
// changes its mind leaves nothing stale behind. The zero Agenda has no sources.
type Agenda struct {
	slots []appointment
	heap  []int32 // sources, as a binary heap
	place []int32 // source -> index in heap, or -1
	now   time.Duration
	phase Phase
}

type appointment struct {
	at    time.Duration
	phase Phase
}

// NewAgenda returns an agenda for sources 0 to n-1, at the very start of t = 0.
func NewAgenda(n int) *Agenda {
	a := &Agenda{slots: make([]appointment, n), heap: make([]int32, 0, n), place: make([]int32, n)}
	for i := range a.place {
		a.place[i] = -1
	}
	return a
}

// CopyFrom makes a equal to o, and independent of it.
func (a *Agenda) CopyFrom(o *Agenda) {
	a.slots = append(a.slots[:0], o.slots...)
	a.heap = append(a.heap[:0], o.heap...)
	a.place = append(a.place[:0], o.place...)
	a.now, a.phase = o.now, o.phase
}

// Set makes the source's pending event the given one. It panics if that lies before the event
// being executed: an event schedules only into its own or a later phase.
func (a *Agenda) Set(source int, at time.Duration, phase Phase) {
	if at < a.now || at == a.now && phase < a.phase {
		panic(fmt.Sprintf("sim: source %d schedules %v %s, but %v %s is being executed", source, at, phase, a.now, a.phase))
	}
	a.slots[source] = appointment{at, phase}
	if a.place[source] < 0 {
		a.place[source] = int32(len(a.heap))
		a.heap = append(a.heap, int32(source))
	}
	a.up(int(a.place[source]))
	a.down(int(a.place[source]))
}

// Clear removes the source's pending event, if it has one.
func (a *Agenda) Clear(source int) {
	at := int(a.place[source])
	if at < 0 {
		return
	}
	last := len(a.heap) - 1
	a.swap(at, last)
	a.heap = a.heap[:last]
	a.place[source] = -1
	if at < last {
		a.up(at)
		a.down(at)
	}
}

// Peek returns the next event without executing it.
func (a *Agenda) Peek() (source int, at time.Duration, phase Phase, ok bool) {
	if len(a.heap) == 0 {
		return 0, 0, 0, false
	}
	s := a.heap[0]
	return int(s), a.slots[s].at, a.slots[s].phase, true
}

// Pop removes the next event and makes it the one being executed.
func (a *Agenda) Pop() (source int, at time.Duration, phase Phase, ok bool) {
	source, at, phase, ok = a.Peek()
	if ok {
		a.Clear(source)
		a.now, a.phase = at, phase
	}
	return source, at, phase, ok
}

// Skip moves to the start of the given phase of t without executing anything. It panics if
// that passes over a pending event or goes back.
func (a *Agenda) Skip(t time.Duration, phase Phase) {
	if _, at, p, ok := a.Peek(); ok && (at < t || at == t && p < phase) {
		panic(fmt.Sprintf("sim: going to %v passes over an event at %v", t, at))
	}
	if t < a.now || t == a.now && phase < a.phase {
		panic(fmt.Sprintf("sim: going back from %v to %v", a.now, t))
	}
	a.now, a.phase = t, phase
}

// Now is the instant and phase of the event being executed, or of the last one.
func (a *Agenda) Now() (time.Duration, Phase) { return a.now, a.phase }

func (a *Agenda) less(i, j int) bool {
	x, y := a.heap[i], a.heap[j]
	p, q := a.slots[x], a.slots[y]
	if p.at != q.at {
		return p.at < q.at
	}
	if p.phase != q.phase {
		return p.phase < q.phase
	}
	return x < y
}

func (a *Agenda) swap(i, j int) {
	a.heap[i], a.heap[j] = a.heap[j], a.heap[i]
	a.place[a.heap[i]], a.place[a.heap[j]] = int32(i), int32(j)
}

func (a *Agenda) up(i int) {
	for i > 0 && a.less(i, (i-1)/2) {
		a.swap(i, (i-1)/2)
		i = (i - 1) / 2
	}
}

func (a *Agenda) down(i int) {
	for {
		least := i
		for _, child := range [2]int{2*i + 1, 2*i + 2} {
			if child < len(a.heap) && a.less(child, least) {
				least = child
			}
		}
		if least == i {
			return
		}
		a.swap(i, least)
		i = least
	}
}
