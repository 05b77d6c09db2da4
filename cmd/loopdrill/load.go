package main

import (
	"fmt"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// build joins a bundle for a command that goes on to simulate it. What is found is no result here:
// it is printed to standard error. A refused site gives errRefused, and nothing may be simulated.
// The caller joins flags.verdict(findings) with its own verdict.
func build(io stdio, bundle site.Bundle) (*site.Built, []*pb.Finding, error) {
	built, findings := site.Build(bundle)
	if err := writeFindings(io.Err, io, findings); err != nil {
		return nil, nil, err
	}
	if counts := countFindings(findings); counts.Refused > 0 {
		if _, err := fmt.Fprintln(io.Err, counts); err != nil {
			return nil, nil, fmt.Errorf("writing findings: %w", err)
		}
		return nil, findings, errRefused
	}
	return built, findings, nil
}
