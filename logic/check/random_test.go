package check

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// What is said never to be, never is: random programs, run with random signals, keys, modes, silence and reset. A cause or
// an action that was called unreachable must stay false, and an action called hidden must never be what an output shows. That
// some are called so at all, and not all, is checked at the end.
func TestNeverIsNever(t *testing.T) {
	seeds := uint64(1500)
	if testing.Short() {
		seeds = 200
	}
	said, silent := map[string]int{}, 0
	for seed := range seeds {
		r := rand.New(rand.NewPCG(seed, 2))
		site := &pb.Site{}
		if err := prototext.Unmarshal([]byte(hall), site); err != nil {
			t.Fatal(err)
		}
		site.Program = randomProgram(r)
		w := world(t, site)
		p, found := logic.Compile(site, w)
		if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
			continue // a count that can never be, a cycle: refused before anything is decided
		}
		a := Analyse(site, w, p)
		causes, unreachable, hidden := map[int]bool{}, map[int]bool{}, map[int]bool{}
		for _, f := range Check(site, a) {
			var i int
			path := strings.NewReplacer("[", " ", "]", " ").Replace(f.GetPath())
			switch f.GetCode() {
			case "program.cause-unreachable":
				_, _ = fmt.Sscanf(path, "program.causes %d", &i)
				causes[i] = true
			case "program.action-unreachable":
				_, _ = fmt.Sscanf(path, "program.actions %d", &i)
				unreachable[i] = true
			case "program.action-hidden":
				_, _ = fmt.Sscanf(path, "program.actions %d", &i)
				hidden[i] = true
			default:
				continue
			}
			said[f.GetCode()]++
		}
		if len(causes)+len(unreachable)+len(hidden) == 0 {
			silent++
			continue
		}
		play(r, p, func(s *logic.State) {
			for i := range causes { // order does not show: any of them fails
				if p.Fact(s, term.Fact{Kind: term.CauseTrue, Index: int32(i)}) {
					t.Fatalf("seed %d: cause %d is true\n%s", seed, i, prototext.Format(site.GetProgram()))
				}
			}
			for i := range p.Pairs() {
				pair := p.Pair(i)
				if !p.Active(s, i) {
					continue
				}
				if unreachable[pair.Action] {
					t.Fatalf("seed %d: action %d acts\n%s", seed, pair.Action, prototext.Format(site.GetProgram()))
				}
				for _, o := range p.EffectOutputs(pair.Effect) {
					shows := p.Demand(s, int(o)) == pair.State && pair.State != term.Off && !alsoBy(p, s, pair, o)
					if shows && hidden[pair.Action] {
						t.Fatalf("seed %d: action %d shows on output %d\n%s", seed, pair.Action, o, prototext.Format(site.GetProgram()))
					}
				}
			}
		})
	}
	for _, code := range []string{"program.cause-unreachable", "program.action-unreachable", "program.action-hidden"} {
		if said[code] < 10 {
			t.Errorf("%s was said %d times: the programs are too tame", code, said[code])
		}
	}
	if silent == 0 {
		t.Error("something is said of every program")
	}
}

// alsoBy tells whether another action demands the same state of the output, or an effect holds it until reset.
func alsoBy(p *logic.Program, s *logic.State, pair logic.Pair, output int32) bool {
	for _, e := range p.OutputEffects(int(output)) {
		for k := range p.Pairs() {
			if q := p.Pair(k); q.Effect == int(e) && q.Action != pair.Action && q.State == pair.State && p.Active(s, k) {
				return true
			}
		}
		if int(e) != pair.Effect && p.EffectDemand(s, int(e)) == pair.State {
			return true
		}
	}
	return false
}

func randomProgram(r *rand.Rand) *pb.Program {
	m := &pb.Program{Controls: []*pb.Control{{Control: "a"}, {Control: "b"}}}
	var condition func(depth int) string
	condition = func(depth int) string {
		leaf := []string{"zone('hall').fire", "zone('lobby').fire", "device('H1').fire", "panel.fire", "control('a').on", "control('b').on", "panel.mode == 'day'", "panel.mode == 'night'",
			"zone('hall').detectors_in_fire >= 2", "panel.acknowledged", "device('L1').fault", "output('R1').commanded == 'on'"}
		switch k := r.IntN(8); {
		case depth == 0 || k < 3:
			return leaf[r.IntN(len(leaf))]
		case k == 3:
			return "!(" + condition(depth-1) + ")"
		case k < 6:
			return "(" + condition(depth-1) + " && " + condition(depth-1) + ")"
		}
		return "(" + condition(depth-1) + " || " + condition(depth-1) + ")"
	}
	for i := range 2 + r.IntN(4) {
		m.Causes = append(m.Causes, &pb.Cause{Cause: fmt.Sprintf("c%d", i), When: condition(3)})
	}
	outputs := [][]string{{"HS"}, {"LS"}, {"HS", "LS"}, {"R1"}, {"R2"}, {"R1", "R2"}}
	for i := range 3 + r.IntN(4) {
		e := &pb.Effect{Effect: fmt.Sprintf("e%d", i), Outputs: outputs[r.IntN(len(outputs))], Silenceable: r.IntN(2) == 0}
		if r.IntN(4) == 0 {
			e.Until = "reset"
		}
		if r.IntN(6) == 0 {
			e.OneOf = "set"
		}
		m.Effects = append(m.Effects, e)
	}
	seconds := func() *durationpb.Duration { return durationpb.New(time.Duration(1+r.IntN(3)) * time.Second) }
	for range 3 + r.IntN(8) {
		e := m.GetEffects()[r.IntN(len(m.GetEffects()))]
		states := []string{"on", "off"}
		if e.GetOutputs()[0] == "HS" || e.GetOutputs()[0] == "LS" {
			states = []string{"alert", "evacuate", "alert", "off"}
		}
		a := &pb.Action{Causes: []string{m.GetCauses()[r.IntN(len(m.GetCauses()))].GetCause()}, Effects: []string{e.GetEffect()}, State: states[r.IntN(len(states))]}
		if r.IntN(3) == 0 {
			a.After = seconds()
			switch r.IntN(5) {
			case 0:
				a.CancelWhen = condition(1)
			case 1:
				a.PauseWhile = condition(1)
			case 2:
				a.RestartWhile = condition(1)
			case 3:
				a.CancelWhen, a.HurryWhen = condition(1), condition(1)
			}
		}
		switch r.IntN(6) {
		case 0:
			a.For = seconds()
		case 1:
			a.Hold = seconds()
		}
		if r.IntN(3) == 0 {
			a.Unless = condition(2)
		}
		m.Actions = append(m.Actions, a)
	}
	return m
}

type deaf struct{ events uint64 }

func (d *deaf) Note(logic.Change) uint64 { d.events++; return d.events }

// play runs a program with random acts, and lets see look after every evaluation.
func play(r *rand.Rand, p *logic.Program, see func(s *logic.State)) {
	s, d, now := p.NewState(), &deaf{}, time.Duration(0)
	until := func(end time.Duration) {
		for {
			due, ok := p.Next(s)
			if !ok || due > end {
				return
			}
			p.Evaluate(s, due, d)
			see(s)
		}
	}
	until(0)
	for range 40 {
		now += time.Duration(r.IntN(2500)) * time.Millisecond
		until(now)
		point := r.IntN(6)
		switch r.IntN(10) {
		case 0, 1, 2:
			p.Set(s, term.Fact{Kind: term.DeviceFire, Index: int32(point)}, true, d.events)
			p.Set(s, term.Fact{Kind: term.DeviceActive, Index: int32(point)}, true, d.events)
		case 3:
			p.Set(s, term.Fact{Kind: term.DeviceActive, Index: int32(point)}, false, d.events)
		case 4:
			p.Set(s, term.Fact{Kind: term.DeviceFault, Index: 3}, r.IntN(2) == 0, d.events)
		case 5:
			p.Operate(s, logic.Operation{Kind: logic.Control, Index: int32(r.IntN(2)), On: r.IntN(2) == 0}, d.events)
		case 6:
			p.Operate(s, logic.Operation{Kind: logic.Mode, Value: int32(r.IntN(2))}, d.events)
		case 7:
			p.Operate(s, logic.Operation{Kind: logic.Silence}, d.events)
		case 8:
			p.Operate(s, logic.Operation{Kind: logic.Acknowledge}, d.events)
		default:
			p.Operate(s, logic.Operation{Kind: logic.Reset}, d.events)
		}
		p.Evaluate(s, now, d)
		see(s)
	}
	until(now + 10*time.Second)
}
