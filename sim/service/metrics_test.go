package service

import (
	"slices"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// sample is the value of one series: a counter's, a gauge's, or a histogram's count.
func sample(t *testing.T, registry *prometheus.Registry, name string, labels ...string) float64 {
	t.Helper()
	m := series(t, registry, name, labels...)
	switch {
	case m.GetHistogram() != nil:
		return float64(m.GetHistogram().GetSampleCount())
	case m.GetGauge() != nil:
		return m.GetGauge().GetValue()
	}
	return m.GetCounter().GetValue()
}

// series finds the one series of a metric with these labels among others.
func series(t *testing.T, registry *prometheus.Registry, name string, labels ...string) *dto.Metric {
	t.Helper()
	families, err := registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range families {
		if f.GetName() != name {
			continue
		}
		for _, m := range f.GetMetric() {
			if hasLabels(m, labels) {
				return m
			}
		}
	}
	t.Fatalf("there is no series %s%v", name, labels)
	return nil
}

func hasLabels(m *dto.Metric, labels []string) bool {
	for i := 0; i < len(labels); i += 2 {
		if !slices.ContainsFunc(m.GetLabel(), func(l *dto.LabelPair) bool { return l.GetName() == labels[i] && l.GetValue() == labels[i+1] }) {
			return false
		}
	}
	return true
}

// Names and help are as Prometheus wants them, by its own linter.
func TestMetricsLint(t *testing.T) {
	r := newRig(t, nil)
	families, err := r.registry.Gather()
	if err != nil || len(families) < 10 {
		t.Fatalf("%d metrics, %v", len(families), err)
	}
	problems, err := promlint.NewWithMetricFamilies(families).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("promlint says %v, %v", problems, err)
	}
}

// Every known series is there from the start, at zero, and no label ever names a drill, a device
// or a site.
func TestMetricsStartAtZeroAndLabelsAreClosed(t *testing.T) {
	r := newRig(t, nil)
	count := func() int {
		n := 0
		families, err := r.registry.Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			n += len(f.GetMetric())
		}
		return n
	}
	for name, labels := range map[string][]string{
		"loopdrill_activation_seconds":     {"stage", "response", "state", "evacuate"},
		"loopdrill_late_activations_total": {"state", "on"},
		"loopdrill_drills":                 {"state", "crashed"},
		"loopdrill_events_total":           {"visibility", "hidden"},
		"loopdrill_clock_lag_seconds":      nil,
		"loopdrill_jobs":                   {"state", "failed"},
		"loopdrill_rpc_started_total":      {"rpc_service", "loopdrill.v1.DrillService", "rpc_method", "Act"},
		"loopdrill_rpc_handled_total":      {"rpc_service", "grpc.health.v1.Health", "rpc_method", "Check", "code", "NotFound"},
		"loopdrill_rpc_duration_seconds":   {"rpc_service", "loopdrill.v1.JobService", "rpc_method", "WatchJob"},
		"loopdrill_watch_lags_total":       nil,
	} {
		if got := sample(t, r.registry, name, labels...); got != 0 {
			t.Errorf("%s%v starts at %v", name, labels, got)
		}
	}
	before := count()
	name := r.create("kiosk", kioskFiles(), 0)
	r.act(name, smoke("HALL-SD", time.Second))
	r.advance(name, time.Minute)
	_ = r.conn.Invoke(t.Context(), "/loopdrill.v1.DrillService/NoSuchMethod", &pb.GetDrillRequest{}, &pb.GetDrillResponse{}) // Unimplemented
	if after := count(); after != before {
		t.Errorf("%d series became %d", before, after)
	}
}

// The stages of each activation are those that stand in the log.
func TestActivationsAreMeasured(t *testing.T) {
	r := newRig(t, nil)
	for signal, seconds := range map[string]float64{signalDetector: 10, signalCallPoint: 10} {
		if got := sample(t, r.registry, "loopdrill_activation_target_seconds", "signal", signal); got != seconds {
			t.Errorf("without a drill the target of a %s is %v", signal, got)
		}
	}
	name := r.create("kiosk", kioskFiles(), 0)
	for signal, seconds := range map[string]float64{signalDetector: 8, signalCallPoint: 6} {
		if got := sample(t, r.registry, "loopdrill_activation_target_seconds", "signal", signal); got != seconds {
			t.Errorf("the target of a %s is %v, want %v", signal, got, seconds)
		}
	}
	r.act(name, smoke("HALL-SD", 2*time.Second))
	n := r.advance(name, time.Minute).GetEvents()
	at := map[string]time.Duration{}
	for _, e := range r.events(r.watch(name, 1), n) {
		at[e.GetKind()+" "+e.GetSubject()] = e.GetAt().AsDuration()
	}
	t0, t1 := at["input HALL-SD"], at["fire HALL-SD"]
	sum := func(stage, state string) float64 {
		return series(t, r.registry, "loopdrill_activation_seconds", "stage", stage, "state", state).GetHistogram().GetSampleSum()
	}
	// t1 + 0, + 20 s: the sounder at once; fan and bell after the delay. The bell is on the panel
	// and has no command: its time from demand to operation is the switch time (rule C8; 1 ms, rule B12).
	for _, c := range []struct {
		stage, state string
		want         time.Duration
	}{
		{stageDecided, "evacuate", t1 - t0},
		{stageDemanded, "evacuate", 0},
		{stageCommanded, "evacuate", at["command-heard HALL-SOUNDER"] - t1},
		{stageOperated, "evacuate", at["output-operated HALL-SOUNDER"] - at["command-heard HALL-SOUNDER"]},
		{stageResponse, "evacuate", at["output-operated HALL-SOUNDER"] - t0},
		{stageDecided, "on", 2 * (t1 - t0)},
		{stageDemanded, "on", 2 * 20 * time.Second},
		{stageOperated, "on", time.Millisecond},
		{stageResponse, "on", at["output-operated FAN-START"] + at["output-operated BELL"] - 2*(t0+20*time.Second)},
		{stageDone, "on", 5 * time.Second},
	} {
		if got := time.Duration(sum(c.stage, c.state)*1e9 + 0.5); t0 == 0 || t1 <= t0 || got != c.want {
			t.Errorf("%s of %s: %v, want %v", c.stage, c.state, got, c.want)
		}
	}
	if got := sample(t, r.registry, "loopdrill_late_activations_total", "state", "evacuate"); got != 0 {
		t.Errorf("%v activations are late", got)
	}
	events := 0.0
	for _, v := range []string{"panel", "plant", "hidden"} {
		events += sample(t, r.registry, "loopdrill_events_total", "visibility", v)
	}
	if events != float64(n) {
		t.Errorf("%v events are counted of %d", events, n)
	}
	// A fork does not count again what it shares.
	if _, err := r.drills.ForkDrill(t.Context(), &pb.ForkDrillRequest{Source: name, DrillId: "fork"}); err != nil {
		t.Fatal(err)
	}
	r.advance("drills/fork", 2*time.Minute)
	if got := sample(t, r.registry, "loopdrill_activation_seconds", "stage", stageResponse, "state", "evacuate"); got != 1 {
		t.Errorf("the fork makes it %v activations", got)
	}
}

// A response beyond the site's target is late. Garbled replies are what makes it so.
func TestLateActivations(t *testing.T) {
	r := newRig(t, nil)
	name := r.create("kiosk", kioskFiles(), 1)
	r.act(name, noise(0.995))
	r.act(name, smoke("HALL-SD", 2*time.Second))
	n := r.advance(name, 5*time.Minute).GetEvents()
	var t0, t4 time.Duration
	for _, e := range r.events(r.watch(name, 1), n) {
		switch e.GetKind() + " " + e.GetSubject() {
		case "input HALL-SD":
			t0 = e.GetAt().AsDuration()
		case "output-operated HALL-SOUNDER":
			t4 = e.GetAt().AsDuration()
		}
	}
	if t4-t0 <= 8*time.Second {
		t.Fatalf("with this seed the response is %v, which is not late", t4-t0)
	}
	if got := sample(t, r.registry, "loopdrill_late_activations_total", "state", "evacuate"); got != 1 {
		t.Errorf("%v activations are late, want 1", got)
	}
}

// Every state of a drill and of a job has a word in the metrics.
func TestEveryStateHasAWord(t *testing.T) {
	for value, name := range pb.DrillState_name {
		if _, ok := drillStates[pb.DrillState(value)]; ok == (value == 0) {
			t.Errorf("%s: %v", name, ok)
		}
	}
	for value, name := range pb.JobState_name {
		if _, ok := jobStates[pb.JobState(value)]; ok == (value == 0) {
			t.Errorf("%s: %v", name, ok)
		}
	}
	for kind := drill.Start; drill.KindName(kind) != "delay-resumed"; kind++ {
		visibility(drill.VisibilityOf(kind)) // panics where there is none
	}
}
