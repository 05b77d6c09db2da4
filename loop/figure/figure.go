// Package figure holds the form in which the models of an installation list their figures.
//
// What it models. A Default is a figure that applies where a file gives none, or that no file
// sets, with what it rests on. Each model lists its own beside the constants that it reads, so that
// what is printed is what is in force.
//
// What it leaves out. The values, and where they apply: these are the models' and the site's.
//
// Validated by the tests of the packages that list figures.
package figure

import "strings"

// Default is one figure in force.
type Default struct {
	Key    string // field, as in the file, or what it is where no field sets it
	Value  string // with its unit
	Source string // standard and clause, or 'common practice'
}

// Steps are the words of the key between its points: the keys on the way to a field. A key of one
// step is no field.
func (d Default) Steps() []string { return strings.Split(d.Key, ".") }
