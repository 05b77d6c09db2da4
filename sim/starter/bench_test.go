package starter

import (
	"runtime"
	"testing"
	"time"

	"loopdrill.dev/loopdrill/sim/drill"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/verify"
)

// BenchmarkVerifyGrid verifies all single-device ways of 10 loops of 250 devices, and reports runs
// per second, events per run and bytes per drill. Compare figures of one run only.
func BenchmarkVerifyGrid(b *testing.B) {
	built := grid(b, 10, 250)
	for b.Loop() {
		v, err := verify.New(b.Context(), built.Plan(), built.Matrix)
		if err != nil {
			b.Fatal(err)
		}
		start := time.Now()
		report, err := v.Run(b.Context(), verify.Options{})
		if err != nil || !report.GetPassed() {
			b.Fatalf("verify: %v, %v", report.GetVerdicts(), err)
		}
		runs := float64(report.GetCounts().GetRuns())
		b.ReportMetric(runs/time.Since(start).Seconds(), "runs/s")
		b.ReportMetric(report.GetCounts().GetEvents()/runs, "events/run")
	}
	b.ReportMetric(float64(forkBytes(settled(b, built))), "B/drill")
}

// BenchmarkFork copies a settled drill of one loop of 250 devices.
func BenchmarkFork(b *testing.B) {
	d := settled(b, grid(b, 1, 250))
	f := d.Fork()
	for b.Loop() {
		f.CopyFrom(d)
	}
	b.ReportMetric(float64(forkBytes(d)), "B/drill")
}

// TestForkBytes holds a fork of 250 devices below 80 KB: memory, not time, so that a machine under
// load gives the same answer.
func TestForkBytes(t *testing.T) {
	if n := forkBytes(settled(t, grid(t, 1, 250))); n > 80_000 {
		t.Errorf("a fork of 250 devices takes %d bytes, want at most 80,000", n)
	}
}

func grid(t testing.TB, loops, devices int) *site.Built {
	t.Helper()
	files, err := Grid(loops, devices)
	if err != nil {
		t.Fatal(err)
	}
	built, found := site.Build(files.Bundle("grid"))
	if built.Program == nil {
		t.Fatal(found)
	}
	return built
}

func settled(t testing.TB, built *site.Built) *drill.Drill {
	t.Helper()
	d := drill.New(built.Plan(), 0)
	if err := d.RunUntil(10 * time.Second); err != nil {
		t.Fatal(err)
	}
	return d
}

// forkBytes is what one more fork takes on the heap, on average over many.
func forkBytes(d *drill.Drill) uint64 {
	const n = 64
	forks := make([]*drill.Drill, n)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for i := range forks {
		forks[i] = d.Fork()
	}
	runtime.ReadMemStats(&after)
	runtime.KeepAlive(forks)
	return (after.TotalAlloc - before.TotalAlloc) / n
}
