package service

import (
	"context"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// siteServer is SiteService.
type siteServer struct {
	pb.UnimplementedSiteServiceServer
	*core
}

// CheckSite reports what is found in files.
func (s *siteServer) CheckSite(ctx context.Context, req *pb.CheckSiteRequest) (*pb.CheckSiteResponse, error) {
	_, findings, err := s.build(ctx, req.GetFiles())
	if err != nil {
		return nil, err
	}
	return &pb.CheckSiteResponse{Findings: findings, Usable: !refuses(findings)}, nil
}
