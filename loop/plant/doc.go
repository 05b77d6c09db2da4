// Package plant models the equipment that reacts to a fire: lifts, fans, dampers, doors,
// announcements, trips, valves, releases, diallers, sirens, points of a building management
// system, and anything else with one input and one signal.
//
// What it models. Each piece of equipment has inputs (what the contacts of the fire alarm system
// demand), signals (what it reports back), and moving parts: a part runs along a track at a
// constant rate, and a part that is turned round in mid-travel takes back the way it has come.
// Trips take the power of other equipment away. Faults are `stuck` (does not obey), `slow` (every
// time multiplied) and `unproven` (works, but its signals stay as they are), alone or together.
// Somebody outside may take the place of a model: it freezes, and only he gives its signals.
//
// What it leaves out, and says so:
//   - People. Nobody opens a door, resets a valve, refills a container or restarts a fan by hand: a
//     door that was let go stays closed and a valve without `reopens` stays shut for the rest of the
//     drill, although their outputs are at rest after a reset. A trip switches the power on again
//     when its input goes to rest (a contactor; a breaker that is closed by hand is not modelled).
//   - Lifts answer no calls: a car in service stands where it is. The lamp of the car (hat-steady,
//     hat-flash; flashing wins) has no signal; see Operated.
//   - A report that a dialler has begun is given up if its input goes to rest before the receipt,
//     and the return to rest is not transmitted. Nothing is heard at the centre but whole reports.
//   - Discharge takes no time: `released` and `low-pressure` come together.
//   - `control-voltage` of a trip is lost when another trip cuts this one; a fault of its supply is
//     shown by a breaker in front of it, or by whoever stands in for it.
//   - A discharge by hand at the container is done by whoever stands in for it.
//
// Invariants. Everything is integer: times in nanoseconds, positions in units of a track. State holds
// no pointers, functions or clocks, so that a fork is a copy. After Drive, SetFault or Advance
// nothing is due at or before the instant they were called for, except what Advance has yet to take
// at that same instant. Every change names the event it follows from: the drive or fault that began
// a movement, or the change that came just before it. Changes of one instant come in the order of
// equipment, then of its parts; what a trip cuts follows directly after the trip.
//
// Validation. Tables per kind against the rules named beside them in the tests (EN 81-73,
// ASME A17.1 and NFPA 72 for lifts, countdowns with hold-off for releases; common
// practice elsewhere), reversals worked out by hand, a fan against a twin that adds up its speed tick by
// tick, and random command sequences: a fork goes on identically, fine steps equal one step, and
// signals agree with state words. No measurement of real equipment was compared. Positions are
// rounded: a turn in mid-travel with unequal times, or a change of rate, may move an arrival by
// a few nanoseconds, the same ones on every machine.
//
// A simulation does not replace the tests that the local code and a licensed practitioner require.
package plant
