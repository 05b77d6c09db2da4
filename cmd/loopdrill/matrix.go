package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/verify"
)

// newMatrix returns `matrix SITE`.
func newMatrix(std stdio) *cobra.Command {
	var flags reporting
	cmd := &cobra.Command{
		Use:   "matrix SITE",
		Short: "Write the matrix that the program really makes, as CSV",
		Long: `Runs every smallest way in which each cause of the program can come true, from a
quiescent panel in its first mode with every control off, and writes what each output
does, in the form that verify reads: a row for all device signals that make the same,
a column for each output. Lay it beside what the consultant asked for.`,
		Example: "  loopdrill matrix testdata/alder-quay > made.csv",
		Args:    oneSite,
		RunE: func(cmd *cobra.Command, args []string) error {
			bundle, err := site.Open(args[0])
			if err != nil {
				return err
			}
			// Only the program counts. Written to matrix.csv beside the site, the result has emptied that file.
			bundle.Matrix, bundle.Scenarios = nil, nil
			built, findings, err := build(std, bundle)
			if err != nil {
				return flags.refused(std, findings, err)
			}
			table, err := verify.Made(cmd.Context(), built.Plan(), built.Causes())
			if err != nil {
				return err
			}
			for _, note := range table.Notes {
				if _, err := fmt.Fprintln(std.Err, "loopdrill: "+note); err != nil {
					return fmt.Errorf("writing a note: %w", err)
				}
			}
			if flags.output == asJSON {
				err = writeJSON(std.Out, tableJSON(table))
			} else {
				err = table.WriteCSV(std.Out)
			}
			if err != nil {
				return err
			}
			// A table that other programs read has no place for it.
			if _, err := fmt.Fprintln(std.Err, caution()); err != nil {
				return fmt.Errorf("writing the caution: %w", err)
			}
			return flags.verdict(findings)
		},
	}
	flags.addTo(cmd)
	return cmd
}

// madeJSON is the matrix as JSON output prints it: absent cells demand nothing.
type madeJSON struct {
	Caution string        `json:"caution"`
	Columns []string      `json:"columns"`
	Rows    []madeRowJSON `json:"rows"`
	Notes   []string      `json:"notes"`
}

type madeRowJSON struct {
	Cause string            `json:"cause"`
	When  string            `json:"when"`
	Cells map[string]string `json:"cells"`
}

func tableJSON(t *verify.Table) madeJSON {
	out := madeJSON{Caution: sim.Caution, Columns: t.Columns, Rows: []madeRowJSON{}, Notes: append([]string{}, t.Notes...)}
	for _, r := range t.Rows {
		row := madeRowJSON{Cause: r.Cause, When: r.When, Cells: map[string]string{}}
		for i, cell := range r.Cells {
			if cell != "" {
				row.Cells[t.Columns[i]] = cell
			}
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}
