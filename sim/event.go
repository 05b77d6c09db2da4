package sim

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"time"
)

// Kind is what happened; the composing package numbers and names its kinds.
type Kind uint16

// Event is one thing that happened. Its number is its place in the log, from 1; 0 means no
// event. What has no consequence is not an event and has no number.
type Event struct {
	At      time.Duration
	Phase   Phase
	Kind    Kind
	Subject int32 // what it happened to: an index whose space the kind gives
	Value   int64
	Extra   int64
	Parent  uint64   // number of the event that caused it; 0 only for stimuli, operators and the start
	Also    []uint64 // up to eight further causes, where a gate needed several
}

// Log is the events of a run in the order of their execution. A copy of a Log shares the
// events that both have; either may go on without disturbing the other.
type Log struct {
	events []Event
	limit  int
}

// NewLog returns an empty log that takes at most limit events.
func NewLog(limit int) Log { return Log{limit: limit} }

// Fork returns a log with the same events that grows on its own.
func (l *Log) Fork() Log {
	n := len(l.events)
	return Log{events: l.events[:n:n], limit: l.limit}
}

// Add appends an event and returns its number. Beyond the limit it panics with a BoundError,
// which the drill's boundary turns into an error.
func (l *Log) Add(e Event) uint64 {
	if len(l.events) >= l.limit {
		panic(&BoundError{Bound: "events per run", Limit: l.limit, At: e.At})
	}
	l.events = append(l.events, e)
	return uint64(len(l.events))
}

// Len is the number of events so far.
func (l *Log) Len() int { return len(l.events) }

// Event returns event number n, from 1.
func (l *Log) Event(n uint64) *Event { return &l.events[n-1] }

// Since returns the events after number n. The slice must not be changed.
func (l *Log) Since(n uint64) []Event { return l.events[n:] }

// Digest returns the SHA-256 of the log, in hexadecimal: of every event its integers in order,
// each as a variable-length integer. The same log gives the same digest on any machine.
func (l *Log) Digest() string {
	h := sha256.New()
	var buf []byte
	for i := range l.events {
		e := &l.events[i]
		buf = binary.AppendVarint(buf[:0], int64(e.At))
		buf = binary.AppendUvarint(buf, uint64(e.Phase))
		buf = binary.AppendUvarint(buf, uint64(e.Kind))
		buf = binary.AppendVarint(buf, int64(e.Subject))
		buf = binary.AppendVarint(buf, e.Value)
		buf = binary.AppendVarint(buf, e.Extra)
		buf = binary.AppendUvarint(buf, e.Parent)
		buf = binary.AppendUvarint(buf, uint64(len(e.Also)))
		for _, n := range e.Also {
			buf = binary.AppendUvarint(buf, n)
		}
		h.Write(buf)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// BoundError says that a run reached one of its bounds.
type BoundError struct {
	Bound string
	Limit int
	At    time.Duration
}

// Error names the bound.
func (e *BoundError) Error() string {
	return fmt.Sprintf("the run reached its bound of %d %s at %v", e.Limit, e.Bound, e.At)
}
