// Package diff tells what two sites do differently.
//
// Both sites are put into the words of the first: points are matched by label, else by loop and
// address; outputs by label, else by their module; zones, places, groups, equipment and supplies by
// id, else by what belongs to them or drives them; controls by id, else by how they are used. What is
// left of a difference in ids, in the order of lists without meaning, or in text for people is none.
//
// What each output is asked to do is decided over all combinations of what the panel knows: every
// action becomes a line (state, times, guards, until reset, silence, one_of) with its condition as a
// decision diagram; lines that a stronger one always covers are taken out; what then stands on one
// side only is a difference, with the smallest set of signals that shows it. That set is played on
// both sites, and what the output did is laid side by side. Everything else (devices, circuits,
// supplies, equipment, polling, the panel's settings, detection) is compared field by field, and the
// devices concerned are played on both sites. Wiring order is no spelling: where it differs, the
// figures of `check` and what each short and break loses are compared.
//
// Left out: the required matrix and the scenarios; required classes, targets and rules where nothing
// but a report depends on them are differences that are not seen in a run. Runs are made on healthy
// installations. The number of runs is bounded, and the report says how many were made.
//
// Validated by random sites in other order and with other ids, which are the same; by mutants of a
// whole program, which are different; by exhaustive enumeration of small programs.
package diff
