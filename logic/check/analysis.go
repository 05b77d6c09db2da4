package check

import (
	"fmt"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Analysis is a program as conditions that can be decided.
type Analysis struct {
	World   *term.World
	Program *logic.Program
	Space   *bdd.Space
	// Domain is which combinations of facts can be.
	Domain bdd.Node
	// Causes are the conditions of the causes, as diagrams and as they were read.
	Causes []bdd.Node
	Terms  []*term.Term
	Pairs  []Pair

	file   *pb.Program
	beside []guards // by action of the file
}

// Pair is one cause joined with one effect.
type Pair struct {
	logic.Pair
	Path string
	// Active is when it demands its state, all times left aside: its cause, and no `unless`.
	Active bdd.Node
	guards
}

// guards are the conditions beside an action; False where none is written.
type guards struct{ unless, pause, restart, cancel, hurry bdd.Node }

// Guards are the conditions beside the action; False where none is written.
func (p *Pair) Guards() []bdd.Node {
	return []bdd.Node{p.unless, p.pause, p.restart, p.cancel}
}

// Analyse reads a program that logic.Compile has accepted over the same world.
func Analyse(site *pb.Site, w *term.World, p *logic.Program) *Analysis {
	return analyse(site, w, p, bdd.DefaultLimit)
}

// analyse is Analyse within a number of nodes.
func analyse(site *pb.Site, w *term.World, p *logic.Program, limit int) *Analysis {
	a := &Analysis{World: w, Program: p, Space: bdd.New(limit), file: site.GetProgram()}
	reader := term.NewReader(w)
	read := func(text string) *term.Term {
		if text == "" {
			return term.False()
		}
		t, problems := reader.Parse(text, term.Cause)
		if len(problems) > 0 {
			panic("check: a condition that compiled cannot be read: " + text)
		}
		return t
	}
	for _, c := range a.file.GetCauses() {
		a.Terms = append(a.Terms, read(c.GetWhen()))
	}
	a.defineCauses()
	for _, x := range a.file.GetActions() {
		node := func(text string) bdd.Node { return a.Space.Term(read(text)) }
		a.beside = append(a.beside, guards{node(x.GetUnless()), node(x.GetPauseWhile()), node(x.GetRestartWhile()), node(x.GetCancelWhen()), node(x.GetHurryWhen())})
	}
	a.Domain = a.Space.Domain()
	for i := range p.Pairs() {
		pair := Pair{Pair: p.Pair(i), Path: p.PairPath(i)}
		if pair.Action >= 0 {
			pair.guards = a.beside[pair.Action]
		}
		pair.Active = a.Space.And(a.Causes[pair.Cause], a.Space.Not(pair.unless), a.Domain)
		a.Pairs = append(a.Pairs, pair)
	}
	return a
}

// defineCauses builds the causes, each after those that it names; none names itself.
func (a *Analysis) defineCauses() {
	a.Causes = make([]bdd.Node, len(a.Terms))
	built := make([]bool, len(a.Terms))
	var build func(i int)
	build = func(i int) {
		if built[i] {
			return
		}
		built[i] = true
		a.Terms[i].Each(func(f term.Fact) {
			if f.Kind == term.CauseTrue {
				build(int(f.Index))
			}
		})
		a.Causes[i] = a.Space.Term(a.Terms[i])
		a.Space.Define(term.Fact{Kind: term.CauseTrue, Index: int32(i)}, a.Causes[i])
	}
	for i := range a.Terms {
		build(i)
	}
}

// actionPath is the field path of an action.
func actionPath(action int) string { return fmt.Sprintf("program.actions[%d]", action) }

// cause is the id of a cause, and effect that of an effect.
func (a *Analysis) cause(i int) string  { return a.file.GetCauses()[i].GetCause() }
func (a *Analysis) effect(i int) string { return a.file.GetEffects()[i].GetEffect() }
