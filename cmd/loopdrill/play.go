package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/script"
	"loopdrill.dev/loopdrill/sim/site"
)

// newPlay returns `play SITE [SCENARIO...]`.
func newPlay(io stdio) *cobra.Command {
	var flags reporting
	var junit, server string
	var coverage bool
	cmd := &cobra.Command{
		Use:   "play SITE [SCENARIO...]",
		Short: "Play scenarios and judge what they expect",
		Long: `Plays each scenario on a panel of its own and judges its expectations at the exact
instants at which they change. SCENARIO is a file, or the name of one in the folder
scenarios/ beside the site, with or without .scenario.yaml; all of that folder if
none is named. The digest is that of everything that happened: the same site, scenario
and seed give the same one on any machine.`,
		Example: "  loopdrill play testdata/alder-quay\n  loopdrill play site.yaml 13-reset-while-smoke-remains --junit play.xml",
		Args: func(cmd *cobra.Command, args []string) error {
			return oneSite(cmd, args[:min(len(args), 1)])
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			loaded, err := loadScenarios(io, args[0], args[1:])
			if err != nil {
				return flags.refused(io, loaded.findings, err)
			}
			loaded.coverage = coverage
			report, err := loaded.playWhere(cmd.Context(), io, server)
			if err != nil {
				return err
			}
			if err := writePlay(io, flags.output, report); err != nil {
				return err
			}
			if junit != "" {
				if err := writeJUnit(junit, playJUnit(report)); err != nil {
					return err
				}
			}
			return flags.outcome(report, loaded.findings)
		},
	}
	flags.addTo(cmd)
	cmd.Flags().StringVar(&junit, "junit", "", "also write the outcomes to this file as JUnit XML")
	cmd.Flags().BoolVar(&coverage, "coverage", false, "also list what the scenarios exercise of the site, and what none of them does")
	cmd.Flags().StringVar(&server, "server", "", "let the server at `host:port` play them (loopdrill serve)")
	return cmd
}

// scenarios are what a play command has loaded and compiled.
type scenarios struct {
	path     string // SITE as the user gave it
	bundle   site.Bundle
	built    *site.Built
	scripts  []*script.Script // by scenario
	findings []*pb.Finding
	coverage bool // it is asked for
}

// loadScenarios reads a site and the named scenarios, all of them if none is named, and prints
// what is found in any of the files. The result is never nil: with an error it holds what was found, and may not be played.
func loadScenarios(io stdio, path string, names []string) (*scenarios, error) {
	s := &scenarios{path: path}
	bundle, err := site.Open(path)
	if err != nil {
		return s, err
	}
	bundle.Matrix = nil // it is verified, not played
	if bundle.Scenarios, err = chooseScenarios(bundle.Scenarios, names); err != nil {
		return s, err
	}
	if len(bundle.Scenarios) == 0 {
		return s, fmt.Errorf("there is no scenario to play: put *.scenario.yaml into the folder scenarios beside %s, or name a file", bundle.Site.Path)
	}
	s.bundle = bundle
	s.built, s.findings = site.Build(bundle)
	s.scripts, s.findings = script.CompileAll(s.built, s.findings)
	return s, usable(io, s.findings)
}

// chooseScenarios picks scenarios by name out of the site's own, and reads files that are not
// among them. The result is in the order of names.
func chooseScenarios(own []site.File, names []string) ([]site.File, error) {
	if len(names) == 0 {
		return own, nil
	}
	var known []string
	for _, f := range own {
		known = append(known, scenarioName(f.Path))
	}
	var chosen []site.File
	for _, name := range names {
		if i := slices.Index(known, scenarioName(name)); i >= 0 && (name == filepath.Base(name) || filepath.Clean(name) == filepath.Clean(own[i].Path)) {
			chosen = append(chosen, own[i])
			continue
		}
		f, err := site.ReadFile(name, site.DefaultLimits().ScenarioBytes)
		if err != nil {
			if near, ok := finding.Nearest(scenarioName(name), known); ok {
				return nil, fmt.Errorf("there is no scenario %q: did you mean %s?", name, near)
			}
			if len(known) > 0 {
				return nil, fmt.Errorf("there is no scenario %q beside the site (there are %s), nor such a file: %w", name, finding.Sample(known, 8), err)
			}
			return nil, fmt.Errorf("there is no scenario %q beside the site, nor such a file: %w", name, err)
		}
		chosen = append(chosen, f)
	}
	return chosen, nil
}

// scenarioName is the name of a scenario's file without folder and ending.
func scenarioName(path string) string {
	return strings.TrimSuffix(filepath.Base(path), ".scenario.yaml")
}

// playWhere plays everything here, or at a server if one is named.
func (s *scenarios) playWhere(ctx context.Context, io stdio, server string) (*pb.PlayReport, error) {
	if server != "" {
		return s.playAt(ctx, io, server)
	}
	return s.play(ctx, io)
}

// replay is the command that plays one scenario again.
func (s *scenarios) replay(i int) string {
	return fmt.Sprintf("loopdrill play %s %s", shellWord(s.path), shellWord(s.built.Scenarios[i].Index.File()))
}

// play plays everything here, one scenario after another.
func (s *scenarios) play(ctx context.Context, io stdio) (*pb.PlayReport, error) {
	bar := newProgress(io, "scenarios", len(s.scripts))
	defer bar.end()
	play, covered := script.Play, (*script.Coverage)(nil)
	if s.coverage {
		covered = script.NewCoverage(s.built.Plan(), s.built.Site)
		play = covered.Play
	}
	var reports []*pb.ScenarioReport
	for i, sc := range s.scripts {
		report, err := play(ctx, sc)
		if ctx.Err() != nil {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("playing %s: %w", s.built.Scenarios[i].Index.File(), err)
		}
		index := s.built.Scenarios[i].Index
		script.Place(report, index)
		report.Replay = s.replay(i)
		reports = append(reports, report)
		bar.show(i+1, len(s.scripts))
	}
	out := script.Report(s.built.Site.GetSite(), reports, ctx.Err() != nil)
	if covered != nil {
		out.Coverage = covered.Report(s.built.Index)
	}
	return out, nil
}

// shellWord quotes a word for a POSIX shell, where it needs to be.
func shellWord(word string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./:+,@%", r)
	}
	if word != "" && strings.IndexFunc(word, func(r rune) bool { return !plain(r) }) < 0 {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}

func writePlay(io stdio, form format, report *pb.PlayReport) error {
	if form == asJSON {
		return writeMessage(io.Out, report)
	}
	return script.WriteText(io.Out, report)
}
