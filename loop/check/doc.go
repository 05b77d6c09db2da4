// Package check judges an installation as a design: it finds what breaks a limit of the rule packs
// or of common practice, and computes the figures that such limits are held against.
//
// What it models. Each loop is judged by its own circuit (package wire): the class that the wiring
// achieves; resistance, capacitance, length, current and lowest voltage; who is lost when a short or
// a break is placed in every run of cable, one at a time. Each output circuit is judged by the two
// drop calculations of the trade from the lowest voltage of its supply (packages circuit and
// power), each supply by its battery formula, limit and fuse, each contact by what hangs on it, and
// equipment that is to be fail-safe by what its contact does when the loop is lost.
//
// What it leaves out, and says so: two faults at once; audibility and coverage; which sounder is
// near the panel (BS 5839-1 asks for one that no single fault takes away); whether out and return
// run in one route; the storeys above and below a storey, whose order a file does not say.
//
// Invariants. It is pure: the same site gives the same findings in the same order, and nothing is
// changed. Findings carry field paths. Each limit stands once, in Limits, with its clause; a
// limit of the file replaces it by name.
//
// Validated by tables of findings with the rule beside each, the worked examples for drop, battery
// and loop of the sources named there, and sites made at random, which must not make it panic.
//
// A simulation does not replace the tests that the local code and a licensed practitioner
// require.
package check
