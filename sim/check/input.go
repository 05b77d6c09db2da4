package check

import (
	"fmt"
	"strings"
	"time"

	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	"loopdrill.dev/loopdrill/proto/rule"
)

// inputs: water that flows is a fire; a valve that is shut is supervisory, and must not look like a broken wire.
func (j *judge) inputs() {
	for p := range j.Installation.Points {
		pt := &j.Installation.Points[p]
		m := j.Message.GetLoops()[pt.Loop].GetDevices()[pt.Entry].GetInputModule()
		want := map[string]string{"valve-position": "supervisory", "water-flow": "waterflow"}[m.GetSenses()]
		if want == "" {
			continue
		}
		if m.GetInput() != want {
			j.add(finding.Error("input.wrong-signal", pt.Path+".input_module.input", fmt.Sprintf("%q senses %s and reports as %s", pt.Label, m.GetSenses(), m.GetInput()),
				"write `input: "+want+"`: flow is a fire, and a shut valve neither a fire nor a fault"), j.rules.Clause(rule.WaterSignals))
		}
		if m.GetSenses() == "valve-position" && m.EndOfLineOhm == nil {
			j.add(finding.Warn("input.valve-like-fault", pt.Path+".input_module", fmt.Sprintf("a broken wire of %q cannot be told from its valve", pt.Label),
				"give it an end-of-line resistor, so that a broken wire is a fault and a shut valve supervisory"), j.rules.Clause(rule.WaterSignals))
		}
	}
}

// investigations: at night nobody may be there to go and look.
func (j *judge) investigations() {
	reader := term.NewReader(j.World)
	s := j.analysis.Space
	night := s.And(s.Fact(term.Fact{Kind: term.PanelMode, Value: term.Night}), j.analysis.Domain)
	for i, d := range j.Message.GetProgram().GetDetection() {
		if d.GetInvestigate() == nil {
			continue
		}
		given := bdd.True
		if text := d.GetInvestigate().GetGiven(); text != "" {
			t, problems := reader.Parse(text, term.Cause)
			if len(problems) > 0 {
				continue
			}
			given = s.Term(t)
		}
		facts, ok := s.Witness(s.And(given, night))
		if !ok || s.Err() != nil {
			continue
		}
		j.add(finding.Warn("program.investigation-at-night", fmt.Sprintf("program.detection[%d].investigate", i), fmt.Sprintf("zone %q waits for somebody to look at night too", d.GetZone()),
			fmt.Sprintf("with %s its alarm is held back: write `given: \"panel.mode == 'day'\"`, unless the building is staffed round the clock", j.analysis.Words(facts))), commonPractice+": delays by day only")
	}
}

// calendar: in the middle of some night the calendar still says day.
func (j *judge) calendar() {
	if !j.Program.HasCalendar() {
		return
	}
	const middle = 3 * time.Hour // nobody's day; common practice
	days := [...]string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}
	var wrong []string
	for i, day := range days {
		s := j.Program.NewStateAt(time.Duration(i)*24*time.Hour + middle)
		if j.Program.Fact(s, term.Fact{Kind: term.PanelMode, Value: term.Day}) {
			wrong = append(wrong, day)
		}
	}
	if len(wrong) > 0 && len(wrong) < len(days) || len(wrong) == len(days) && j.bothModes() {
		j.add(finding.Warn("panel.calendar-day-at-night", "panel.calendar", "by the calendar it is day at 3 in the morning: "+strings.Join(wrong, ", "),
			"the mode of the day goes on until a line begins another: add the evening of the day before, weekends included"), commonPractice)
	}
}

// bothModes tells whether the calendar begins both; one alone is the compiler's finding.
func (j *judge) bothModes() bool {
	seen := map[string]bool{}
	for _, c := range j.Message.GetPanel().GetCalendar() {
		seen[c.GetMode()] = true
	}
	return len(seen) == 2
}

// laterAtNight: people who sleep are to be told no later than those who are awake. Sounders that stay silent at night are
// believed: somebody else may be told.
func (j *judge) laterAtNight() {
	var late []int32
	detail := ""
	for i := 1; i < len(j.walks); i++ {
		day, night := &j.walks[i-1], &j.walks[i]
		if day.point != night.point || day.mode != term.Day || night.mode != term.Night {
			continue
		}
		for o := range j.Installation.Outputs {
			if !j.Installation.Outputs[o].Sounder {
				continue
			}
			a, soon := day.evacuates(int32(o))
			if b, ever := night.evacuates(int32(o)); soon && ever && b > a {
				late = append(late, night.point)
				if detail == "" {
					detail = fmt.Sprintf("%q evacuates after %v by day and after %v at night: the modes are probably exchanged", j.Installation.Outputs[o].Label, a, b)
				}
				break
			}
		}
	}
	if len(late) > 0 {
		j.add(finding.Warn("program.later-at-night", j.path(late[0]), "sounders follow later at night than by day: "+j.labels(late), detail), commonPractice+": delays by day only")
	}
}

// evacuates is when an output is first told to evacuate.
func (w *walk) evacuates(output int32) (at time.Duration, ever bool) {
	for _, d := range w.demands {
		if d.output == output && d.state == term.Evacuate {
			return d.at, true
		}
	}
	return 0, false
}
