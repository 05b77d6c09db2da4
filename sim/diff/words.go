package diff

import (
	"fmt"
	"slices"
	"strings"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// lineText writes a line for people: state, times, causes.
func (d *decider) lineText(s int, l *line) string {
	program := d.p.built[s].Site.GetProgram()
	text := l.state.String()
	if l.after > 0 {
		text += fmt.Sprintf(" after %v", l.after)
	}
	if l.pulse > 0 {
		text += fmt.Sprintf(" for %v", l.pulse)
	}
	if l.hold > 0 {
		text += fmt.Sprintf(" hold %v", l.hold)
	}
	if l.latched {
		text += " until reset"
	}
	if l.silenceable {
		text += ", silenceable"
	}
	if l.set >= 0 {
		text += ", one of " + d.setName(l.set)
	}
	if l.lever != noLever {
		id := strings.TrimSuffix(strings.TrimPrefix(l.from[0].path, "program.overrides["), "]")
		for i, o := range program.GetOverrides() {
			if fmt.Sprint(i) == id {
				id = o.GetOverride()
			}
		}
		positions := [2]string{"on", "off"}
		if l.lever == opposes {
			positions = [2]string{"off", "on"}
		}
		return text + " while override " + id + " is " + positions[0] + ", at rest while it is " + positions[1]
	}
	if l.evacs {
		return text + " by the evacuate control"
	}
	var causes, beside []string
	for _, o := range l.from {
		causes = append(causes, program.GetCauses()[o.cause].GetCause())
		if o.action < 0 {
			beside = append(beside, phasedText(program.GetPhasings(), o.path)...)
			continue
		}
		for _, g := range guardsOf(program.GetActions()[o.action]) {
			if g.text != "" {
				beside = append(beside, g.name+" "+g.text)
			}
		}
	}
	slices.Sort(causes)
	slices.Sort(beside)
	text += " on " + strings.Join(slices.Compact(causes), ", ")
	if len(beside) > 0 {
		text += ", " + strings.Join(slices.Compact(beside), ", ")
	}
	return text
}

// phasedText says what holds and what hurries a phasing.
func phasedText(phasings []*pb.Phasing, path string) []string {
	for i, ph := range phasings {
		if !strings.HasPrefix(path, fmt.Sprintf("program.phasings[%d].", i)) {
			continue
		}
		var words []string
		if ph.GetHold() != "" {
			words = append(words, "held by "+ph.GetHold())
		}
		if ph.GetHurry() != "" {
			words = append(words, "hurried by "+ph.GetHurry())
		}
		return words
	}
	return nil
}

// conditions writes the conditions of a line's causes as the file has them.
func (d *decider) conditions(s int, l *line) string {
	var text strings.Builder
	var seen []int
	for _, o := range l.from {
		if o.cause >= 0 && !slices.Contains(seen, o.cause) {
			seen = append(seen, o.cause)
			text.WriteString(": " + d.p.built[s].Site.GetProgram().GetCauses()[o.cause].GetWhen())
		}
	}
	return text.String()
}

func (d *decider) setName(set int32) string {
	for s := range d.p.setNames {
		if i, ok := d.p.sets.side(s, set); ok {
			return d.p.setNames[s][i]
		}
	}
	return fmt.Sprint(set)
}
