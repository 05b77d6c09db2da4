// Package check judges a program by itself: what in it can never happen, what is always hidden by
// something stronger, and what breaks the trade's rules on coincidences, call points and delays.
//
// What it models. Conditions as decision diagrams (package bdd) over all that the panel can know,
// with every combination possible that modes, switches and commanded states allow. So what is said to
// be impossible is impossible, and what is said to be possible comes with a witness; that a witness
// may never come about in the building, because a zone has no wire to another, say, is not known here.
//
// What it leaves out. Wiring, plant and places: package sim/check joins the program with those. Slips
// that package logic reports when it compiles: parts that nothing uses, causes true at rest.
//
// Invariants. It is pure: one program gives the same findings in the same order. A decision that would
// take more nodes than its limit is no finding but a note that says so.
//
// Validated by tables of small programs, each with the mistake and without it, and with the rule beside
// it; the decisions themselves in package bdd.
package check
