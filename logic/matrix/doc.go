// Package matrix is the required cause-and-effect matrix: what the consultant asked for, read
// from a CSV file and turned into what verification needs.
//
// It models three things. Parse reads the file: causes in rows, effects in columns, the relation
// in the cell (the layout of IEC 62881:2018, as described at
// https://tnlab.org/en/iec-62881-cause-and-effect-matrix-for-industrial-process-automation/), with
// a cell grammar of its own. Ways finds
// every smallest set of device signals that makes a row true. Courses says, for rows that became
// true at given instants, which state each output must be in from when to when. Together they
// are independent of the panel's program: a row is written over places, groups and devices, and
// where it leans on the program after all (a zone, a cause) Parse warns.
//
// It leaves out: running anything, response times, and the verdicts (package sim/verify). From
// the standard it takes the layout only: its marks for operators between rows, and for kinds of
// reset, are replaced by conditions and words. Of the states of package term it never demands
// `release`.
//
// Invariants: Parse, Ways and Courses are pure functions; a Matrix returned without refusal has
// a condition for every row, stages in rising order, and only states that every output of the
// column can take. Ways of a row are an antichain: none contains another.
//
// Validated by: tables and story files for the grammar; Ways against trying every subset on
// random conditions of up to 12 signals; Courses against asking every cell at every instant.
package matrix
