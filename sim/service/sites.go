package service

import (
	"context"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/script"
)

// siteServer is SiteService.
type siteServer struct {
	pb.UnimplementedSiteServiceServer
	*core
}

// CheckSite reports what is found in files: what `loopdrill check` says of them.
func (s *siteServer) CheckSite(ctx context.Context, req *pb.CheckSiteRequest) (*pb.CheckSiteResponse, error) {
	built, findings, err := s.build(ctx, req.GetFiles())
	if err != nil {
		return nil, err
	}
	leave, err := s.enter(ctx)
	if err != nil {
		return nil, err
	}
	defer leave()
	_, findings = script.CompileAll(built, findings)
	calculations, judged := built.Check()
	findings = append(findings, judged...)
	finding.Sort(findings)
	answer := &pb.CheckSiteResponse{Findings: findings, Usable: !refuses(findings), Caution: sim.Caution}
	if answer.GetUsable() {
		answer.Calculations = calculations
	}
	return answer, nil
}
