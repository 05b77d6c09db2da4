package logic

import (
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// conditions is what readConditions found.
type conditions struct {
	causes []*term.Term // nil where the text is refused
	guards []guards
	used   []bool // causes that other conditions name
}

// readConditions reads every condition of the program and builds the network.
func (c *compiler) readConditions() *conditions {
	reader := term.NewReader(c.world)
	out := &conditions{causes: make([]*term.Term, len(c.program.GetCauses())), used: make([]bool, len(c.program.GetCauses()))}
	for i, cause := range c.program.GetCauses() {
		out.causes[i] = c.parse(reader, fmt.Sprintf("program.causes[%d].when", i), cause.GetWhen())
	}
	var beside [][5]*term.Term
	for a, action := range c.program.GetActions() {
		var five [5]*term.Term
		for g, guard := range guardTexts(action) {
			if guard.text != "" {
				five[g] = c.parse(reader, fmt.Sprintf("program.actions[%d].%s", a, guard.key), guard.text)
			}
		}
		beside = append(beside, five)
	}
	given := c.readGiven(reader)
	c.refuseCycles(out.causes)
	b := newBuilder(c.p.net)
	roots := make([]int32, len(out.causes))
	for i := range roots {
		roots[i] = -1
	}
	b.cause = func(i int32) int32 {
		out.used[i] = true
		if roots[i] < 0 {
			roots[i] = b.never() // where the text is refused
			if out.causes[i] != nil {
				roots[i] = b.node(out.causes[i])
			}
		}
		return roots[i]
	}
	for i := range roots {
		named := out.used[i]
		b.cause(int32(i))
		out.used[i] = named // building it is no use of it
	}
	node := func(t *term.Term) int32 {
		if t == nil {
			return -1
		}
		return b.node(t)
	}
	for _, five := range beside {
		out.guards = append(out.guards, guards{unless: node(five[0]), pause: node(five[1]), restart: node(five[2]), cancel: node(five[3]), hurry: node(five[4])})
	}
	for i, ph := range c.program.GetPhasings() {
		held := guards{unless: -1, pause: -1, restart: -1, cancel: -1, hurry: -1}
		if hold := c.phasingControl(fmt.Sprintf("program.phasings[%d].hold", i), ph.GetHold()); hold >= 0 {
			held.pause, _ = c.p.net.leaf(term.Fact{Kind: term.ControlOn, Index: hold})
		}
		out.guards = append(out.guards, held)
	}
	for _, t := range given {
		c.p.given = append(c.p.given, node(t))
	}
	c.p.causes = roots
	b.finish()
	c.listUsers(out.guards)
	return out
}

// guardText is one condition beside an action.
type guardText struct{ key, text string }

// guardTexts lists the conditions beside an action, in the order of guards' fields.
func guardTexts(a *pb.Action) []guardText {
	return []guardText{{"unless", a.GetUnless()}, {"pause_while", a.GetPauseWhile()}, {"restart_while", a.GetRestartWhile()}, {"cancel_when", a.GetCancelWhen()}, {"hurry_when", a.GetHurryWhen()}}
}

// parse reads one condition, and adds its problems as findings.
func (c *compiler) parse(reader *term.Reader, path, text string) *term.Term {
	t, problems := reader.Parse(text, term.Cause)
	for _, problem := range problems {
		f := finding.Refuse(problem.Code, path, problem.Title, problem.Detail)
		f.Offset = int32(problem.Offset)
		c.add(f)
	}
	return t
}

// refuseCycles refuses causes that depend on themselves through cause(..), and takes one of each
// cycle away.
func (c *compiler) refuseCycles(causes []*term.Term) {
	const (
		unseen = iota
		open
		closed
	)
	state := make([]int, len(causes))
	var trail []int
	var visit func(i int)
	visit = func(i int) {
		if state[i] == closed || causes[i] == nil {
			return
		}
		if state[i] == open {
			from := slices.Index(trail, i)
			c.refuseCycle(append(slices.Clone(trail[from:]), i))
			causes[trail[len(trail)-1]] = nil
			return
		}
		state[i] = open
		trail = append(trail, i)
		t := causes[i]
		t.Each(func(f term.Fact) {
			if f.Kind == term.CauseTrue {
				visit(int(f.Index))
			}
		})
		trail = trail[:len(trail)-1]
		state[i] = closed
	}
	for i := range causes {
		visit(i)
	}
}

// refuseCycle refuses one cycle, at the first of its causes in the file.
func (c *compiler) refuseCycle(cycle []int) {
	names := make([]string, len(cycle))
	for i, cause := range cycle {
		names[i] = c.world.Causes[cause]
	}
	c.add(finding.Refuse("program.cause-cycle", fmt.Sprintf("program.causes[%d].when", slices.Min(cycle)), "a cause depends on itself: "+strings.Join(names, " -> "), "take cause(..) out of one of these conditions"))
}

// listUsers lists, by node, the causes and the actions that look at it.
func (c *compiler) listUsers(beside []guards) {
	causes, actions := make([][]int32, c.p.net.nodes()), make([][]int32, c.p.net.nodes())
	for i, node := range c.p.causes {
		causes[node] = append(causes[node], int32(i))
	}
	for a, g := range beside {
		for _, node := range []int32{g.unless, g.pause, g.restart, g.cancel, g.hurry} {
			if node >= 0 && !slices.Contains(actions[node], int32(a)) {
				actions[node] = append(actions[node], int32(a))
			}
		}
	}
	c.p.users = userLists{causes: pack(causes), actions: pack(actions)}
	// A gate counts only if something looks at it: constants may have left parts without use.
	used := make([]bool, c.p.net.nodes())
	for _, node := range c.p.given {
		if node >= 0 {
			used[node] = true
		}
	}
	for node := c.p.net.nodes() - 1; node >= 0; node-- {
		used[node] = used[node] || len(causes[node]) > 0 || len(actions[node]) > 0
		if gate := node - c.p.net.always() - 1; used[node] && gate >= 0 {
			for _, in := range c.p.net.inputs.at(gate) {
				used[in] = true
			}
		}
	}
	c.p.watched = make([]bool, len(c.world.Outputs))
	for o := range c.world.Outputs {
		for state := range commandedStates {
			leaf, _ := c.p.net.leaf(term.Fact{Kind: term.OutputCommanded, Index: int32(o), Value: state})
			c.p.watched[o] = c.p.watched[o] || used[leaf]
		}
	}
}
