package site

import "loopdrill.dev/loopdrill/sim/drill"

// Plan makes the site ready to drill. Only for a site that nothing refuses.
func (b *Built) Plan() *drill.Plan {
	effects := b.Site.GetProgram().GetEffects()
	ids := make([]string, len(effects))
	for i, e := range effects {
		ids[i] = e.GetEffect()
	}
	return drill.NewPlan(b.Installation, b.Program, b.World, ids)
}
