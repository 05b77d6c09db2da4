package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/spf13/cobra"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"loopdrill.dev/loopdrill/sim"
	"loopdrill.dev/loopdrill/sim/service"
)

// serving are the flags of serve.
type serving struct {
	listen        string
	metricsListen string
	grace         time.Duration
	level         zapcore.Level
}

// newServe returns `serve`.
func newServe(io stdio) *cobra.Command {
	var flags serving
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Serve live drills and long work over gRPC",
		Long: `Serves drills that clients step, run, act upon, watch, snapshot and fork, and
verification and scenarios as work with progress; with health and reflection on the
same port, and Prometheus metrics at /metrics of the other one. Everything is kept in
memory and ends with the server. There is neither TLS nor any check of who calls:
listen beyond this machine only where the network is yours.

The addresses go to standard output, the log as JSON lines to standard error. An interrupt or
a termination signal stops the server gracefully.`,
		Example: "  loopdrill serve\n  loopdrill serve --listen 127.0.0.1:0 --metrics-listen ''",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return serve(cmd.Context(), io, flags)
		},
	}
	cmd.Flags().StringVar(&flags.listen, "listen", "127.0.0.1:7070", "address for gRPC; port 0 takes a free one")
	cmd.Flags().StringVar(&flags.metricsListen, "metrics-listen", "127.0.0.1:9464", "address for /metrics; empty: none")
	cmd.Flags().DurationVar(&flags.grace, "grace", 10*time.Second, "how long a stop waits for calls under way")
	cmd.Flags().TextVar(&flags.level, "log-level", zapcore.InfoLevel, "least level of the log: debug, info, warn, error")
	return cmd
}

// serve serves until ctx ends or a listener fails. A stop that was asked for is no error.
func serve(ctx context.Context, io stdio, flags serving) error {
	log := newLog(io.Err, flags.level)
	defer log.Sync() //nolint:errcheck // a terminal or a pipe cannot be synced, and need not be
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	server, err := service.New(service.Options{Limits: service.DefaultLimits(), Log: log.Named("service"), Registry: registry})
	if err != nil {
		return err
	}
	listener, err := listen(ctx, flags.listen)
	if err != nil {
		return err
	}
	ended := make(chan error, 2) // of both servers
	metrics, err := serveMetrics(ctx, flags.metricsListen, registry, ended)
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	if err := announce(io, listener.Addr(), metrics.address()); err != nil {
		return errors.Join(err, listener.Close(), metrics.close())
	}
	if !loopback(listener.Addr()) {
		log.Warn("listening beyond this machine without TLS", zap.Stringer("address", listener.Addr()))
	}
	go func() { ended <- server.Serve(listener) }()
	select {
	case <-ctx.Done():
	case err = <-ended:
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), flags.grace)
	defer cancel()
	server.Stop(stop)
	return errors.Join(err, metrics.close())
}

// announce prints where the server listens, in lines of a word and an address, and writes what it
// is not to the log: whatever the log's level, and in a line that readers of JSON can read.
func announce(io stdio, address net.Addr, metrics string) error {
	newLog(io.Err, zapcore.InfoLevel).Info("caution", zap.String("text", sim.Caution))
	text := fmt.Sprintf("grpc %s\n", address)
	if metrics != "" {
		text += fmt.Sprintf("metrics http://%s/metrics\n", metrics)
	}
	if _, err := fmt.Fprint(io.Out, text); err != nil {
		return fmt.Errorf("writing the addresses: %w", err)
	}
	return nil
}

func listen(ctx context.Context, address string) (net.Listener, error) {
	listener, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listening: %w", err)
	}
	return listener, nil
}

func loopback(address net.Addr) bool {
	tcp, ok := address.(*net.TCPAddr)
	return ok && tcp.IP.IsLoopback()
}

// metricsServer is the HTTP server of /metrics; without an address it is none.
type metricsServer struct {
	http     *http.Server
	listener net.Listener
}

// serveMetrics starts the metrics' server. An error that ends it goes to ended.
func serveMetrics(ctx context.Context, address string, registry *prometheus.Registry, ended chan<- error) (*metricsServer, error) {
	if address == "" {
		return &metricsServer{}, nil
	}
	listener, err := listen(ctx, address)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
	s := &metricsServer{http: &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}, listener: listener}
	go func() {
		if err := s.http.Serve(listener); !errors.Is(err, http.ErrServerClosed) {
			ended <- fmt.Errorf("serving metrics: %w", err)
		}
	}()
	return s, nil
}

// address is where it listens, empty if it does not.
func (s *metricsServer) address() string {
	if s.listener == nil {
		return ""
	}
	return s.listener.Addr().String()
}

func (s *metricsServer) close() error {
	if s.http == nil {
		return nil
	}
	return s.http.Close()
}

// newLog is the log of a server: JSON lines with every entry, none left out by sampling.
func newLog(w io.Writer, level zapcore.Level) *zap.Logger {
	form := zap.NewProductionEncoderConfig()
	form.TimeKey, form.EncodeTime = "time", zapcore.RFC3339NanoTimeEncoder
	form.EncodeDuration = zapcore.SecondsDurationEncoder
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(form), zapcore.Lock(zapcore.AddSync(w)), level))
}
