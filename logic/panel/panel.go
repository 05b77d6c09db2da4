// Package panel is what the control and indicating equipment is and does beside cause and effect:
// which conditions it indicates, and the buzzer; who may work which key; the calendar that moves
// its mode; the switches by which somebody takes an output out of automatic control.
//
// What is read from a site is immutable; Indication, Schedule and Moves are plain data that change
// and are copied (CopyFrom, where they hold lists). Package logic composes them with the program: it
// numbers the facts, says when one changes and which event changed it, and notes what comes of it.
//
// Left out: displays and lamps beyond the conditions that stand, the one indicated first and the
// buzzer; access by key or code, of which only the level remains; summer time in the calendar.
//
// Sources: EN 54-2 and ISO 7240-2 for conditions, their first place for fire and access levels (from
// memory); NFPA 72 for faults that sound again after they were silenced.
package panel

import "time"

// never is the time of what is not due.
const never = time.Duration(1<<63 - 1)
