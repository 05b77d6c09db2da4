package site

import (
	"loopdrill.dev/loopdrill/loop/check"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	together "loopdrill.dev/loopdrill/sim/check"
)

// Check judges the installation as a design, its program, and the two together, and computes the
// installation's figures; findings are placed and sorted. Both are nil where something refuses the
// installation.
//
// Build does not do this: a design that breaks a limit can be simulated all the same, and a drill
// of it shows what the limit is for.
func (b *Built) Check() (*pb.Calculations, []*pb.Finding) {
	if !b.sound {
		return nil, nil
	}
	found := check.Check(b.Site, b.Installation)
	found = append(found, together.Check(together.Site{Message: b.Site, Installation: b.Installation, World: b.World, Program: b.Program, Matrix: b.Matrix})...)
	b.Index.Place(found)
	finding.Sort(found)
	return check.Calculate(b.Site, b.Installation), found
}
