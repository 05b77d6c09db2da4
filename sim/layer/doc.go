// Package layer holds the tests that keep the shape of this repository: which package may import
// which, what the pure layers must not touch, how floats are multiplied in the models, and how
// files are kept. It contains no code that ships.
//
// The rules are read from syntax trees and type information of every package that `go list ./...`
// names. Each rule prints the offending file and line with the remedy, and each rule has a table
// of small sources that it must find fault with, so that a rule that stopped working fails its own
// test.
//
// What is left out: writes to a package variable through a slice, map or pointer that was handed
// to another function, order that shows through reflection or a third package's iterator, and
// everything in test files except their imports. Nothing outside the repository judges these
// rules but that about floats, which follows the Go language specification (Floating-point
// operators): the machine code for arm64 has no fused product, and an emulated arm64 plays the demo
// to the same digests.
package layer
