package service

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func (s *snapshot) message(name string) *pb.Snapshot {
	return &pb.Snapshot{Name: name, Instant: instantMessage(s.d.Instant()), Events: uint64(s.d.Log().Len()), CreateTime: timestamppb.New(s.created)}
}

// CreateSnapshot keeps a drill's present state.
func (s *drillServer) CreateSnapshot(ctx context.Context, req *pb.CreateSnapshotRequest) (*pb.CreateSnapshotResponse, error) {
	k, err := s.find("parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	name := snapshotName(req.GetParent(), orNewID(req.GetSnapshotId()))
	var out *pb.Snapshot
	err = k.do(ctx, func() error {
		snapshots := k.owned.snapshots
		if _, taken := snapshots[name]; taken {
			return exists(name)
		}
		if err := k.alive(); err != nil {
			return err
		}
		if len(snapshots) >= s.limits.Snapshots {
			return exhausted("snapshots", int64(s.limits.Snapshots))
		}
		if err := s.charge(k.owned.d); err != nil {
			return err
		}
		snapshots[name] = &snapshot{d: k.owned.d.Fork(), created: time.Now()}
		out = snapshots[name].message(name)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &pb.CreateSnapshotResponse{Snapshot: out}, nil
}

// ListSnapshots lists a drill's snapshots.
func (s *drillServer) ListSnapshots(ctx context.Context, req *pb.ListSnapshotsRequest) (*pb.ListSnapshotsResponse, error) {
	k, err := s.find("parent", req.GetParent())
	if err != nil {
		return nil, err
	}
	out := &pb.ListSnapshotsResponse{}
	err = k.do(ctx, func() error {
		picked, next, err := page(k.snapshotNames(), req.GetPageSize(), req.GetPageToken())
		for _, name := range picked {
			out.Snapshots = append(out.Snapshots, k.owned.snapshots[name].message(name))
		}
		out.NextPageToken = next
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// DeleteSnapshot deletes a snapshot.
func (s *drillServer) DeleteSnapshot(ctx context.Context, req *pb.DeleteSnapshotRequest) (*pb.DeleteSnapshotResponse, error) {
	if err := checkName("name", req.GetName(), "drills", "snapshots"); err != nil {
		return nil, err
	}
	k, err := s.find("name", parentOf(req.GetName()))
	if err != nil {
		return nil, err
	}
	err = k.do(ctx, func() error {
		kept, ok := k.owned.snapshots[req.GetName()]
		if !ok {
			return notFound(req.GetName())
		}
		delete(k.owned.snapshots, req.GetName())
		s.refund(kept.d)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &pb.DeleteSnapshotResponse{}, nil
}
