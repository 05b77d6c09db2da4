package drill_test

import (
	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
)

// The tests inside package drill need what package site does with a message, and site imports
// drill: this file hands it to them.
//
//nolint:gochecknoinits // tests inside a package cannot import what imports it
func init() {
	drill.Compile = func(m *pb.Site) (*drill.Plan, []*pb.Finding) {
		in, found := loop.Compile(m)
		world := site.World(m, in)
		program, problems := logic.Compile(m, world)
		b := site.Built{Site: m, Installation: in, World: world, Program: program}
		return b.Plan(), append(found, problems...)
	}
}
