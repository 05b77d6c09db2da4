package site

import (
	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/matrix"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Plan makes the site ready to drill. Only for a site that nothing refuses.
func (b *Built) Plan() *drill.Plan {
	effects := b.Site.GetProgram().GetEffects()
	ids := make([]string, len(effects))
	for i, e := range effects {
		ids[i] = e.GetEffect()
	}
	return drill.NewPlan(b.Installation, b.Program, b.World, ids)
}

// Causes lists the program's causes with their conditions over the signals of devices, those among
// them that only show while they are held.
func (b *Built) Causes() []matrix.Cause {
	causes := b.names().Causes
	for i := range causes {
		if causes[i].When != nil {
			causes[i].When = logic.ShownSignals(causes[i].When, b.World)
		}
	}
	return causes
}

// Where is the place of a field path in the site file.
func (b *Built) Where(path string) *pb.Position {
	f := &pb.Finding{Path: path}
	b.Index.Place([]*pb.Finding{f})
	return f.GetPosition()
}
