package script

import (
	"fmt"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/sim/drill"
)

// trace is the truth of one condition over a run. It changes only at executed instants, and
// holds from an instant, after all its phases, until the next change.
type trace struct {
	before bool            // on the settled panel, before anything at t = 0
	edges  []time.Duration // instants at which it changes, ascending; the first is a change of before
}

// is returns the truth after all phases of an instant.
func (t *trace) is(at time.Duration) bool { return t.after(at, true) }

// justBefore returns the truth that an instant found.
func (t *trace) justBefore(at time.Duration) bool { return t.after(at, false) }

// after counts the changes up to an instant, its own included or not.
func (t *trace) after(at time.Duration, own bool) bool {
	value := t.before
	for _, edge := range t.edges {
		if edge > at || edge == at && !own {
			break
		}
		value = !value
	}
	return value
}

// afterEdge returns the truth from edge i on; -1 is before the first.
func (t *trace) afterEdge(i int) bool { return t.before != (i%2 == 0) }

// observe notes the truth at an executed instant; instants come in ascending order.
func (t *trace) observe(at time.Duration, is bool) {
	if is != t.afterEdge(len(t.edges)-1) {
		t.edges = append(t.edges, at)
	}
}

// first returns the first instant of [from, to] at which the condition is as given.
func (t *trace) first(is bool, from, to time.Duration) (time.Duration, bool) {
	if t.is(from) == is {
		return from, true
	}
	for i, edge := range t.edges {
		if edge > from && edge <= to && t.afterEdge(i) == is {
			return edge, true
		}
	}
	return 0, false
}

// span is an unbroken time for which a condition is true.
type span struct {
	from, to time.Duration
	ends     bool // at to it is false again; else it is still true at the end of what was looked at
}

// spans lists the unbroken true times within the closed interval [from, to].
func (t *trace) spans(from, to time.Duration) []span {
	var all []span
	open := t.is(from)
	if open {
		all = append(all, span{from: from, to: to})
	}
	for _, edge := range t.edges {
		switch {
		case edge <= from || edge > to:
		case open:
			all[len(all)-1].to, all[len(all)-1].ends = edge, true
			open = false
		default:
			all = append(all, span{from: edge, to: to})
			open = true
		}
	}
	return all
}

// spansText lists spans, the first four of them.
func spansText(all []span) string {
	var words []string
	for i, s := range all {
		if i == 4 {
			words = append(words, fmt.Sprintf("and %d more", len(all)-i))
			break
		}
		word := fmt.Sprintf("from %s to %s", drill.Seconds(s.from), drill.Seconds(s.to))
		if !s.ends {
			word = fmt.Sprintf("from %s on", drill.Seconds(s.from))
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}
