package service

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"go.uber.org/zap"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/drill"
)

// paced is a drill of the kiosk behind the handlers alone, without a network, for a bubble in
// which the wall clock is synctest's.
type paced struct {
	*rig
	s *drillServer
	k *keeper
}

func newPaced(t *testing.T, plan *drill.Plan) *paced {
	t.Helper()
	registry := prometheus.NewRegistry()
	s := newDrillServer(newCore(DefaultLimits(), zap.NewNop(), NewMetrics(registry)))
	k, err := s.admit(about{name: "drills/kiosk", created: time.Now()}, drill.New(plan, 0), 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.stop)
	return &paced{&rig{t: t, registry: registry}, s, k}
}

func (p *paced) run(speed float64, until time.Duration) {
	p.t.Helper()
	req := &pb.RunDrillRequest{Name: p.k.about.name, Speed: new(speed)}
	if until > 0 {
		req.Until = durationpb.New(until)
	}
	if _, err := p.s.RunDrill(p.t.Context(), req); err != nil {
		p.t.Fatal(err)
	}
}

func (p *paced) get() *pb.Drill {
	p.t.Helper()
	answer, err := p.s.GetDrill(p.t.Context(), &pb.GetDrillRequest{Name: p.k.about.name})
	if err != nil {
		p.t.Fatal(err)
	}
	return answer.GetDrill()
}

func (p *paced) do(step *pb.Step) *pb.Step {
	p.t.Helper()
	answer, err := p.s.Act(p.t.Context(), &pb.ActRequest{Name: p.k.about.name, Step: step})
	if err != nil {
		p.t.Fatal(err)
	}
	return answer.GetStep()
}

// A paced drill stands where the wall clock and its speed put it; a change of speed goes on from
// there, and it pauses at its end to the nanosecond.
func TestPaceFollowsTheClock(t *testing.T) {
	plan := planOf(t, kioskFiles())
	synctest.Test(t, func(t *testing.T) {
		p := newPaced(t, plan)
		defer p.s.stop()
		at := func(want time.Duration) {
			t.Helper()
			if got := p.get().GetInstant().AsDuration(); got != want {
				t.Errorf("the drill stands at %v, want %v", got, want)
			}
		}
		p.run(1, 0)
		at(0)
		time.Sleep(1500 * time.Millisecond)
		at(1500 * time.Millisecond)
		p.run(10, 0)
		time.Sleep(time.Second)
		at(11500 * time.Millisecond)
		if _, err := p.s.PauseDrill(t.Context(), &pb.PauseDrillRequest{Name: p.k.about.name}); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Hour)
		at(11500 * time.Millisecond)
		p.run(0.5, 12*time.Second)
		time.Sleep(900 * time.Millisecond)
		if got := p.get(); got.GetState() != pb.DrillState_DRILL_STATE_RUNNING || got.GetSpeed() != 0.5 || got.GetUntil().AsDuration() != 12*time.Second {
			t.Errorf("shortly before its end the drill is %v", got)
		}
		time.Sleep(time.Minute)
		at(12 * time.Second)
		if got := p.get(); got.GetState() != pb.DrillState_DRILL_STATE_PAUSED || got.Speed != nil || got.GetUntil() != nil {
			t.Errorf("at its end the drill is %v", got)
		}
		p.run(1, time.Second) // executed already
		synctest.Wait()
		at(12 * time.Second)
		if lag := series(t, p.registry, "loopdrill_clock_lag_seconds").GetHistogram().GetSampleSum(); lag > 1e-6 {
			t.Errorf("the drill lagged %v s in all", lag)
		}
	})
}

// Events come out at the wall-clock time that belongs to them, whatever the speed, without lag;
// acts without a time act where the clock stands.
func TestPacedEventsComeInTime(t *testing.T) {
	plan := planOf(t, kioskFiles())
	for _, speed := range []float64{0.01, 0.3, 1, 7, 60, 9999} {
		synctest.Test(t, func(t *testing.T) {
			p := newPaced(t, plan)
			defer p.s.stop()
			p.run(speed, 0)
			began := time.Now()
			time.Sleep(time.Duration(2e9 / speed))
			step := smoke("HALL-SD", 0)
			step.At = nil
			from := p.do(step).GetAt().AsDuration()
			if off := from - 2*time.Second; off < -10*time.Microsecond || off > 10*time.Microsecond {
				t.Errorf("speed %v: an act after 2 s of virtual time acts at %v", speed, from)
			}
			seen := 0
			for done := false; !done; {
				view, changed := p.k.feed.now()
				for ; seen < len(view.events); seen++ {
					e := &view.events[seen]
					should := began.Add(time.Duration(float64(e.At) / speed))
					if late := time.Since(should); e.At > from && (late < -time.Microsecond || late > time.Microsecond) {
						t.Errorf("speed %v: event %d, due at %v, comes %v late", speed, seen+1, e.At, late)
					}
					done = done || e.Kind == drill.EquipmentDone // the last thing of the kiosk's course
				}
				if !done {
					<-changed
				}
			}
			if lag := series(t, p.registry, "loopdrill_clock_lag_seconds").GetHistogram(); lag.GetSampleCount() == 0 || lag.GetSampleSum() > 1e-6 {
				t.Errorf("speed %v: %v instants, %v s of lag in all", speed, lag.GetSampleCount(), lag.GetSampleSum())
			}
		})
	}
}

// Wherever it is cut by the clock, a paced drill has the log of one that ran at once.
func TestPacedDigest(t *testing.T) {
	plan := planOf(t, kioskFiles())
	local := drill.New(plan, 0)
	act, _ := plan.Resolve(smoke("HALL-SD", 2*time.Second), "step")
	if err := local.Do(act); err != nil {
		t.Fatal(err)
	}
	if err := local.RunUntil(time.Minute); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		p := newPaced(t, plan)
		defer p.s.stop()
		p.do(smoke("HALL-SD", 2*time.Second))
		p.run(3, time.Minute)
		for range 50 {
			time.Sleep(123456789)
			p.get()
		}
		time.Sleep(time.Minute)
		answer, err := p.s.InspectDrill(t.Context(), &pb.InspectDrillRequest{Name: p.k.about.name})
		if err != nil || answer.GetDigest() != local.Digest() || answer.GetDrill().GetState() != pb.DrillState_DRILL_STATE_PAUSED {
			t.Errorf("%v, %v; want digest %s", answer.GetDrill(), err, local.Digest())
		}
	})
}

// The virtual and the wall-clock time of a pace agree, and the longest runs do not overflow.
func TestPaceArithmetic(t *testing.T) {
	since := time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	year := DefaultLimits().Horizon
	for _, speed := range []float64{0.01, 1, 10000} {
		p := pace{speed: speed, since: since, from: time.Second}
		if got := p.due(since, year); got != time.Second {
			t.Errorf("speed %v: at its beginning %v", speed, got)
		}
		for _, at := range []time.Duration{time.Second, time.Minute, year} {
			wall := p.wall(at)
			// The product with the speed is rounded to a float's 53 bits: 2^-52 of a year.
			if off := p.due(wall, year) - at; off < -10 || off > 10+time.Duration(speed) {
				t.Errorf("speed %v: %v is due at %v, where %v is due", speed, at, wall, at+off)
			}
		}
		if got := p.due(since.Add(1<<62), year); speed >= 1 && got != year {
			t.Errorf("speed %v: after a century %v", speed, got)
		}
	}
}
