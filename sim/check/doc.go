// Package check judges a program together with what is built: places, wiring, plant and the required
// matrix. A program that is right by itself may still send a lift to the floor that burns.
//
// What it models. Each fire input, and each supervisory one in a duct, is signalled alone, by day and by
// night, to the compiled program itself (package logic) without the holding back of its zone, and what is
// then demanded of outputs, and when, is held against the rules of the trade for the equipment that they
// drive. Keys, switches and other inputs are tried alone too, for fans and releases; the detectors of one place
// together, for lifts; and each fire with silence behind it. Proofs are taken to come at once, and, where the
// difference matters, never.
//
// What it leaves out. Other combinations of fires, but where a rule asks for a second one; faults of wiring and
// plant, which scenarios and campaigns are for; the program by itself (package logic/check) and the
// installation by itself (package loop/check).
//
// Invariants. It is pure: one site gives the same findings in the same order. Findings carry field paths. A
// rule that needs to know what a place is, or whom it serves, says nothing where the file does not.
//
// Validated by story files of small sites, each with one mistake and without it, and with the rule beside it.
//
// A simulation does not replace the tests that the local code and a licensed practitioner require.
package check
