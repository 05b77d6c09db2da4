package main

import (
	"errors"
	"fmt"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/site"
)

// build joins a bundle for a command that goes on to simulate it. What is found is no result here:
// it is printed to standard error. A refused site gives its findings and errRefused, and nothing may be simulated.
// The caller joins flags.verdict(findings) with its own verdict.
func build(io stdio, bundle site.Bundle) (*site.Built, []*pb.Finding, error) {
	built, findings := site.Build(bundle)
	if err := usable(io, findings); err != nil {
		return nil, findings, err
	}
	return built, findings, nil
}

// usable prints what is found to standard error, and returns errRefused if any of it refuses.
func usable(io stdio, findings []*pb.Finding) error {
	if err := writeFindings(io.Err, io, findings); err != nil {
		return err
	}
	if counts := countFindings(findings); counts.Refused > 0 {
		if _, err := fmt.Fprintln(io.Err, counts); err != nil {
			return fmt.Errorf("writing findings: %w", err)
		}
		return errRefused
	}
	return nil
}

// refused returns the error of a command that cannot go on. With JSON asked for and files refused, what is found is
// the result, as `check` prints it, so that a program always has something to read.
func (r *reporting) refused(io stdio, findings []*pb.Finding, err error) error {
	if r.output != asJSON || !errors.Is(err, errRefused) {
		return err
	}
	out := struct {
		Caution  string        `json:"caution"`
		Findings []findingJSON `json:"findings"`
		Counts   countsJSON    `json:"counts"`
	}{sim.Caution, findingsJSON(findings), countFindings(findings)}
	if broken := writeJSON(io.Out, out); broken != nil {
		return broken
	}
	return err
}
