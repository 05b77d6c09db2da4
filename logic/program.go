// Package logic is the panel's cause and effect: which outputs are demanded in which state, at
// every instant, given what the panel knows and what its operators do.
//
// Compile turns the program of a site into an immutable Program: the conditions of all causes as
// one network of threshold gates, each pair of a cause and an effect that an action joins with
// timers of its own, effects, and outputs. A State is everything that changes; it holds no
// pointers into the Program and is copied with CopyFrom. Whoever owns time sets facts as they
// change, queues what operators do, and calls Evaluate once for each instant at which something
// was set or queued and at each instant that Next names. Inside one instant the order is: facts,
// operators, reset, timers, one evaluation of the conditions, effects, outputs (rule E9); the
// calendar is ahead of all of it.
// The cost of an evaluation follows what changes, not the size of the program.
//
// Settled here, where the rules are silent:
//   - At one instant what the conditions say goes before timers: a cause that falls, cancel_when,
//     hurry_when, restart_while and pause_while (in this order of strength) win over an expiry, and
//     a cause that rises again wins over the end of `hold`.
//   - Reset starts a delay again that cancel_when had ended, if the cause is still true. What an
//     effect with `until: reset` holds stays over a reset only for a state whose cause is still
//     true, whose delay has run out and whose `unless` is not true.
//   - `off` is an inhibit and no operation: it claims no one_of set, and silence never removes it.
//   - The evacuate control ends silence; so does a fire of a device without a zone. It is a demand
//     like any other: an `off` or a switch overrides it. It goes beside one_of.
//   - A further silence adds to what the first noted. A stage that comes due in the instant of
//     silence sounds.
//   - Any new fire, pre-alarm, supervisory signal or fault ends `acknowledged`; so does reset.
//   - A decision on fire that falls while the device or its zone is disabled is not taken; when
//     both are enabled again the line is told to decide anew. A disabled device that is an output
//     module is a disabled output.
//   - Whether a signal is to be investigated is asked once all else of the instant has been taken.
//   - A held signal of a device that is disabled is dropped.
//   - What the panel indicates (rules L1, L2) is brought up to date once the signals and operators of
//     the instant have been taken, before causes are looked at.
//
// What the panel shows, who may work it, when its mode changes and how its switches rule is package
// panel's, what stands between a signal and fire package detection's; both say what they leave out.
//
// Invariants: equal calls give equal changes in equal order; every change names the event that
// brought it about; an output is demanded in exactly the strongest state that any effect demands
// of it after silence and disablement, unless a switch rules it.
//
// Validated against the timer traces of IEC 61131-3 (from memory), the CEL library's evaluator
// for conditions, and a twin that evaluates everything from scratch on random programs.
package logic

import (
	"time"

	"loopdrill.dev/loopdrill/logic/detection"
	"loopdrill.dev/loopdrill/logic/panel"
	"loopdrill.dev/loopdrill/logic/term"
)

// Program is a compiled program. It is immutable and may be shared by any number of States.
type Program struct {
	net *network
	// roots are the nodes of conditions.
	causes []int32
	guards []guards // by action
	// users lists who looks at each node.
	users userLists
	pairs []pair
	// pairsOf lists pairs by cause, guarded by action.
	pairsOf    lists
	pairsByAct lists
	effects    []effect
	outsOf     lists // outputs by effect, in file order
	effectsOf  lists // effects by output, in file order
	placesOf   lists // by output: the place of the output in each of those effects
	pairsTo    lists // pairs by effect
	sets       lists // effects by one_of set
	outputs    []output
	points     []point
	zones      int
	actions    int        // of the file: guards and lists of pairs by action go on with the phasings
	driving    [][2]int32 // pairs of an equipment and an output that drives it
	phasings   []phasing
	overrides  []override
	leversOf   [][]panel.Lever // by output
	overridden []bool          // effects in the reach of an override
	calendar   panel.Calendar
	// controlLevels are the access levels that controls need.
	controlLevels []panel.Level
	detection     *detection.Rules
	given         []int32 // by zone: the node that says whether signals are investigated, -1 for always
	// watched says which outputs' commanded state some condition reads.
	watched []bool

	dropAll          bool
	resoundByDevice  bool
	latches          [term.LastKnown + 1]bool
	latchesTechnical bool
	night            bool
	soundsAgain      time.Duration
	switchTime       time.Duration
	chainLimit       int // ChainLimit, or less in tests
}

// guards are the nodes of the conditions beside an action; -1 for none.
type guards struct {
	unless, pause, restart, cancel, hurry int32
}

// pair is one cause joined with one effect by one action.
type pair struct {
	action, cause, effect int32
	state                 term.State
	after, pulse, hold    time.Duration
	phasing, floor        int32 // of a phasing: the floor that burns; -1 for an action of the file
}

// effect is a set of outputs.
type effect struct {
	silenceable bool
	untilReset  bool
	set         int32 // one_of set, -1 for none
	evacuates   bool  // has an action that demands evacuate
}

// output is what the program must know of an output.
type output struct {
	point     int32 // -1 for one on the panel itself
	equipment int32 // that it drives, -1 for none
}

// point is what the program must know of a device.
type point struct {
	fire      bool
	technical bool
	zone      int32 // -1 for none
	output    int32 // -1 for an input
}

// userLists says, by node, which causes it is the condition of and beside which actions it stands.
type userLists struct {
	causes  lists
	actions lists
}

// Pair describes one pair of a cause and an effect: of an action of the file, or else, Action being
// -1, of a phasing and the floor that burns.
type Pair struct {
	Action, Cause, Effect int
	Phasing, Floor        int
	State                 term.State
	After, For, Hold      time.Duration
}

// Pairs returns the number of pairs: the index space of ActionChanged and the delays. They stand
// in file order of actions, within one of its causes, within one of its effects; then those of
// phasings, by floor that burns, by distance from it.
func (p *Program) Pairs() int { return len(p.pairs) }

// Pair describes pair i.
func (p *Program) Pair(i int) Pair {
	pr := p.pairs[i]
	action := int(pr.action)
	if pr.phasing >= 0 {
		action = -1
	}
	return Pair{Action: action, Cause: int(pr.cause), Effect: int(pr.effect), Phasing: int(pr.phasing), Floor: int(pr.floor), State: pr.state, After: pr.after, For: pr.pulse, Hold: pr.hold}
}

// Causes returns the number of causes.
func (p *Program) Causes() int { return len(p.causes) }

// Effects returns the number of effects.
func (p *Program) Effects() int { return len(p.effects) }

// EffectOutputs lists the outputs of an effect in file order. The caller does not change it.
func (p *Program) EffectOutputs(effect int) []int32 { return p.outsOf.at(int32(effect)) }

// OutputEffects lists the effects that an output is in, in file order. The caller does not
// change it.
func (p *Program) OutputEffects(output int) []int32 { return p.effectsOf.at(int32(output)) }

// Silenceable reports whether silence puts the effect's outputs to rest.
func (p *Program) Silenceable(effect int) bool { return p.effects[effect].silenceable }

// LongestDelay returns the longest time that any action adds on purpose: after, for and hold.
func (p *Program) LongestDelay() time.Duration {
	longest := time.Duration(0)
	for _, pr := range p.pairs {
		longest = max(longest, pr.after+pr.pulse+pr.hold)
	}
	return longest
}

// Watched reports whether some condition reads output(..).commanded of the output.
func (p *Program) Watched(output int) bool { return p.watched[output] }
