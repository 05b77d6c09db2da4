package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/verify"
)

// newVerify returns `verify SITE`, the main job.
func newVerify(io stdio) *cobra.Command {
	var flags reporting
	var matrixPath, junit string
	cmd := &cobra.Command{
		Use:   "verify SITE",
		Short: "Prove the required matrix, every cell, against simulated runs",
		Long: `Simulates every smallest way in which each row of the required matrix can come true,
each at its worst moment, and compares what every output does with what the true rows
demand of it; then silences and resets. Response times are worst cases over the
polling of a healthy installation.`,
		Example: "  loopdrill verify testdata/alder-quay\n  loopdrill verify site.yaml --matrix matrix.csv --junit verify.xml",
		Args:    oneSite,
		RunE: func(cmd *cobra.Command, args []string) error {
			built, findings, err := loadWith(io, args[0], matrixPath)
			if err != nil {
				return flags.refused(io, findings, err)
			}
			report, err := verifyBuilt(cmd.Context(), io, built, flags.failing(findings))
			if err != nil {
				return err
			}
			if err := writeVerify(io, flags.output, report); err != nil {
				return err
			}
			if junit != "" {
				if err := writeJUnit(junit, verifyJUnit(report)); err != nil {
					return err
				}
			}
			return flags.outcome(report, findings)
		},
	}
	flags.addTo(cmd)
	cmd.Flags().StringVar(&matrixPath, "matrix", "", "required matrix, where it is not matrix.csv beside the site")
	cmd.Flags().StringVar(&junit, "junit", "", "also write the verdicts to this file as JUnit XML")
	return cmd
}

// loadWith loads a site with another matrix than its own, if one is named.
func loadWith(io stdio, path, matrixPath string) (*site.Built, []*pb.Finding, error) {
	bundle, err := site.Open(path)
	if err != nil {
		return nil, nil, err
	}
	if matrixPath != "" {
		matrix, err := site.ReadFile(matrixPath, site.DefaultLimits().MatrixBytes)
		if err != nil {
			return nil, nil, fmt.Errorf("reading the matrix: %w", err)
		}
		bundle.Matrix = &matrix
	}
	bundle.Scenarios = nil // they are played, not verified
	return build(io, bundle)
}

// failing counts the findings for which a command fails: errors, and warnings where strict.
func (r *reporting) failing(findings []*pb.Finding) int {
	c := countFindings(findings)
	if r.strict {
		return c.Errors + c.Warnings
	}
	return c.Errors
}

var errNoMatrix = errors.New("the site has no required matrix: put matrix.csv beside site.yaml, or name one with --matrix")

// verifyBuilt runs a verification with a progress bar on a terminal. With any failing findings
// the report fails.
func verifyBuilt(ctx context.Context, io stdio, built *site.Built, failing int) (*pb.VerifyReport, error) {
	if built.Matrix == nil {
		return nil, errNoMatrix
	}
	v, err := verify.New(ctx, built.Plan(), built.Matrix)
	if err != nil {
		return nil, fmt.Errorf("preparing the verification: %w", err)
	}
	bar := newProgress(io, "runs", v.Runs())
	defer bar.end()
	return v.Run(ctx, verify.Options{MatrixFile: built.MatrixFile, Errors: failing, Progress: bar.show})
}

func writeVerify(io stdio, form format, report *pb.VerifyReport) error {
	if form == asJSON {
		return writeMessage(io.Out, report)
	}
	return verify.WriteText(io.Out, report)
}

// verifyJUnit turns rows into suites and cells into cases.
func verifyJUnit(r *pb.VerifyReport) junitSuites {
	out := junitSuites{Name: "verify " + r.GetSite()}
	cells := verify.CellsByRow(r)
	for i, row := range r.GetRows() {
		suite := junitSuite{Name: row.GetCause()}
		if row.GetErrored() != "" {
			suite.add(junitCase{Name: "row", Class: row.GetCause(), Error: &junitDetail{Message: "the row could not be judged", Text: row.GetErrored()}})
		}
		for _, c := range cells[i] {
			suite.add(cellCase(c))
		}
		out.Suites = append(out.Suites, suite)
	}
	runs := junitSuite{Name: "runs"}
	for _, d := range r.GetDifferences() {
		runs.add(junitCase{Name: d.GetRun() + ": " + d.GetOutput(), Class: d.GetCause(), Failure: differenceDetail(d)})
	}
	if len(runs.Cases) > 0 {
		out.Suites = append(out.Suites, runs)
	}
	return out
}

func cellCase(c *pb.CellVerdict) junitCase {
	out := junitCase{Name: c.GetColumn(), Class: c.GetCause()}
	switch {
	case c.GetVerdict() == "errored":
		out.Error = &junitDetail{Message: "errored", Text: c.GetRequired()}
	case c.GetDifference() != nil:
		out.Failure = differenceDetail(c.GetDifference())
	case c.GetVerdict() == "covered", c.GetVerdict() == "not-judged":
		out.Skipped = &junitDetail{Message: c.GetVerdict()}
	}
	return out
}

func differenceDetail(d *pb.RunDifference) *junitDetail {
	var chain []string
	for _, link := range d.GetChain() {
		chain = append(chain, fmt.Sprintf("%.6f s %s", link.GetAtS(), link.GetWhat()))
	}
	return &junitDetail{
		Message: fmt.Sprintf("%s: required %s, observed %s", d.GetVerdict(), d.GetRequired(), d.GetObserved()),
		Text:    fmt.Sprintf("way: %s\nbroken at: %s\n%s\n", d.GetRun(), d.GetBrokenLink(), strings.Join(chain, "\n")),
	}
}
