package diff

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

const (
	soundSeeds = 600
	soundRuns  = 12
)

// timedProgram is a random program with everything that has a memory: times, guards, latches, sets, silence,
// an override.
func timedProgram(r *rand.Rand) string {
	var out strings.Builder
	out.WriteString("\nprogram:\n  controls: [{control: hold}]\n  causes:\n")
	causes := 3 + r.IntN(2)
	for i := range causes {
		fmt.Fprintf(&out, "    - {cause: c%d, when: %q}\n", i, randomCondition(r, 2))
	}
	out.WriteString("  effects:\n")
	outputs := [][]string{{"S1"}, {"S1"}, {"R1", "R2"}, {"R2"}, {"R1"}}
	for e, list := range outputs {
		fmt.Fprintf(&out, "    - {effect: e%d, outputs: [%s]", e, strings.Join(list, ", "))
		for _, more := range []string{", silenceable: true", ", until: reset", ", one_of: set"} {
			if r.IntN(3) == 0 {
				out.WriteString(more)
			}
		}
		out.WriteString("}\n")
	}
	out.WriteString("  actions:\n")
	for range 3 + r.IntN(5) {
		e := r.IntN(len(outputs))
		states := []string{"on", "on", "off"}
		if e < 2 {
			states = []string{"alert", "evacuate", "evacuate", "off"}
		}
		fmt.Fprintf(&out, "    - {causes: [c%d], effects: [e%d], state: %q", r.IntN(causes), e, states[r.IntN(len(states))])
		if r.IntN(2) == 0 {
			fmt.Fprintf(&out, ", after: %ds", 5+5*r.IntN(3))
			if r.IntN(3) == 0 {
				fmt.Fprintf(&out, ", %s: %q", []string{"pause_while", "restart_while", "cancel_when", "hurry_when"}[r.IntN(4)], leaves[r.IntN(len(leaves))])
			}
		}
		switch r.IntN(6) {
		case 0:
			out.WriteString(", for: 7s")
		case 1:
			out.WriteString(", hold: 6s")
		case 2:
			fmt.Fprintf(&out, ", unless: %q", leaves[r.IntN(len(leaves))])
		}
		out.WriteString("}\n")
	}
	out.WriteString("  overrides: [{override: switch, effects: [e4]}]\n")
	return out.String()
}

// mutateTimed changes one thing of a program, or writes it in another way.
func mutateTimed(r *rand.Rand, m *pb.Site) {
	p := m.GetProgram()
	a := p.GetActions()[r.IntN(len(p.GetActions()))]
	e := p.GetEffects()[r.IntN(len(p.GetEffects()))]
	c := p.GetCauses()[r.IntN(len(p.GetCauses()))]
	switch r.IntN(9) {
	case 0:
		a.After = durationpb.New(a.GetAfter().AsDuration() + 5e9)
	case 1:
		e.Silenceable = !e.GetSilenceable()
	case 2:
		e.Until = map[string]string{"": "reset", "reset": ""}[e.GetUntil()]
	case 3:
		c.When += " || " + leaves[r.IntN(len(leaves))]
	case 4:
		p.Actions = append(p.Actions, proto.CloneOf(a))
	case 5: // one action more beside another: often hidden by it
		b := proto.CloneOf(a)
		b.Causes = []string{c.GetCause()}
		p.Actions = append(p.Actions, b)
	case 6:
		c.When = "(" + c.GetWhen() + ") || ((" + c.GetWhen() + ") && " + leaves[r.IntN(len(leaves))] + ")"
	case 7: // a weaker state beside
		b := proto.CloneOf(a)
		if b.GetState() == "evacuate" {
			b.State = "alert"
		}
		p.Actions = append(p.Actions, b)
	case 8: // the effect once more under another name
		b := proto.CloneOf(e)
		b.Effect = "copy"
		p.Effects = append(p.Effects, b)
		for _, a := range p.GetActions() {
			for _, id := range a.GetEffects() {
				if id == e.GetEffect() {
					a.Effects = append(a.Effects, "copy")
					break
				}
			}
		}
	}
}

// randomStimulus is anything that may happen: settings, signals in any order, operators.
func randomStimulus(r *rand.Rand, p *pairing) *stimulus {
	s := &stimulus{again: -1}
	signals := []bdd.Setting{}
	for i := range p.built[0].Installation.Points {
		pt := &p.built[0].Installation.Points[i]
		kind := term.DeviceActive
		switch {
		case pt.Output >= 0 || pt.ProvesEquipment >= 0:
			continue
		case pt.Input.Fire():
			kind = term.DeviceFire
		}
		signals = append(signals, bdd.Setting{Fact: term.Is(kind, i).Fact, On: true})
	}
	for range 1 + r.IntN(4) {
		g := signals[r.IntN(len(signals))]
		g.On = r.IntN(5) > 0
		s.signals = append(s.signals, g)
	}
	for _, f := range []term.Fact{term.Is(term.ControlOn, 0).Fact, term.IsValue(term.PanelMode, 0, term.Night).Fact, term.IsValue(term.OverrideAt, 0, term.SwitchedOn).Fact} {
		if r.IntN(4) == 0 {
			s.given = append(s.given, bdd.Setting{Fact: f, On: true})
		}
	}
	for _, k := range []term.Kind{term.PanelAcknowledged, term.PanelSilenced, term.PanelEvacuate} {
		if r.IntN(5) == 0 {
			s.acts = append(s.acts, bdd.Setting{Fact: term.Is(k, 0).Fact, On: true})
		}
	}
	s.late, s.standing = r.IntN(3) == 0, r.IntN(3) == 0
	if r.IntN(4) == 0 {
		s.again = int32(r.IntN(5))
	}
	return s
}

// TestSound: two programs that are told to be the same do the same, to the nanosecond, whatever happens: random
// programs, each with one thing changed or written in another way, played with random signals, settings,
// operators, silence and reset.
func TestSound(t *testing.T) {
	same := 0
	for seed := range uint64(soundSeeds) {
		r := rand.New(rand.NewPCG(seed, 3))
		old := read(t, bench+timedProgram(r))
		m := proto.CloneOf(old.Site)
		mutateTimed(r, m)
		changed, ok := made(m)
		if !ok {
			continue
		}
		p := pair(old, changed)
		d, err := decide(p)
		if err != nil {
			t.Fatal(err)
		}
		if len(d.groups()) > 0 || len(d.order()) > 0 {
			continue
		}
		same++
		runner := newRunner(p)
		runner.tolerance = 0
		if !p.sameOrder() { // commands of one instant may go out in another order
			runner.tolerance = runner.toleranceOf(true)
		}
		for range soundRuns {
			s := randomStimulus(r, p)
			o, err := runner.play(t.Context(), s)
			if err != nil {
				t.Fatal(err)
			}
			if gaps := runner.gaps(o, nil); len(gaps) > 0 {
				g := gaps[0]
				t.Fatalf("seed %d: told to be the same, and by %s %s\nold %s\nnew %s\n%v\n%v", seed, o.text, runner.trackName(g.track),
					o.courses[0].text(o.courses[0].tracks[g.track], g.number), o.courses[1].text(o.courses[1].tracks[g.track], g.number),
					old.Site.GetProgram(), changed.Site.GetProgram())
			}
		}
	}
	t.Logf("%d of %d pairs are told to be the same", same, soundSeeds)
	if same < soundSeeds/6 {
		t.Errorf("only %d of %d pairs are told to be the same", same, soundSeeds)
	}
}
