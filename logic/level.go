package logic

// The access levels that operations need (EN 54-2 and ISO 7240-2, from memory: what anybody may
// work, what a trained person may, what a technician may).
const (
	levelAnybody = 1
	levelTrained = 2
)

// NeedsLevel returns the least access level at which the panel takes the operation: to acknowledge
// 1; a control or an override as its `level` says; all else 2.
func (p *Program) NeedsLevel(op Operation) uint8 {
	switch op.Kind {
	case Acknowledge:
		return levelAnybody
	case Control:
		return p.controlLevels[op.Index]
	case MoveOverride:
		return p.overrides[op.Index].level
	}
	return levelTrained
}

// refused reports whether the operator's level is too low, and notes it. Level 0 is the bench
// itself, to which nothing is refused.
func (p *Program) refused(op operation, sink Sink) bool {
	need := p.NeedsLevel(op.Operation)
	if op.Level == 0 || op.Level >= need {
		return false
	}
	c := Change{Kind: OperationRefused, Index: int32(op.Kind), Parent: op.event}
	c.Fact.Index, c.Fact.Value = op.Index, int32(need)
	sink.Note(c)
	return true
}

// levelOf returns the level that a file has, or the default where it gives none.
func levelOf(given bool, level uint32) uint8 {
	if !given {
		return levelTrained
	}
	return uint8(level)
}

// levels reads the levels of the controls.
func (c *compiler) levels() {
	for _, x := range c.program.GetControls() {
		c.p.controlLevels = append(c.p.controlLevels, levelOf(x.Level != nil, x.GetLevel()))
	}
}
