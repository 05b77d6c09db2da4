// Package drill runs one site: it composes the loops, the panel's program and the plant over
// the event kernel, keeps the log, and takes acts (stimuli, operators, faults, repairs).
//
// A Drill has one writer. Everything that never changes is in the Plan, which all drills of a
// site share; everything that does is plain data, so that Fork is a copy. t = 0 is a settled,
// quiescent panel.
//
// Left out: real time and concurrency (package service), judgement (packages script, verify).
//
// Invariants: the same site, seed and acts give the same log, byte for byte, whether run in one
// go, instant by instant, forked or replayed; observers neither schedule nor draw.
package drill

import (
	"fmt"
	"slices"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/line"
	"loopdrill.dev/loopdrill/loop/plant"
	"loopdrill.dev/loopdrill/sim"
)

// Plan is a site compiled for drilling; immutable once made.
type Plan struct {
	In      *loop.Installation
	Program *logic.Program
	World   *term.World
	Effects []string // ids, in file order

	proofs  [][]int32 // equipment -> points that prove one of its signals
	proving []int32   // point -> its number among those, -1 for none
	drivers [][]int32 // equipment input (flat) -> outputs that drive it
	first   []int     // equipment -> its first flat input
	poller  func(*line.Line, line.Sink) poller
}

// Bounds of a run. Reaching one ends the drill with an error that names it.
const (
	maxEvents     = 4_000_000 // events in a log
	maxPerInstant = 200_000   // executions at one instant
)

// NewPlan joins what the layers below have compiled.
func NewPlan(in *loop.Installation, program *logic.Program, world *term.World, effects []string) *Plan {
	p := &Plan{In: in, Program: program, World: world, Effects: effects, poller: newLazy}
	p.proofs, p.proving = make([][]int32, in.Plant.Len()), slices.Repeat([]int32{-1}, len(in.Points))
	number := int32(0)
	for i := range in.Points {
		if e := in.Points[i].ProvesEquipment; e >= 0 {
			p.proofs[e] = append(p.proofs[e], int32(i))
			p.proving[i] = number
			number++
		}
	}
	inputs := 0
	for e := range in.Plant.Len() {
		p.first = append(p.first, inputs)
		inputs += in.Plant.InputCount(e)
	}
	p.drivers = make([][]int32, inputs)
	for i := range in.Outputs {
		if o := &in.Outputs[i]; o.Equipment >= 0 {
			flat := p.first[o.Equipment] + int(o.Input)
			p.drivers[flat] = append(p.drivers[flat], int32(i))
		}
	}
	return p
}

// equipment and outputNames list names for suggestions.
func (p *Plan) equipment() []string {
	var ids []string
	for e := range p.In.Plant.Len() {
		ids = append(ids, p.In.Plant.ID(e))
	}
	return ids
}

// PointNames lists every name of a point, labels first: for suggestions.
func (p *Plan) PointNames() []string {
	var names []string
	for i := range p.In.Points {
		names = append(names, p.In.Points[i].Label)
	}
	for i := range p.In.Points {
		names = append(names, p.In.Points[i].Address)
	}
	return names
}

func (p *Plan) outputNames() []string {
	var names []string
	for i := range p.In.Outputs {
		names = append(names, p.In.Outputs[i].Label)
	}
	return names
}

var plantFaults = map[string]int64{"stuck": int64(plant.Stuck), "slow": int64(plant.Slow), "unproven": int64(plant.Unproven)}

func (p *Plan) loopName(l int32) string { return fmt.Sprint(p.In.Loops[l].Number) }

// PairName names the pair of a cause and an effect that an action joins.
func (p *Plan) PairName(i int) string {
	pair := p.Program.Pair(i)
	return p.World.Causes[pair.Cause] + " -> " + p.Effects[pair.Effect] + " " + pair.State.String()
}

// Path is the field path in the site file of what made an event so; empty where there is none.
func (p *Plan) Path(e *sim.Event) string {
	switch spaceOf(e) {
	case ofPoint:
		return p.In.Points[e.Subject].Path
	case ofOutput:
		return p.In.Outputs[e.Subject].Path
	case ofCause:
		return fmt.Sprintf("program.causes[%d]", e.Subject)
	case ofPair:
		return p.Program.PairPath(int(e.Subject))
	case ofEffect:
		return fmt.Sprintf("program.effects[%d]", e.Subject)
	case ofOverride:
		return fmt.Sprintf("program.overrides[%d]", e.Subject)
	case ofEquipment:
		return fmt.Sprintf("equipment[%d]", e.Subject)
	}
	return ""
}

// LoopOf is the loop of an output; -1 for one on the panel.
func (p *Plan) LoopOf(output int32) int32 {
	if point := p.In.Outputs[output].Point; point >= 0 {
		return p.In.Points[point].Loop
	}
	return -1
}

// IsCallPoint reports whether a point is a call point.
func (p *Plan) IsCallPoint(point int32) bool { return p.In.Points[point].Input == loop.CallPoint }

// operatedBy reports whether an equipment input is operated by the contacts that drive it:
// energise-to-operate when any of them conducts, de-energise-to-operate when any is open.
func (p *Plan) operatedBy(flat int, deEnergise bool, closed func(output int32) bool) bool {
	return slices.ContainsFunc(p.drivers[flat], func(o int32) bool { return closed(o) != deEnergise })
}

// provers counts the points that prove something.
func (p *Plan) provers() (n int) {
	for _, points := range p.proofs {
		n += len(points)
	}
	return n
}
