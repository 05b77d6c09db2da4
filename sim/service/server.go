package service

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Options are what a server is made with.
type Options struct {
	Limits   Limits                // DefaultLimits, or others; every field positive
	Log      *zap.Logger           // named by the caller
	Registry prometheus.Registerer // of the metrics

	prepare prepare // tests put their own work in place
}

// Server serves drills, jobs and checks, with health and reflection.
type Server struct {
	grpc   *grpc.Server
	health *health.Server
	drills *drillServer
	jobs   *jobServer
	log    *zap.Logger
}

// New returns a server that does not serve yet.
func New(o Options) (*Server, error) {
	gate, err := newGate(o.Log.Named("rpc"))
	if err != nil {
		return nil, err
	}
	if o.prepare == nil {
		o.prepare = prepareWork
	}
	metrics := NewMetrics(o.Registry)
	c := newCore(o.Limits, o.Log, metrics)
	calls := &rpcStats{metrics: metrics}
	s := &Server{
		health: health.NewServer(), drills: newDrillServer(c), jobs: newJobServer(c, o.prepare), log: o.Log,
		grpc: grpc.NewServer(
			grpc.MaxRecvMsgSize(o.Limits.RequestBytes), grpc.MaxSendMsgSize(o.Limits.ResultBytes), grpc.MaxConcurrentStreams(1000),
			grpc.UnaryInterceptor(gate.unary), grpc.StreamInterceptor(gate.stream), grpc.StatsHandler(calls),
			grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 10 * time.Second, PermitWithoutStream: true}),
			grpc.KeepaliveParams(keepalive.ServerParameters{Time: time.Minute}), // a watcher that vanished is noticed
		),
	}
	pb.RegisterDrillServiceServer(s.grpc, s.drills)
	pb.RegisterJobServiceServer(s.grpc, s.jobs)
	pb.RegisterSiteServiceServer(s.grpc, &siteServer{core: c})
	for name := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(name, healthpb.HealthCheckResponse_SERVING)
	}
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
	calls.know(s.grpc.GetServiceInfo())
	return s, nil
}

// Serve serves until Stop, which makes it return nil, or until the listener fails.
func (s *Server) Serve(listener net.Listener) error {
	s.log.Info("serving", zap.Stringer("address", listener.Addr()))
	if err := s.grpc.Serve(listener); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serving: %w", err)
	}
	return nil
}

// Stop ends the server: health says so, no drill or job is taken any more, watches end with
// UNAVAILABLE, calls under way are answered. What is not done when ctx ends is cut off.
func (s *Server) Stop(ctx context.Context) {
	s.log.Info("stopping")
	s.health.Shutdown()
	s.drills.stop()
	s.jobs.stop(ctx)
	graceful := make(chan struct{})
	go func() {
		defer close(graceful)
		s.grpc.GracefulStop()
	}()
	select {
	case <-graceful:
	case <-ctx.Done():
		s.log.Warn("calls were cut off")
		s.grpc.Stop()
		<-graceful
	}
	s.log.Info("stopped")
}
