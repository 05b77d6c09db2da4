package verify

import (
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/logic/matrix"
	"loopdrill.dev/loopdrill/sim/drill"
)

// requiredText writes a required course.
func requiredText(ts []matrix.Transition, c *matrix.Course) string {
	if len(ts) == 0 {
		return "at rest throughout"
	}
	var words []string
	for i := range ts {
		word := ts[i].State.String() + " at " + drill.Seconds(ts[i].At)
		if within, target := ts[i].Within(c); within > 0 && !target {
			word += " within " + drill.Seconds(within)
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}

// observedText writes what an output did.
func observedText(did []operation) string {
	if len(did) == 0 {
		return "at rest throughout"
	}
	var words []string
	for i := range did {
		word := fmt.Sprintf("%s at %s", did[i].state, drill.Seconds(did[i].t4))
		if !did[i].spontaneous && did[i].t4 != did[i].t2 {
			word += fmt.Sprintf(" (demanded at %s)", drill.Seconds(did[i].t2))
		}
		words = append(words, word)
	}
	return strings.Join(words, ", ")
}
