package service

import (
	"github.com/prometheus/client_golang/prometheus"

	"loopdrill.dev/loopdrill/logic/term"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// Metrics is everything this package measures. Label sets are closed: never a drill, a device or
// a site. Where a name says neither wall nor rpc, seconds are simulated ones.
type Metrics struct {
	activation  *prometheus.HistogramVec // stage, state
	target      *prometheus.GaugeVec     // signal
	late        *prometheus.CounterVec   // state
	drills      *prometheus.GaugeVec     // state
	events      *prometheus.CounterVec   // visibility
	lag         prometheus.Histogram
	jobs        *prometheus.GaugeVec // state
	watchers    prometheus.Gauge
	watchLags   prometheus.Counter
	rpcStarted  *prometheus.CounterVec   // rpc_service, rpc_method
	rpcHandled  *prometheus.CounterVec   // rpc_service, rpc_method, code
	rpcDuration *prometheus.HistogramVec // rpc_service, rpc_method
	rpcInFlight prometheus.Gauge
}

// Stages of an activation, in their order. t0 ... t5 are those of the glossary.
const (
	stageDecided   = "decided"   // t0 -> t1
	stageDemanded  = "demanded"  // t1 -> t2: the delay on purpose
	stageCommanded = "commanded" // t2 -> t3
	stageOperated  = "operated"  // t3 -> t4
	stageDone      = "done"      // t4 -> t5
	stageResponse  = "response"  // t0 -> t4 less the delay on purpose: what the target bounds
)

var stages = []string{stageDecided, stageDemanded, stageCommanded, stageOperated, stageDone, stageResponse}

// activeStates are the states that an output can be activated into.
var activeStates = []term.State{term.On, term.Alert, term.Evacuate, term.Release}

var drillStates = map[pb.DrillState]string{
	pb.DrillState_DRILL_STATE_PAUSED: "paused", pb.DrillState_DRILL_STATE_RUNNING: "running",
	pb.DrillState_DRILL_STATE_ENDED: "ended", pb.DrillState_DRILL_STATE_CRASHED: "crashed",
}

var jobStates = map[pb.JobState]string{
	pb.JobState_JOB_STATE_PENDING: "pending", pb.JobState_JOB_STATE_RUNNING: "running", pb.JobState_JOB_STATE_DONE: "done",
	pb.JobState_JOB_STATE_FAILED: "failed", pb.JobState_JOB_STATE_CANCELLED: "cancelled",
}

// Signals that have a target.
const (
	signalDetector  = "detector"
	signalCallPoint = "call_point"
)

// NewMetrics registers the metrics, each known series at zero.
func NewMetrics(registry prometheus.Registerer) *Metrics {
	counter := func(name, help string) prometheus.CounterOpts { return prometheus.CounterOpts{Name: name, Help: help} }
	gauge := func(name, help string) prometheus.GaugeOpts { return prometheus.GaugeOpts{Name: name, Help: help} }
	m := &Metrics{
		activation: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "loopdrill_activation_seconds",
			Help:    "Simulated seconds from stage to stage of each activation of an output: decided t0-t1, demanded t1-t2, commanded t2-t3, operated t3-t4, done t4-t5, response t0-t4 less the programmed delay.",
			Buckets: []float64{0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2, 3, 5, 7.5, 10, 15, 30, 60, 120, 300, 600},
		}, []string{"stage", "state"}),
		target: prometheus.NewGaugeVec(gauge("loopdrill_activation_target_seconds",
			"Strictest target for the response, in simulated seconds, of the drills kept; 10 where none is."), []string{"signal"}),
		late: prometheus.NewCounterVec(counter("loopdrill_late_activations_total",
			"Activations whose response was longer than the target of their site."), []string{"state"}),
		drills: prometheus.NewGaugeVec(gauge("loopdrill_drills", "Drills kept, by state."), []string{"state"}),
		events: prometheus.NewCounterVec(counter("loopdrill_events_total", "Events of all drills, by who can see them."), []string{"visibility"}),
		lag: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:    "loopdrill_clock_lag_seconds",
			Help:    "Wall-clock seconds by which a paced drill executed an instant later than it should have.",
			Buckets: []float64{0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10},
		}),
		jobs:      prometheus.NewGaugeVec(gauge("loopdrill_jobs", "Jobs kept, by state."), []string{"state"}),
		watchers:  prometheus.NewGauge(gauge("loopdrill_watchers", "Watches of drills and jobs open now.")),
		watchLags: prometheus.NewCounter(counter("loopdrill_watch_lags_total", "Times a watcher was too slow and was skipped to the present.")),
		rpcStarted: prometheus.NewCounterVec(counter("loopdrill_rpc_started_total", "Calls begun."),
			[]string{"rpc_service", "rpc_method"}),
		rpcHandled: prometheus.NewCounterVec(counter("loopdrill_rpc_handled_total", "Calls ended, by status code."),
			[]string{"rpc_service", "rpc_method", "code"}),
		rpcDuration: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name:    "loopdrill_rpc_duration_seconds",
			Help:    "Wall-clock seconds from the beginning to the end of a call; a watch lasts as long as it is open.",
			Buckets: []float64{0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 60, 300},
		}, []string{"rpc_service", "rpc_method"}),
		rpcInFlight: prometheus.NewGauge(gauge("loopdrill_rpc_in_flight", "Calls at work now.")),
	}
	registry.MustRegister(m.activation, m.target, m.late, m.drills, m.events, m.lag, m.jobs, m.watchers, m.watchLags,
		m.rpcStarted, m.rpcHandled, m.rpcDuration, m.rpcInFlight)
	m.zero()
	return m
}

// zero creates every series whose labels are known now.
func (m *Metrics) zero() {
	for _, state := range activeStates {
		for _, stage := range stages {
			m.activation.WithLabelValues(stage, state.String())
		}
		m.late.WithLabelValues(state.String())
	}
	for _, word := range drillStates {
		m.drills.WithLabelValues(word)
	}
	for _, word := range jobStates {
		m.jobs.WithLabelValues(word)
	}
	for _, v := range []drill.Visibility{drill.OnPanel, drill.AtPlant, drill.Hidden} {
		m.events.WithLabelValues(v.String())
	}
	m.target.WithLabelValues(signalDetector)
	m.target.WithLabelValues(signalCallPoint)
}
