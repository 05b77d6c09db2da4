package service

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/stats"
	"google.golang.org/grpc/status"
)

// other stands for calls of methods that the server does not have: a client chooses their names,
// and label sets are closed.
const other = "other"

// rpcStats measures calls. Interceptors would miss requests that are refused before any handler,
// such as those that are too large.
type rpcStats struct {
	metrics *Metrics
	known   map[string]method // by full name
}

type method struct{ service, name string }

type methodContext struct{}

// know lists the server's methods and creates their series. Call it before the server serves.
func (s *rpcStats) know(services map[string]grpc.ServiceInfo) {
	s.known = map[string]method{}
	s.zero(method{other, other})
	for service, info := range services {
		for _, m := range info.Methods {
			s.known["/"+service+"/"+m.Name] = method{service, m.Name}
			s.zero(method{service, m.Name})
		}
	}
}

func (s *rpcStats) zero(m method) {
	s.metrics.rpcStarted.WithLabelValues(m.service, m.name)
	s.metrics.rpcDuration.WithLabelValues(m.service, m.name)
	for code := codes.OK; code <= codes.Unauthenticated; code++ {
		s.metrics.rpcHandled.WithLabelValues(m.service, m.name, code.String())
	}
}

// TagRPC notes which method is called.
func (s *rpcStats) TagRPC(ctx context.Context, info *stats.RPCTagInfo) context.Context {
	m, ok := s.known["/"+strings.TrimPrefix(info.FullMethodName, "/")]
	if !ok {
		m = method{other, other}
	}
	return context.WithValue(ctx, methodContext{}, m)
}

// HandleRPC counts beginnings and ends.
func (s *rpcStats) HandleRPC(ctx context.Context, event stats.RPCStats) {
	m, _ := ctx.Value(methodContext{}).(method)
	switch e := event.(type) {
	case *stats.Begin:
		s.metrics.rpcStarted.WithLabelValues(m.service, m.name).Inc()
		s.metrics.rpcInFlight.Inc()
	case *stats.End:
		s.metrics.rpcInFlight.Dec()
		s.metrics.rpcHandled.WithLabelValues(m.service, m.name, codeLabel(e.Error)).Inc()
		s.metrics.rpcDuration.WithLabelValues(m.service, m.name).Observe(duration(e).Seconds())
	}
}

// duration is how long a call took by the wall clock.
func duration(e *stats.End) time.Duration { return e.EndTime.Sub(e.BeginTime) }

// codeLabel is the label of a call's end. A code that gRPC does not define is Unknown.
func codeLabel(err error) string {
	code := status.Code(err)
	if code > codes.Unauthenticated {
		code = codes.Unknown
	}
	return code.String()
}

// TagConn and HandleConn have nothing to do: connections are not measured.
func (s *rpcStats) TagConn(ctx context.Context, _ *stats.ConnTagInfo) context.Context { return ctx }

// HandleConn has nothing to do.
func (s *rpcStats) HandleConn(context.Context, stats.ConnStats) {}
