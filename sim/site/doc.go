// Package site turns the bytes of a user's files into messages, and knows where in the file
// each field stands.
//
// It models the files of one site: site.yaml, the required matrix, scenarios. A YAML file *is*
// its protobuf message; the package reads the node tree of the file against the message's
// descriptor, refuses everything that decoders accept in silence (duplicate keys, a second
// document, null, keys in another case, numbers that are not decimal, tags, aliases), and then
// applies the rules written in the schema. All problems are reported together, each with file,
// line and column, what was read and what would be right; only a YAML syntax error comes alone,
// because nothing after it can be read.
//
// It leaves out every rule about the installation or the program: those live in loop and logic,
// which report field paths. Index.Place gives their findings a position.
//
// Invariants: no input panics or hangs (sizes are limited before parsing, the reader is as deep
// as the schema and no deeper); a message returned without a refusal obeys every rule of the
// schema; the order of findings is their order in the file.
//
// Validated by story files (testdata/stories), by fuzzing, and against an independent decoder:
// whatever this reader accepts, buf.build/go/protoyaml must read to the same message.
package site
