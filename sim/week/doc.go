// Package week runs a site through random weeks and watches what must hold whatever happens.
//
// What it models. Draw makes weeks out of a seed: long quiet, and in it episodes of fires, faults,
// disablements, tests, keys, operators and repairs, as steps of a scenario; towards the end of each
// week everything is put right and the panel is reset. Run plays them on a drill and checks, after
// every instant:
//
//   - fire: a fire once taken stays until somebody resets, and the panel indicates fire first;
//   - required: an output does what is demanded of it within the detectors' target, counted from when
//     it is demanded and its path is whole; and what a true cause asks for without reserve is demanded;
//   - rest: with everything put right and reset, the panel stands as a new one would that finds the
//     same contacts: quiescent, every output at rest;
//   - cause: whatever happens follows from a stimulus, an operator, a schedule, a fault or its repair.
//
// Shrink makes the weeks in which an invariant breaks as small as it can, and Write the scenario file
// that `play` runs, and that fails there.
//
// What it leaves out. Times by the target are those of a whole path: what a damaged one must still do
// is not asked. Nothing is judged against a required matrix: that is package verify's.
//
// Invariants. The same site and seed give the same weeks and the same verdict; watching neither
// schedules nor draws.
//
// Validated by lying to each check (a drill that forgets a fire, an output that does not move, a log
// with an orphan) and by a site with a program that holds itself, found, shrunk and played.
package week
