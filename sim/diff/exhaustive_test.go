package diff

import (
	"fmt"
	"math/bits"
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

const exhaustiveSeeds = 300

// leaves are what random conditions are made of.
var leaves = []string{"device('HALL-SD-1').fire", "device('HALL-SD-2').fire", "device('HALL-CP').fire", "device('LOFT-SD-1').fire", "device('LOFT-HD-1').fire",
	"device('PUMP').active", "device('VALVE').supervisory", "control('hold').on", "panel.evacuate", "panel.mode == 'night'"}

// evacuateLeaf is the evacuate control's.
const evacuateLeaf = 8

// randomCondition is a condition over the leaves, at most so deep.
func randomCondition(r *rand.Rand, depth int) string {
	if depth == 0 || r.IntN(3) == 0 {
		leaf := leaves[r.IntN(len(leaves))]
		if r.IntN(5) == 0 {
			return "!(" + leaf + ")"
		}
		return leaf
	}
	switch r.IntN(4) {
	case 0:
		at := r.Perm(len(leaves))
		return fmt.Sprintf("at_least(2, [%s, %s, %s])", leaves[at[0]], leaves[at[1]], leaves[at[2]])
	case 1:
		return "(" + randomCondition(r, depth-1) + " && " + randomCondition(r, depth-1) + ")"
	}
	return "(" + randomCondition(r, depth-1) + " || " + randomCondition(r, depth-1) + ")"
}

// plainProgram is a program without times, latches and silence: what it does follows from the facts alone.
func plainProgram(r *rand.Rand) string {
	var out strings.Builder
	out.WriteString("\nprogram:\n  controls: [{control: hold}]\n  causes:\n")
	causes := 2 + r.IntN(3)
	for i := range causes {
		fmt.Fprintf(&out, "    - {cause: c%d, when: %q}\n", i, randomCondition(r, 3))
	}
	out.WriteString("  effects: [{effect: e0, outputs: [S1]}, {effect: e1, outputs: [R1, R2]}, {effect: e2, outputs: [R2]}]\n  actions:\n")
	for range 2 + r.IntN(5) {
		e := r.IntN(3)
		states := []string{"on", "off"}
		if e == 0 {
			states = []string{"alert", "evacuate", "off"}
		}
		fmt.Fprintf(&out, "    - {causes: [c%d], effects: [e%d], state: %q}\n", r.IntN(causes), e, states[r.IntN(len(states))])
	}
	return out.String()
}

// reference works out what a plain program asks, straight from its text: for each combination of the leaves
// the strongest state of each output.
func reference(t *testing.T, built *site.Built) [][]term.State {
	t.Helper()
	facts := make([]*term.Term, len(leaves))
	reader := term.NewReader(built.World)
	read := func(text string) *term.Term {
		parsed, problems := reader.Parse(text, term.Cause)
		if len(problems) > 0 {
			t.Fatalf("%q: %v", text, problems)
		}
		return parsed
	}
	for i, leaf := range leaves {
		facts[i] = read(leaf)
	}
	when := map[string]*term.Term{}
	for _, c := range built.Site.GetProgram().GetCauses() {
		when[c.GetCause()] = read(c.GetWhen())
	}
	outputs := map[string][]string{}
	for _, e := range built.Site.GetProgram().GetEffects() {
		outputs[e.GetEffect()] = e.GetOutputs()
	}
	table := make([][]term.State, 1<<len(leaves))
	for n := range table {
		is := func(f term.Fact) bool {
			for i := range facts {
				if facts[i].Fact == f {
					return n>>i&1 == 1
				}
			}
			return f.Kind == term.PanelMode && f.Value == term.Day && n>>(len(leaves)-1)&1 == 0
		}
		states := make([]term.State, len(built.Installation.Outputs))
		for _, a := range built.Site.GetProgram().GetActions() {
			state, _ := term.DemandWord(a.GetState())
			byHand := state == term.Evacuate && n>>evacuateLeaf&1 == 1
			if !byHand && !when[a.GetCauses()[0]].Eval(is) {
				continue
			}
			for _, ref := range outputs[a.GetEffects()[0]] {
				o, _ := built.Installation.Output(ref)
				states[o] = max(states[o], state)
			}
		}
		for o := range states {
			states[o] = states[o].Physical()
		}
		table[n] = states
	}
	return table
}

// TestAgainstEnumeration: two plain programs are told to do the same if and only if they do so for every
// combination of ten facts, evaluated one by one; and no combination with fewer signals and settings than
// the smallest stimulus shows the difference. Both are worked out from the text without diagrams.
func TestAgainstEnumeration(t *testing.T) {
	same, smallest := 0, 0
	for seed := range uint64(exhaustiveSeeds) {
		r := rand.New(rand.NewPCG(seed, 2))
		old := read(t, bench+plainProgram(r))
		var changed *site.Built
		if seed%2 == 0 {
			changed = read(t, bench+plainProgram(r))
		} else { // one thing changed, so that programs that do the same are not rare
			m := proto.CloneOf(old.Site)
			mutatePlain(r, m)
			var ok bool
			if changed, ok = made(m); !ok {
				continue
			}
		}
		a, b := reference(t, old), reference(t, changed)
		least, differs := len(leaves)+1, map[string]bool{}
		for n := range a {
			for o := range a[n] {
				if a[n][o] != b[n][o] {
					least = min(least, bits.OnesCount(uint(n)))
					differs[old.Installation.Outputs[o].Label] = true
				}
			}
		}
		p := pair(old, changed)
		d, err := decide(p)
		if err != nil {
			t.Fatal(err)
		}
		// A line `off` that a weaker one does not meet asks for rest, as no line does.
		told := map[string]bool{}
		for o := range old.Installation.Outputs {
			for state := term.On; state < term.Off; state++ {
				if d.steady[0][o][state] != d.steady[1][o][state] {
					told[old.Installation.Outputs[o].Label] = true
				}
			}
		}
		if fmt.Sprint(differs) != fmt.Sprint(told) {
			t.Fatalf("seed %d: %v differ by enumeration, %v by diagrams", seed, differs, told)
		}
		report := compare(t, old, changed)
		for _, diff := range report.GetDifferences() {
			if diff.GetKnown() != simulated || diff.GetStimulusSize() == 0 {
				continue
			}
			if int(diff.GetStimulusSize()) < least {
				t.Fatalf("seed %d: %q is said to show a difference, and no combination of %d facts does", seed, diff.GetStimulus(), diff.GetStimulusSize())
			}
			if int(diff.GetStimulusSize()) == least {
				smallest++
			}
		}
		if len(differs) == 0 {
			same++
		} else if report.GetSame() {
			t.Fatalf("seed %d: %v differ, and the sites are said to be the same", seed, differs)
		}
		checkShown(t, seed, report, a, b, old)
	}
	t.Logf("%d pairs do the same; %d stimuli are as small as any", same, smallest)
	if same < 10 || smallest < exhaustiveSeeds/3 {
		t.Errorf("%d pairs do the same and %d stimuli are as small as any: the test shows too little", same, smallest)
	}
}

// checkShown requires that a run showed a difference wherever signals alone, without taking anything back,
// can make one on a settled panel.
func checkShown(t *testing.T, seed uint64, report *pb.DiffReport, a, b [][]term.State, old *site.Built) {
	t.Helper()
	shown := map[string]bool{}
	for _, d := range report.GetDifferences() {
		if d.GetKnown() == simulated {
			for _, s := range d.GetSubjects() {
				shown[s] = true
			}
		}
	}
	for o := range old.Installation.Outputs {
		label := old.Installation.Outputs[o].Label
		for n := range a {
			if a[n][o] != b[n][o] && !shown[label] {
				t.Errorf("seed %d: %s is %v or %v under combination %b, and no run shows it:\n%s", seed, label, a[n][o], b[n][o], n, reportText(t, report))
				break
			}
		}
	}
}

// mutatePlain changes one condition, state or action; or writes a condition in another way.
func mutatePlain(r *rand.Rand, m *pb.Site) {
	p := m.GetProgram()
	c := p.GetCauses()[r.IntN(len(p.GetCauses()))]
	switch r.IntN(4) {
	case 0:
		c.When = "!(!(" + c.GetWhen() + "))"
	case 1:
		leaf := leaves[r.IntN(len(leaves))]
		c.When = "(" + c.GetWhen() + ") && (" + leaf + " || !(" + leaf + "))"
	case 2:
		c.When += " || " + leaves[r.IntN(len(leaves))]
	case 3:
		p.Actions = p.GetActions()[1:]
	}
}
