package drill

import (
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// phaseLoop is a loop for the worst case: smoke detectors, then relays.
type phaseLoop struct {
	poll, noReply, command time.Duration
	readings               int
	detectors, relays      int
}

// phaseSite has one effect, all the relays of the last loop, and one cause.
func phaseSite(when string, decision time.Duration, loops ...phaseLoop) *pb.Site {
	s := &pb.Site{
		Site: "phase", Rules: &pb.Rules{Packs: []string{"en54"}},
		Places: []*pb.Place{{Place: "hall"}}, Zones: []*pb.Zone{{Zone: "z"}},
		Panel: &pb.Panel{DecisionTime: durationpb.New(decision)},
	}
	effect := &pb.Effect{Effect: "all"}
	for i, l := range loops {
		m := &pb.Loop{
			Loop: new(uint32(i + 1)), Wiring: "branch", Driver: &pb.Driver{VoltageV: new(28.0)}, Cable: &pb.Cable{ConductorMm2: new(1.5)},
			Line: &pb.Line{PollSlot: durationpb.New(l.poll), NoReplySlot: durationpb.New(l.noReply), CommandSlot: durationpb.New(l.command), AlarmReadings: new(uint32(l.readings))},
		}
		for n := range l.detectors + l.relays {
			d := &pb.Device{Address: new(uint32(n + 1)), Label: pollLabel(i+1, n+1), CableM: new(1.0), Place: "hall", Zone: "z"}
			if n < l.detectors {
				d.Kind = &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}
			} else {
				d.Kind = &pb.Device_RelayModule{RelayModule: &pb.RelayModule{}}
				if i == len(loops)-1 {
					effect.Outputs = append(effect.Outputs, d.GetLabel())
				}
			}
			m.Devices = append(m.Devices, d)
		}
		s.Loops = append(s.Loops, m)
	}
	s.Program = &pb.Program{
		Causes:  []*pb.Cause{{Cause: "way", When: when}},
		Effects: []*pb.Effect{effect},
		Actions: []*pb.Action{{Causes: []string{"way"}, Effects: []string{"all"}, State: "on"}},
	}
	return s
}

// worstCase is the formula of rules F6, B5 and J19, written out once more: readings x round + the
// device's own slot + decision time; what may be running on the output's loop, and as much again
// for the visit after each full burst; the commands before it and its own.
func worstCase(signals []phaseLoop, decision time.Duration, out phaseLoop, before int) time.Duration {
	var signal time.Duration
	for _, l := range signals {
		round := time.Duration(l.detectors+l.relays) * l.poll
		signal = max(signal, time.Duration(l.readings)*round+l.poll)
	}
	longest := max(out.poll, out.noReply, out.command)
	return signal + decision + longest + time.Duration(before/8)*longest + time.Duration(before+1)*out.command
}

// Issue "Checked against the outside": over 10,000 uniform phases the largest response time
// observed is at least the computed worst case less one poll slot, and none is above it. The
// poll slot is the longest of the three here: on a healthy loop no other visit is running.
func TestWorstCaseOverUniformPhases(t *testing.T) {
	t.Parallel()
	const ms = time.Millisecond
	one := phaseLoop{12 * ms, 10 * ms, 11 * ms, 2, 28, 12}
	slow := phaseLoop{13*ms + 7, 12 * ms, 11 * ms, 3, 31, 0}
	fast := phaseLoop{7*ms + 13, 5 * ms, 6 * ms, 2, 17, 0}
	bells := phaseLoop{11*ms + 1, 9 * ms, 8*ms + 3, 1, 5, 12}
	for _, c := range []struct {
		name     string
		when     string
		decision time.Duration
		signals  []phaseLoop
		loops    []phaseLoop
		stimuli  []string
		output   string
	}{
		// After the completing slot 193 ms are 16 slots and a bit: a slot has just begun.
		{"one device, the twelfth output of its own loop", "device('P1-9').fire", 193 * ms, []phaseLoop{one}, []phaseLoop{one}, []string{"P1-9"}, "P1-40"},
		{"a pair across loops, the twelfth output of a third", "at_least(2, [device('P1-30').fire, device('P2-4').fire])", 200 * ms,
			[]phaseLoop{slow, fast}, []phaseLoop{slow, fast, bells}, []string{"P1-30", "P2-4"}, "P3-17"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			plan := planOf(t, phaseSite(c.when, c.decision, c.loops...))
			out := c.loops[len(c.loops)-1]
			bound := worstCase(c.signals, c.decision, out, 11)
			observed := newPhases(t, plan, c.stimuli, c.output)
			r := rand.New(rand.NewPCG(10_000, 4))
			var worst time.Duration
			for range 10_000 {
				at := 10*time.Second + time.Duration(r.Int64N(int64(100*time.Second)))
				took := observed.response(t, at)
				if took > bound {
					t.Fatalf("a stimulus at %d takes %v, above the computed worst case of %v", int64(at), took, bound)
				}
				worst = max(worst, took)
			}
			t.Logf("computed %v, largest observed %v", bound, worst)
			if slot := c.signals[0].poll; worst < bound-slot {
				t.Errorf("the largest observed is %v, more than a poll slot (%v) below the computed %v", worst, slot, bound)
			}
			if len(c.stimuli) > 1 {
				return
			}
			// Rule F6: the worst phase is just after a sample.
			point, _ := plan.In.Point(c.stimuli[0])
			if took := observed.response(t, observed.start.SampleAfter(point, 10*time.Second)+1); took < worst {
				t.Errorf("just after a sample it takes %v, and %v at another phase", took, worst)
			}
		})
	}
}

// phases measures one way again and again from one start.
type phases struct {
	start, d *Drill
	points   []int32
	output   int32
}

func newPhases(t *testing.T, plan *Plan, stimuli []string, output string) *phases {
	p := &phases{start: New(plan, 0)}
	p.d = p.start.Fork()
	for _, s := range stimuli {
		point, ok := plan.In.Point(s)
		if !ok {
			t.Fatalf("no point %q", s)
		}
		p.points = append(p.points, point)
	}
	o, ok := plan.In.Output(output)
	if !ok {
		t.Fatalf("no output %q", output)
	}
	p.output = o
	return p
}

// response is t4 - t0 for stimuli at one instant.
func (p *phases) response(t *testing.T, at time.Duration) time.Duration {
	p.d.CopyFrom(p.start)
	for _, point := range p.points {
		if err := p.d.Do(p.d.plan.Stimulus(point, false, at)); err != nil {
			t.Fatal(err)
		}
	}
	if err := p.d.RunUntil(at + 20*time.Second); err != nil {
		t.Fatal(err)
	}
	for _, e := range p.d.log.Since(0) {
		if e.Kind == OutputOperated && e.Subject == p.output && e.Value != 0 {
			return e.At - at
		}
	}
	t.Fatalf("a stimulus at %d never operates the output", int64(at))
	return 0
}
