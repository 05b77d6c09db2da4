// Package mutant changes one thing of a site's program. The tests of verification and of comparison ask
// whether such a change is seen; both draw the same changes from the same numbers, so that what one finds by
// its runs can be held against what the other decides. No program but tests uses it. A change may leave
// everything as it was, or make a program that is refused: whoever asks for it looks.
package mutant

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Delay is by how much a delay changes.
const Delay = 2 * time.Second

// How many mutants of each kind are made, from which numbers, and how many changes are tried for them.
const (
	ofKind   = 10
	seed     = 1
	attempts = 1000
)

// Mutation changes one thing of a program and says what; empty if it found nothing to change.
type Mutation func(r *rand.Rand, site *pb.Site) string

var kinds = []struct {
	name string
	do   Mutation
}{
	{"drop an action", DropAction},
	{"change a state", ChangeState},
	{"change a delay", ChangeDelay},
	{"change a zone", ChangeZone},
	{"add an action", AddAction},
}

// Fifty makes ten different mutants of each kind of a site and hands each to the test, with what was
// changed. The test answers whether it could be used: a program that is refused is none of the ten. The error
// names a kind of which the site does not give ten.
func Fifty(site *pb.Site, test func(mutant *pb.Site, text string) (used bool)) error {
	r := rand.New(rand.NewPCG(seed, 0))
	seen := map[string]bool{}
	for _, kind := range kinds {
		for n, tried := 0, 0; n < ofKind; tried++ {
			if tried > attempts {
				return fmt.Errorf("%s: only %d mutants found", kind.name, n)
			}
			mutant := proto.CloneOf(site)
			text := kind.do(r, mutant)
			if text == "" || seen[text] {
				continue
			}
			seen[text] = true
			if test(mutant, kind.name+": "+text) {
				n++
			}
		}
	}
	return nil
}

// DropAction takes out one action, or one effect of one that has several.
func DropAction(r *rand.Rand, site *pb.Site) string {
	p := site.GetProgram()
	i := r.IntN(len(p.GetActions()))
	a := p.GetActions()[i]
	if n := len(a.GetEffects()); n > 1 && r.IntN(2) == 0 {
		k := r.IntN(n)
		text := fmt.Sprintf("without %v -> %s %s", a.GetCauses(), a.GetEffects()[k], a.GetState())
		a.Effects = slices.Delete(a.GetEffects(), k, k+1)
		return text
	}
	p.Actions = slices.Delete(p.GetActions(), i, i+1)
	return "without " + actionText(a)
}

// ChangeState lets an action demand another state of its kind.
func ChangeState(r *rand.Rand, site *pb.Site) string {
	a := site.GetProgram().GetActions()[r.IntN(len(site.GetProgram().GetActions()))]
	states := []string{"on", "off"}
	if a.GetState() == "alert" || a.GetState() == "evacuate" {
		states = []string{"alert", "evacuate", "off"}
	}
	state := states[r.IntN(len(states))]
	if state == a.GetState() {
		return ""
	}
	text := actionText(a) + " becomes " + state
	a.State = state
	return text
}

// ChangeDelay makes a delay 2 s longer or shorter, or delays what had none by 2 s.
func ChangeDelay(r *rand.Rand, site *pb.Site) string {
	a := site.GetProgram().GetActions()[r.IntN(len(site.GetProgram().GetActions()))]
	by := Delay
	if r.IntN(2) == 0 {
		by = -by
	}
	after := a.GetAfter().AsDuration() + by
	if after < 0 {
		return ""
	}
	text := fmt.Sprintf("%s after %v", actionText(a), after)
	a.After = durationpb.New(after)
	return text
}

// ChangeZone puts another zone in the place of one that a cause names.
func ChangeZone(r *rand.Rand, site *pb.Site) string {
	c := site.GetProgram().GetCauses()[r.IntN(len(site.GetProgram().GetCauses()))]
	parts := strings.Split(c.GetWhen(), "zone('")
	if len(parts) < 2 {
		return ""
	}
	k := 1 + r.IntN(len(parts)-1)
	was, rest, _ := strings.Cut(parts[k], "'")
	zones := site.GetZones()
	is := zones[r.IntN(len(zones))].GetZone()
	if is == was {
		return ""
	}
	parts[k] = is + "'" + rest
	c.When = strings.Join(parts, "zone('")
	return fmt.Sprintf("cause %s: %s", c.GetCause(), c.GetWhen())
}

// AddAction joins a cause and an effect that no action joins yet.
func AddAction(r *rand.Rand, site *pb.Site) string {
	p := site.GetProgram()
	c, e := p.GetCauses()[r.IntN(len(p.GetCauses()))].GetCause(), p.GetEffects()[r.IntN(len(p.GetEffects()))].GetEffect()
	state := "on"
	for _, a := range p.GetActions() {
		if !slices.Contains(a.GetEffects(), e) {
			continue
		}
		if slices.Contains(a.GetCauses(), c) {
			return ""
		}
		if a.GetState() == "alert" || a.GetState() == "evacuate" {
			state = []string{"alert", "evacuate"}[r.IntN(2)]
		}
	}
	a := &pb.Action{Causes: []string{c}, Effects: []string{e}, State: state}
	p.Actions = append(p.Actions, a)
	return "with " + actionText(a)
}

// ChangeHold makes an off-delay 2 s longer or shorter, or gives one of 2 s to what had none.
func ChangeHold(r *rand.Rand, site *pb.Site) string {
	a := site.GetProgram().GetActions()[r.IntN(len(site.GetProgram().GetActions()))]
	by := Delay
	if a.GetHold().AsDuration() >= by && r.IntN(2) == 0 {
		by = -by
	}
	a.Hold = durationpb.New(a.GetHold().AsDuration() + by)
	return fmt.Sprintf("%s hold %v", actionText(a), a.GetHold().AsDuration())
}

func actionText(a *pb.Action) string {
	text := fmt.Sprintf("%v -> %v %s", a.GetCauses(), a.GetEffects(), a.GetState())
	if after := a.GetAfter().AsDuration(); after > 0 {
		text += fmt.Sprintf(" after %v", after)
	}
	return text
}
