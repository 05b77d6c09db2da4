package main

import (
	"context"
	"errors"
	"fmt"

	client "loopdrill.dev/loopdrill/clients/go"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// playAt lets a server play the scenarios. They were read and checked here, so that what is wrong
// with the files is said in the same way wherever they are played.
func (s *scenarios) playAt(ctx context.Context, io stdio, address string) (*pb.PlayReport, error) {
	server, err := client.Dial(address)
	if err != nil {
		return nil, err
	}
	defer func() { _ = server.Close() }() // all answers are here by then
	bar := newProgress(io, "scenarios", len(s.scripts))
	defer bar.end()
	job, err := server.RunJob(ctx, s.files(), &pb.Work{Kind: &pb.Work_Play{Play: &pb.PlayWork{Coverage: s.coverage}}}, func(done, total uint64) {
		bar.show(int(done), int(total)) //nolint:gosec // counts of scenarios
	})
	switch {
	case ctx.Err() != nil && job.GetPlayReport() != nil:
		report := job.GetPlayReport()
		report.Interrupted = true
		return report, nil
	case client.Unanswered(err):
		return nil, fmt.Errorf("nothing answers at %s: is `loopdrill serve` running there?", address)
	case err != nil:
		return nil, fmt.Errorf("playing at %s: %s", address, client.Explain(err))
	case job.GetPlayReport() == nil:
		return nil, errors.New("playing at " + address + ": " + job.GetReason())
	}
	report := job.GetPlayReport()
	for i, sc := range report.GetScenarios() {
		if i < len(s.built.Scenarios) {
			sc.Replay = s.replay(i)
		}
	}
	return report, nil
}

// files are the files of the bundle as the server takes them.
func (s *scenarios) files() *pb.SiteFiles {
	files := &pb.SiteFiles{Site: sourceFile(s.bundle.Site)}
	for _, f := range s.bundle.Scenarios {
		files.Scenarios = append(files.Scenarios, sourceFile(f))
	}
	return files
}

func sourceFile(f site.File) *pb.SourceFile { return &pb.SourceFile{Path: f.Path, Content: f.Data} }
