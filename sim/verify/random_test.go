package verify

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/mutant"
)

const randomSites = 500

var randomMutations = []mutant.Mutation{mutant.DropAction, mutant.ChangeState, mutant.ChangeDelay, mutant.AddAction, mutant.ChangeHold}

// A random program over the bench installation, and the matrix that asks for just that: a row
// for each cause, its condition written out once more, a column for each output.
type randomProgram struct {
	r       *rand.Rand
	causes  []string
	effects []randomEffect
	actions []string
	given   []string          // of each cause's row; nil where nothing is set
	cells   map[[2]int]string // cause, effect -> cell
}

type randomEffect struct {
	output               string
	sounder              bool
	silenceable, latches bool
}

var (
	randomSignals = []string{"device('HALL-SD-1').fire", "device('HALL-SD-2').fire", "device('HALL-CP').fire", "device('LOBBY-SD').fire",
		"device('LOFT-SD').fire", "device('LOFT-CP').fire", "device('PUMP-TRIP').active", "device('VALVE-SHUT').supervisory", "device('HALL-SD-1').prealarm"}
	randomOutputs = []string{"HALL-SOUNDER", "LOBBY-SOUNDER", "LOFT-SOUNDER", "FAN-START", "DOOR", "BELL"}
	randomDelays  = []string{"", "5s", "12s", "30s"}
)

func (p *randomProgram) pick(words []string) string { return words[p.r.IntN(len(words))] }

func newRandomProgram(seed uint64) *randomProgram {
	p := &randomProgram{r: rand.New(rand.NewPCG(seed, 0)), cells: map[[2]int]string{}}
	for range 2 + p.r.IntN(3) {
		when := p.pick(randomSignals)
		if p.r.IntN(2) == 0 {
			when += p.pick([]string{" && ", " || "}) + p.pick(randomSignals)
		}
		p.causes = append(p.causes, when)
	}
	for _, output := range randomOutputs {
		p.effects = append(p.effects, randomEffect{output: output, sounder: strings.HasSuffix(output, "SOUNDER"), silenceable: p.r.IntN(2) == 0, latches: p.r.IntN(3) == 0})
	}
	for range 3 + p.r.IntN(8) {
		p.action(p.r.IntN(len(p.causes)), p.r.IntN(len(p.effects)))
	}
	return p
}

// action joins a cause and an effect, if nothing does yet: in one stage or in two.
func (p *randomProgram) action(cause, effect int) {
	e := &p.effects[effect]
	if p.cells[[2]int{cause, effect}] != "" {
		return
	}
	states := []string{"on"}
	if e.sounder {
		states = []string{p.pick([]string{"alert", "evacuate"})}
		if p.r.IntN(3) == 0 {
			states = []string{"alert", "evacuate"}
		}
	}
	if p.r.IntN(8) == 0 {
		states = []string{"off"}
	}
	var stages []string
	for i, state := range states {
		after := p.pick(randomDelays)
		if len(states) == 2 {
			after = []string{"", "30s"}[i]
		}
		action := fmt.Sprintf("    - {causes: [c%d], effects: [e%d], state: %q", cause, effect, state)
		cell := state
		if after != "" {
			action, cell = action+", after: "+after, cell+" after "+after
		}
		if !e.latches && len(states) == 1 && p.r.IntN(4) == 0 { // a program would fall back to the stage before, a cell ends it
			action, cell = action+", for: 7s", cell+" for 7s"
		} else if !e.latches && len(states) == 1 && p.r.IntN(4) == 0 {
			action, cell = action+", hold: 7s", cell+" hold 7s"
		}
		if e.silenceable && state != "off" {
			cell += " silenceable"
		}
		if e.latches {
			cell += " until reset"
		}
		p.actions, stages = append(p.actions, action+"}"), append(stages, cell)
	}
	p.cells[[2]int{cause, effect}] = strings.Join(stages, " then ")
}

func (p *randomProgram) site() string {
	var out strings.Builder
	out.WriteString("program:\n  causes:\n")
	for i, when := range p.causes {
		fmt.Fprintf(&out, "    - {cause: c%d, when: %q}\n", i, when)
	}
	out.WriteString("  effects:\n")
	for i, e := range p.effects {
		fmt.Fprintf(&out, "    - {effect: e%d, outputs: [%s], silenceable: %v", i, e.output, e.silenceable)
		if e.latches {
			out.WriteString(", until: reset")
		}
		out.WriteString("}\n")
	}
	out.WriteString("  actions:\n" + strings.Join(p.actions, "\n") + "\n")
	return out.String()
}

func (p *randomProgram) matrix() string {
	var out strings.Builder
	out.WriteString("cause,when,given," + strings.Join(randomOutputs, ",") + "\n")
	for c, when := range p.causes {
		given := ""
		if p.given != nil {
			given = p.given[c]
		}
		fmt.Fprintf(&out, "c%d,%s,%s", c, when, given)
		for e := range p.effects {
			out.WriteString("," + p.cells[[2]int{c, e}])
		}
		out.WriteString("\n")
	}
	return out.String()
}

// settings are what a random row may set, and what its condition asks for then.
var settings = []struct{ given, when string }{
	{"", ""}, {"mode=night", "panel.mode == 'night'"}, {"", "panel.mode == 'day'"}, {"control=key", "control('key').on"}, {"", "!control('key').on"},
	{"mode=night; control=key", "control('key').on && panel.mode == 'night'"}, {"disabled=HALL-SD-1", "device('HALL-SD-1').disabled"}, {"test=loft", "zone('loft').test"},
}

// setSome lets causes ask for settings, and their rows set them. The rows it returns set besides that an output is
// disabled, and ask for it at rest.
func (p *randomProgram) setSome() (besides string) {
	disabled := p.r.IntN(2 * len(randomOutputs))
	for c := range p.causes {
		s := settings[p.r.IntN(len(settings))]
		p.given = append(p.given, s.given)
		if s.when != "" {
			p.causes[c] = "(" + p.causes[c] + ") && " + s.when
		}
		if disabled < len(randomOutputs) {
			besides += fmt.Sprintf("x%d,%s,%s; disabled=%s%soff until reset%s\n", c, p.causes[c], s.given, randomOutputs[disabled],
				strings.Repeat(",", 1+disabled), strings.Repeat(",", len(randomOutputs)-1-disabled))
		}
	}
	return besides
}

// TestRandomGiven: the same with rows that set something, whether the program asks for it or not: what a setting
// changes in the runs of one row is told from what it leaves in those of all. Programs of which nothing can make some
// row true are left out.
func TestRandomGiven(t *testing.T) {
	bench := readText(t, "testdata/bench.yaml")
	caught, passed := 0, 0
	for seed := range uint64(randomSites) {
		p := newRandomProgram(seed)
		besides := p.setSome()
		site := strings.Replace(p.site(), "program:\n", "program:\n  controls: [{control: key}]\n", 1)
		table := p.matrix() + besides
		built := buildText(t, bench+site, table)
		v := newVerifier(t, built.Plan(), built.Matrix)
		v.watch.horizon, v.watch.held, v.watch.reset = v.watch.horizon+mutant.Delay, v.watch.held+mutant.Delay, v.watch.reset+mutant.Delay
		report, records := verified(t, v)
		if slices.ContainsFunc(report.GetRows(), func(r *pb.RowVerdict) bool { return r.GetErrored() != "" }) {
			continue
		}
		if !report.GetPassed() {
			t.Fatalf("seed %d fails: %v\n%s\n%s\n%s", seed, report.GetVerdicts(), site, table, firstDifference(report))
		}
		passed++
		mutated, changed := proto.CloneOf(built.Site), ""
		for changed == "" {
			changed = randomMutations[p.r.IntN(len(randomMutations))](p.r, mutated)
		}
		trial, ok := try(t, mutated, built.Matrix, records, v.watch)
		switch {
		case !ok:
		case len(trial.differing) > 0 && !trial.caught():
			t.Fatalf("seed %d with the change %s: %d runs differ; passed %v, names %q\n%s\n%s", seed, changed, len(trial.differing), trial.passed, trial.named, site, table)
		case len(trial.differing) > 0:
			caught++
		}
	}
	t.Logf("%d pass, %d mutants differ and are caught", passed, caught)
	if passed < randomSites/4 || caught < randomSites/8 {
		t.Errorf("only %d pass, and only %d mutants differ", passed, caught)
	}
}

// TestRandomSites: a program that does just what the matrix says passes, whatever it is, with no
// response above the computed one; and with one thing changed it fails where anything outside the
// program is different, and names a run where it is.
func TestRandomSites(t *testing.T) {
	bench := readText(t, "testdata/bench.yaml")
	caught := 0
	for seed := range uint64(randomSites) {
		p := newRandomProgram(seed)
		built := buildText(t, bench+p.site(), p.matrix())
		v := newVerifier(t, built.Plan(), built.Matrix)
		v.watch.horizon, v.watch.held, v.watch.reset = v.watch.horizon+mutant.Delay, v.watch.held+mutant.Delay, v.watch.reset+mutant.Delay
		report, records := verified(t, v)
		if !report.GetPassed() {
			t.Fatalf("seed %d fails: %v\n%s\n%s\n%s", seed, report.GetVerdicts(), p.site(), p.matrix(), firstDifference(report))
		}
		for _, r := range records {
			for _, timing := range r.Timings {
				if timing.Observed > timing.Bound {
					t.Fatalf("seed %d: %s: %s took %v, computed %v\n%s", seed, r.Text, v.plan.In.Outputs[timing.Output].Label, timing.Observed, timing.Bound, p.site())
				}
			}
		}
		site, changed := proto.CloneOf(built.Site), ""
		for changed == "" {
			changed = randomMutations[p.r.IntN(len(randomMutations))](p.r, site)
		}
		trial, ok := try(t, site, built.Matrix, records, v.watch)
		switch {
		case !ok:
			continue // such as `on` for a sounder
		case len(trial.differing) == 0 && !trial.passed:
			t.Fatalf("seed %d with the change %s fails and does the same", seed, changed)
		case len(trial.differing) > 0 && !trial.caught():
			t.Fatalf("seed %d with the change %s: %d runs differ; passed %v, names %q\n%s\n%s", seed, changed, len(trial.differing), trial.passed, trial.named, p.site(), p.matrix())
		case len(trial.differing) > 0:
			caught++
		}
	}
	t.Logf("%d of %d mutants differ and are caught", caught, randomSites)
	if caught < randomSites/2 {
		t.Errorf("only %d of %d mutants differ", caught, randomSites)
	}
}

func firstDifference(r *pb.VerifyReport) string {
	for _, c := range r.GetCells() {
		if d := c.GetDifference(); d != nil {
			return fmt.Sprintf("%s x %s: %s, %s stage of %s: required %s, observed %s", c.GetCause(), c.GetColumn(), c.GetVerdict(), d.GetStage(), d.GetRun(), d.GetRequired(), d.GetObserved())
		}
	}
	for _, d := range r.GetDifferences() {
		return fmt.Sprintf("%s %s: %s, %s stage of %s: required %s, observed %s", d.GetCause(), d.GetOutput(), d.GetVerdict(), d.GetStage(), d.GetRun(), d.GetRequired(), d.GetObserved())
	}
	for _, row := range r.GetRows() {
		if row.GetErrored() != "" {
			return row.GetErrored()
		}
	}
	return ""
}
