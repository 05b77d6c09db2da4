package verify

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/logic/matrix"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Mutants of the demo's program: how many of each kind, and how many of all may do the same as
// the original in every run.
const (
	mutantsOfKind  = 10
	maxIdentical   = 5
	mutantSeed     = 1
	mutantDelay    = 2 * time.Second
	mutantAttempts = 1000
)

// mutation changes one thing of a program and says what; empty if it found nothing to change.
type mutation func(r *rand.Rand, site *pb.Site) string

var mutations = []struct {
	kind string
	do   mutation
}{
	{"drop an action", dropAction},
	{"change a state", changeState},
	{"change a delay", changeDelay},
	{"change a zone", changeZone},
	{"add an action", addAction},
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

// trial is a mutant verified against the demo's own matrix.
type trial struct {
	differing map[string]bool // runs in which something outside the program differs
	inside    int             // further runs whose log differs only inside the program
	passed    bool
	named     []string // runs that the report names
}

// caught reports whether the report fails and names a run that differs.
func (m *trial) caught() bool {
	return !m.passed && slices.ContainsFunc(m.named, func(run string) bool { return m.differing[run] })
}

// reason says why a mutant does the same as the original.
func (m *trial) reason() string {
	if m.inside == 0 {
		return "every log is the same, byte for byte: no run reaches what was changed"
	}
	return fmt.Sprintf("in %d runs it shows inside the program only: nothing else is asked of any output", m.inside)
}

// try verifies a mutant. All verifications watch equally long, so that a longer delay in the
// program alone moves nothing.
func try(t *testing.T, site *pb.Site, m *matrix.Matrix, original []Record, hold watch) (*trial, bool) {
	plan, ok := planOf(site)
	if !ok {
		return nil, false
	}
	v := newVerifier(t, plan, m)
	v.watch = hold
	report, records := verified(t, v)
	if len(records) != len(original) {
		t.Fatalf("%d runs, the original has %d", len(records), len(original))
	}
	out := &trial{differing: map[string]bool{}, passed: report.GetPassed()}
	for i := range records {
		switch {
		case records[i].Text != original[i].Text:
			t.Fatalf("run %d is %q, that of the original %q", i, records[i].Text, original[i].Text)
		case records[i].Outside != original[i].Outside:
			out.differing[records[i].Text] = true
		case records[i].Digest != original[i].Digest:
			out.inside++
		}
	}
	for _, c := range report.GetCells() {
		if c.GetDifference() != nil {
			out.named = append(out.named, c.GetDifference().GetRun())
		}
	}
	for _, d := range report.GetDifferences() {
		out.named = append(out.named, d.GetRun())
	}
	return out, true
}

// originalRuns verifies the demo, watched for as long as its slowest mutant.
func originalRuns(t *testing.T) (*pb.Site, *matrix.Matrix, []Record, watch) {
	demo := openDemo(t)
	v := newVerifier(t, demo.Plan(), demo.Matrix)
	v.watch.horizon += mutantDelay
	v.watch.reset += mutantDelay
	report, records := verified(t, v)
	if !report.GetPassed() {
		t.Fatal("the demo itself does not pass")
	}
	return demo.Site, demo.Matrix, records, v.watch
}

// TestMutants: where anything outside the program differs from the original in any run, the
// verification fails and names a run in which it does. Mutants that differ nowhere are few, and
// listed with the reason.
func TestMutants(t *testing.T) {
	site, m, original, hold := originalRuns(t)
	r := rand.New(rand.NewPCG(mutantSeed, 0))
	seen := map[string]bool{}
	differing, identical := 0, 0
	for _, mutation := range mutations {
		for n, attempts := 0, 0; n < mutantsOfKind; attempts++ {
			if attempts > mutantAttempts {
				t.Fatalf("%s: only %d mutants found", mutation.kind, n)
			}
			mutant := proto.CloneOf(site)
			text := mutation.do(r, mutant)
			if text == "" || seen[text] {
				continue
			}
			seen[text] = true
			trial, ok := try(t, mutant, m, original, hold)
			if !ok {
				continue // no program: refused before anything runs
			}
			n++
			switch {
			case len(trial.differing) == 0:
				identical++
				t.Logf("%s: %s: %s", mutation.kind, text, trial.reason())
				if !trial.passed {
					t.Errorf("%s: %s: fails, and no run differs from the original's", mutation.kind, text)
				}
			case !trial.caught():
				t.Errorf("%s: %s: %d runs differ; passed %v, names %q", mutation.kind, text, len(trial.differing), trial.passed, trial.named)
			default:
				differing++
			}
		}
	}
	t.Logf("%d mutants differ and are caught, %d do the same", differing, identical)
	if identical > maxIdentical {
		t.Errorf("%d mutants do the same as the original: at most %d", identical, maxIdentical)
	}
}
