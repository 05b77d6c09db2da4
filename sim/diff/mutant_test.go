package diff

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// The mutants are those of the test of sim/verify: the same changes from the same numbers.
const (
	mutantsOfKind = 10
	mutantSeed    = 1
	mutantDelay   = 2 * time.Second
	// maxAlike is how many mutants may do the same in every run: sim/verify finds three.
	maxAlike = 3
)

var mutations = []struct {
	kind string
	do   func(r *rand.Rand, site *pb.Site) string
}{
	{"drop an action", dropAction}, {"change a state", changeState}, {"change a delay", changeDelay}, {"change a zone", changeZone}, {"add an action", addAction},
}

// dropAction takes out one action, or one effect of one that has several.
func dropAction(r *rand.Rand, site *pb.Site) string {
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

func changeState(r *rand.Rand, site *pb.Site) string {
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

// changeDelay makes a delay 2 s longer or shorter, or delays what had none by 2 s.
func changeDelay(r *rand.Rand, site *pb.Site) string {
	a := site.GetProgram().GetActions()[r.IntN(len(site.GetProgram().GetActions()))]
	by := mutantDelay
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

// changeZone puts another zone in the place of one that a cause names.
func changeZone(r *rand.Rand, site *pb.Site) string {
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

// addAction joins a cause and an effect that no action joins yet.
func addAction(r *rand.Rand, site *pb.Site) string {
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

func actionText(a *pb.Action) string {
	text := fmt.Sprintf("%v -> %v %s", a.GetCauses(), a.GetEffects(), a.GetState())
	if after := a.GetAfter().AsDuration(); after > 0 {
		text += fmt.Sprintf(" after %v", after)
	}
	return text
}

// TestMutants: of fifty mutants of the demo each is different, and the smallest stimulus that is named shows
// other courses on simulation; but for at most three that do the same in every run of the required matrix
// (what sim/verify finds by its own runs).
func TestMutants(t *testing.T) {
	demo := open(t, "alder-quay")
	r := rand.New(rand.NewPCG(mutantSeed, 0))
	seen := map[string]bool{}
	alike := 0
	for _, mutation := range mutations {
		for n := 0; n < mutantsOfKind; {
			m := proto.CloneOf(demo.Site)
			text := mutation.do(r, m)
			if text == "" || seen[text] {
				continue
			}
			seen[text] = true
			mutant, ok := made(m)
			if !ok {
				continue
			}
			n++
			report := compare(t, demo, mutant)
			shown := false
			for _, d := range report.GetDifferences() {
				if d.GetKind() != "behaviour" && d.GetKind() != "sequence" {
					t.Errorf("%s: %s: a difference of kind %s: %s", mutation.kind, text, d.GetKind(), d.GetTitle())
				}
				if d.GetKnown() != simulated {
					continue
				}
				shown = true
				if d.GetOldCourse().GetDid() == d.GetNewCourse().GetDid() {
					t.Errorf("%s: %s: by %s both did %q", mutation.kind, text, d.GetStimulus(), d.GetOldCourse().GetDid())
				}
			}
			if !shown {
				alike++
				t.Logf("%s: %s: same %v, %d differences and no run shows one", mutation.kind, text, report.GetSame(), len(report.GetDifferences()))
			}
		}
	}
	if alike > maxAlike {
		t.Errorf("%d mutants are not shown to be different: at most %d", alike, maxAlike)
	}
}
