package main

import (
	"fmt"
	"io"

	"loopdrill.dev/loopdrill/proto/rule"
	"loopdrill.dev/loopdrill/sim/page"
)

// limitJSON is one limit that the file puts in place of a pack's, in the unit at the end of its name.
type limitJSON struct {
	Limit     string  `json:"limit"`
	Value     float64 `json:"value"`
	InPlaceOf float64 `json:"in_place_of"`
	Source    string  `json:"source"`
	Why       string  `json:"why,omitempty"`
}

func overriddenJSON(limits []rule.Limit) []limitJSON {
	var out []limitJSON
	for _, l := range limits {
		out = append(out, limitJSON{l.Name, l.Value, l.BuiltIn, l.BuiltInSource(), l.Why})
	}
	return out
}

// writeOverridden prints the limits that the file puts in place of a pack's, with the reason given: whoever
// reads the findings must know what they were held against.
func writeOverridden(w io.Writer, limits []rule.Limit) error {
	if len(limits) == 0 {
		return nil
	}
	var out page.Page
	out.Line("limits of this site in place of the rule packs':")
	for _, l := range limits {
		why := l.Why
		if why == "" {
			why = "no reason is written"
		}
		out.Wrap("  ", "    ", fmt.Sprintf("%s: %g in place of %g (%s): %s", l.Name, l.Value, l.BuiltIn, l.BuiltInSource(), why))
	}
	if _, err := io.WriteString(w, out.String()); err != nil {
		return fmt.Errorf("writing the limits: %w", err)
	}
	return nil
}
