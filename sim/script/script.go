// Package script plays scenarios: scripts of steps, with expectations that are judged.
//
// Compile resolves a scenario against a site, and reports everything that is wrong with it.
// Play runs it on a drill of its own and judges every expectation over the exact instants at
// which its condition changes: a condition is evaluated after all phases of every executed
// instant and holds from then until the next change, so no sampling grid enters a verdict.
//
// Outcomes are passed, failed and errored (could not be judged), and counted apart. A failed
// expectation tells when the condition did change, which of its parts is to blame, and the chain
// of events behind the last thing that happened to them; to find the blame the scenario is played
// a second time, which costs only where something failed.
//
// Left out: files, positions of expectations (Place adds them), printing, parallelism.
//
// Invariants: the same site and scenario give the same report, digest included; judging neither
// schedules nor draws, so the digest is that of the bare drill; with `others: any` the report
// depends on nothing that no expectation names.
//
// Validated by tables over hand-made traces for every form at its bounds, by story files, and by
// NFPA 72's sum of 90 s and 10 s from sprinkler flow to notification.
package script

import (
	"fmt"
	"slices"
	"time"

	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Script is a compiled scenario; immutable.
type Script struct {
	plan       *drill.Plan
	name       string
	seed       uint64
	begins     time.Duration // after the beginning of the week
	acts       []drill.Act
	expect     []expectation
	end        time.Duration   // latest time that a step or an expectation names
	moments    []time.Duration // at which an expectation asks what sounds, ascending
	othersNone bool
	named      []bool // output -> its state, its command or a load of it stands in an expectation
}

// Name is the scenario's name.
func (s *Script) Name() string { return s.name }

// Compile resolves a scenario that obeys its schema. Findings carry field paths; with one that
// refuses, the Script is nil.
func Compile(plan *drill.Plan, m *pb.Scenario) (*Script, []*pb.Finding) {
	c := &compiler{
		plan: plan, reader: term.NewReader(plan.World), steps: map[string]int{},
		s: &Script{plan: plan, name: m.GetScenario(), seed: m.GetSeed(), othersNone: m.GetOthers() == "none", named: make([]bool, len(plan.In.Outputs))},
	}
	c.begins(m.GetBegins())
	for i, step := range m.GetSteps() {
		c.step(i, step)
	}
	for i, step := range m.GetSteps() {
		c.repair(i, step)
	}
	for i := range c.s.acts {
		if a := &c.s.acts[i]; a.Kind == drill.ActSignal && a.Index >= 0 && !drill.StoodIn(c.s.acts, a, i) {
			c.found = append(c.found, drill.NotStoodIn(fmt.Sprintf("steps[%d]", i)))
		}
	}
	for i, e := range m.GetExpect() {
		c.expectation(fmt.Sprintf("expect[%d]", i), e)
	}
	if len(m.GetExpect()) == 0 && !c.s.othersNone {
		c.found = append(c.found, finding.Error("scenario.expects-nothing", "expect", "the scenario expects nothing",
			"a script without expectations cannot fail: say what must come of it, or `others: none`"))
	}
	if finding.Worst(c.found) == pb.Severity_SEVERITY_REFUSED {
		return nil, c.found
	}
	for _, e := range c.s.expect {
		if e.moment {
			c.s.moments = append(c.s.moments, e.to)
		}
	}
	slices.Sort(c.s.moments)
	return c.s, c.found
}

// compiler is one compilation.
type compiler struct {
	plan   *drill.Plan
	reader *term.Reader
	s      *Script
	steps  map[string]int // id -> index
	ids    []string       // in file order
	found  []*pb.Finding
}

func (c *compiler) refuse(code, path, title, detail string) {
	c.found = append(c.found, finding.Refuse("scenario."+code, path, title, detail))
}

// begins takes the moment of the week at which the run begins: Monday, midnight, if none is given.
func (c *compiler) begins(b *pb.Begins) {
	if b == nil {
		return
	}
	c.s.begins = panel.InWeek(b.GetDay(), b.GetAt().AsDuration())
	if !c.plan.Program.HasCalendar() {
		c.refuse("begins-unused", "begins", "the run does not depend on the day of the week", "the panel has no calendar; take `begins` out, or give the panel one")
	}
}

// step resolves a step and registers its id.
func (c *compiler) step(i int, step *pb.Step) {
	path := fmt.Sprintf("steps[%d]", i)
	act, found := c.plan.Resolve(step, path)
	c.found = append(c.found, found...)
	c.s.acts = append(c.s.acts, act)
	c.s.end = max(c.s.end, act.At)
	c.level(path, step)
	id := step.GetStep()
	if id == "" {
		return
	}
	if first, taken := c.steps[id]; taken {
		c.refuse("duplicate-step", path+".step", fmt.Sprintf("two steps are called %q", id), fmt.Sprintf("the other one is step number %d; give one of the two another id", first+1))
		return
	}
	c.steps[id] = i
	c.ids = append(c.ids, id)
}

// level refuses an access level where the run would not depend on it.
func (c *compiler) level(path string, step *pb.Step) {
	switch {
	case step.Level == nil:
	case !operates(step):
		c.refuse("level-unused", path+".level", "only what is done at the panel has an access level", "take the level out of this step")
	}
}

// operates reports whether the step is something done at the panel.
func operates(step *pb.Step) bool {
	switch step.GetKind().(type) {
	case *pb.Step_Acknowledge, *pb.Step_Silence, *pb.Step_Resound, *pb.Step_Reset_, *pb.Step_Evacuate,
		*pb.Step_Disable, *pb.Step_Enable, *pb.Step_Test, *pb.Step_Mode, *pb.Step_Control, *pb.Step_Override:
		return true
	}
	return false
}

// repair checks that a repair names a fault that is there by then.
func (c *compiler) repair(i int, step *pb.Step) {
	if _, ok := step.GetKind().(*pb.Step_Repair); !ok {
		return
	}
	path, id := fmt.Sprintf("steps[%d].repair.step", i), step.GetRepair().GetStep()
	fault, ok := c.steps[id]
	if !ok {
		c.found = append(c.found, dangling(path, id, c.ids))
		return
	}
	was, is := &c.s.acts[fault], &c.s.acts[i]
	switch {
	case !was.Kind.Fault():
		c.refuse("repair-of-no-fault", path, fmt.Sprintf("step %q is no fault", id), "only faults are repaired; a stimulus ends with `clear` or another level, an operator's act with its opposite")
	case was.At > is.At || was.At == is.At && fault > i:
		c.refuse("repair-before-fault", path, fmt.Sprintf("the repair at %s comes before the fault at %s", drill.Seconds(is.At), drill.Seconds(was.At)), "repair it later; at one instant the order in the file counts")
	}
}

func dangling(path, id string, known []string) *pb.Finding {
	if len(known) == 0 {
		return finding.Refuse("reference.unknown", path, fmt.Sprintf("there is no step %q", id), "no step of this scenario has an id; give the one that is meant `step: "+id+"`")
	}
	return finding.Dangling(path, "step", id, known)
}
