package line

import "time"

// Stop ends the polling: the controller has stopped. The slot in progress comes to nothing, and the
// commands that wait are lost. What stands at the addresses goes on changing, unseen. Changes of the
// instant come before it, as for SetInput.
func (l *Line) Stop(s *State, now time.Duration) {
	l.settle(s, now, Early) // the visits so far are counted
	s.stopped = true
	s.cur, s.burst, s.request, s.repeat = slot{}, 0, -1, -1
	s.queue = s.queue[:0]
	s.overload, s.watched, s.watchEvent = false, false, 0
}

// Start begins the polling again at the first address, by a controller that knows nothing: no
// reading, no fault, no command was ever sent. The line noise is drawn anew.
func (l *Line) Start(s *State, now time.Duration, sink Sink) {
	s.stopped = false
	s.anchor, s.turn = now, 0
	for i := range s.devices {
		d := &s.devices[i]
		s.devices[i] = device{
			presence: d.presence, presenceEvent: d.presenceEvent,
			active: d.active, prealarm: d.prealarm, inputEvent: d.inputEvent,
			output: d.output, outputEvent: d.outputEvent,
			circuit: d.circuit, circuitEvent: d.circuitEvent,
		}
		l.refresh(s, int32(i))
	}
	l.measure(s)
	l.drawError(s, sink)
}

// Presume lets the controller take it that input i was read so. Only right after Start.
func (l *Line) Presume(s *State, i int32, active bool) {
	s.devices[i].reading = active
	l.refresh(s, i)
}
