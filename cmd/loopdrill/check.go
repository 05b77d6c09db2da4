package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/page"
	"loopdrill.dev/loopdrill/sim/script"
	"loopdrill.dev/loopdrill/sim/site"
)

// newCheck returns `check SITE`.
func newCheck(io stdio) *cobra.Command {
	var flags reporting
	var effective bool
	cmd := &cobra.Command{
		Use:   "check SITE",
		Short: "Say what is wrong with a site, and calculate wiring and supplies",
		Long: `Reads site.yaml, and the matrix and the scenarios beside it, and reports every
problem of every file at once, each with its place and what would be right.

Then judges the installation as a design: loops, output circuits, supplies and
contacts against the limits of the rule packs and of common practice, each with
the clause it rests on, and prints the calculations. A limit that a data sheet or
an agreement replaces is written under rules.limits, by its name, and listed.

Last it judges the program: what can never act or never shows, decided over all
that the panel can know; delays, coincidences and call points; and, with places
and plant, lifts sent to the floor that burns, fans against shut dampers, plant
that silence would stop.`,
		Example: "  loopdrill check testdata/alder-quay\n  loopdrill check --effective --output json site.yaml",
		Args:    oneSite,
		RunE: func(cmd *cobra.Command, args []string) error {
			bundle, err := site.Open(args[0])
			if err != nil {
				return err
			}
			built, findings := site.Build(bundle)
			_, findings = script.CompileAll(built, findings)
			calculations, judged := built.Check()
			findings = append(findings, judged...)
			finding.Sort(findings)
			result := checkResult{site: built.Site.GetSite(), findings: findings, calculations: calculations, overridden: rule.Of(built.Site.GetRules()).Overridden()}
			if effective && finding.Worst(findings) != pb.Severity_SEVERITY_REFUSED {
				result.defaults = site.Effective(built.Site)
			}
			if err := result.write(io, flags.output); err != nil {
				return err
			}
			return flags.verdict(findings)
		},
	}
	flags.addTo(cmd)
	cmd.Flags().BoolVar(&effective, "effective", false, "list each default in force, with its source")
	return cmd
}

// checkResult is what check prints.
type checkResult struct {
	site         string
	findings     []*pb.Finding
	calculations *pb.Calculations // nil where the installation is refused
	overridden   []rule.Limit     // limits that the file puts in place of a pack's
	defaults     []site.Default   // nil where nobody asks for them, or the files are refused
}

// calculated tells whether there are figures to print: not beside a refusal, which must be put right
// first.
func (r *checkResult) calculated() bool {
	return r.calculations != nil && finding.Worst(r.findings) != pb.Severity_SEVERITY_REFUSED
}

func (r *checkResult) write(io stdio, form format) error {
	if form == asJSON {
		return r.writeJSON(io.Out)
	}
	if err := writeFindings(io.Out, io, r.findings); err != nil {
		return err
	}
	if r.calculated() {
		if err := writeCalculations(io.Out, r.calculations); err != nil {
			return err
		}
		if err := writeOverridden(io.Out, r.overridden); err != nil {
			return err
		}
	}
	if r.defaults != nil {
		if err := writeDefaults(io.Out, r.defaults); err != nil {
			return err
		}
	}
	if _, err := fmt.Fprintf(io.Out, "%s\n%s\n", caution(), countFindings(r.findings)); err != nil {
		return fmt.Errorf("writing the result: %w", err)
	}
	return nil
}

// defaultJSON is one default in force. The value is text, with its unit, as a file would say it.
type defaultJSON struct {
	Key    string `json:"key"`
	Value  string `json:"value"`
	Source string `json:"source"`
	Where  string `json:"where"`
}

func (r *checkResult) writeJSON(w io.Writer) error {
	out := struct {
		Site         string          `json:"site"`
		Caution      string          `json:"caution"`
		Findings     []findingJSON   `json:"findings"`
		Counts       countsJSON      `json:"counts"`
		Calculations json.RawMessage `json:"calculations,omitempty"`
		Overridden   []limitJSON     `json:"limits_overridden,omitempty"`
		Defaults     []defaultJSON   `json:"defaults,omitempty"`
	}{Site: r.site, Caution: sim.Caution, Findings: findingsJSON(r.findings), Counts: countFindings(r.findings)}
	if r.calculated() {
		var text bytes.Buffer
		if err := writeMessage(&text, r.calculations); err != nil {
			return err
		}
		out.Calculations = text.Bytes()
		out.Overridden = overriddenJSON(r.overridden)
	}
	for _, d := range r.defaults {
		out.Defaults = append(out.Defaults, defaultJSON{d.Key, d.Value, d.Source, d.Where})
	}
	return writeJSON(w, out)
}

// writeDefaults prints one block per default: key and value, then source and where it applies.
func writeDefaults(w io.Writer, defaults []site.Default) error {
	var out page.Page
	out.Line("defaults in force:")
	for _, d := range defaults {
		out.Hang(fmt.Sprintf("  %-36s ", d.Key), d.Value)
		out.Hang(fmt.Sprintf("  %-36s ", ""), d.Where+"; "+d.Source)
	}
	if _, err := io.WriteString(w, out.String()); err != nil {
		return fmt.Errorf("writing the defaults: %w", err)
	}
	return nil
}
