package logic

import "loopdrill.dev/loopdrill/logic/panel"

// NeedsLevel returns the least access level at which the panel takes the operation: to acknowledge
// 1; a control or an override as its `level` says; all else 2.
func (p *Program) NeedsLevel(op Operation) panel.Level {
	switch op.Kind {
	case Acknowledge:
		return panel.Anybody
	case Control:
		return p.controlLevels[op.Index]
	case MoveOverride:
		return p.overrides[op.Index].level
	}
	return panel.Trained
}

// refused reports whether the operator's level is too low, and notes it.
func (p *Program) refused(op operation, sink Sink) bool {
	need := p.NeedsLevel(op.Operation)
	if op.Level.May(need) {
		return false
	}
	c := Change{Kind: OperationRefused, Index: int32(op.Kind), Parent: op.event}
	c.Fact.Index, c.Fact.Value = op.Index, int32(need)
	sink.Note(c)
	return true
}

// readLevels reads the levels of the controls.
func (c *compiler) readLevels() {
	for _, x := range c.program.GetControls() {
		c.p.controlLevels = append(c.p.controlLevels, panel.LevelOf(x.Level != nil, x.GetLevel()))
	}
}
