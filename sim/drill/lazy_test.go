package drill

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/types/known/durationpb"

	"loopdrill.dev/loopdrill/loop"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// randomHorizon is how long a random drill lasts.
const randomHorizon = 600 * time.Second

// randomScript makes up acts while the twin runs, because only the twin knows where the slots
// lie: most acts fall on the very end of a slot or a nanosecond beside it, and several on one
// instant. The acts are then the drill's journal, which the lazy line runs in turn.
type randomScript struct {
	*randomSite
	d     *Drill
	steps []*pb.Step
	open  []string // names of faults to be repaired
	at    time.Duration
}

// play runs the twin's drill to the horizon, acting on it.
func (s *randomScript) play(t testing.TB) {
	acts := 5 + s.IntN(30)
	for k := range acts {
		now := s.at + time.Duration(s.Int64N(int64(2*randomHorizon)/int64(acts)))
		if s.chance(0.4) {
			now = s.at + time.Duration(s.Int64N(int64(2*time.Second)))
		}
		if k == 0 && s.chance(0.1) {
			s.at = 0 // at the very start
		} else {
			if now = min(now, randomHorizon-time.Second); now < s.at {
				break
			}
			s.run(t, now)
			s.at = s.moment(now)
		}
		for range 1 + s.IntN(3)/2 + s.IntN(3)/2 {
			s.act(t)
		}
	}
	s.run(t, randomHorizon)
}

func (s *randomScript) run(t testing.TB, to time.Duration) {
	if err := s.d.RunUntil(to); err != nil {
		t.Fatalf("the twin's drill: %v", err)
	}
}

// moment is the next end of some loop's slot, or the nanosecond before or after, or any time.
func (s *randomScript) moment(now time.Duration) time.Duration {
	tw := pick(s.Rand, s.d.lines...).(*twin)
	if len(tw.devices) == 0 || s.chance(0.2) {
		return now + 1 + time.Duration(s.Int64N(int64(time.Second)))
	}
	return max(now+1, tw.at+pick(s.Rand, time.Duration(0), 0, 0, 1, -1))
}

// act enters one act for the instant s.at.
func (s *randomScript) act(t testing.TB) {
	step := s.step()
	if step == nil {
		return
	}
	s.enter(t, step)
	if brief := step.GetSmoke() != nil || step.GetPress() != nil || step.GetActivate() != nil; brief && s.chance(0.4) {
		at := s.at + pick(s.Rand, 1, time.Millisecond, 30*time.Millisecond, 300*time.Millisecond)
		s.enter(t, &pb.Step{At: durationpb.New(at), Kind: &pb.Step_Clear{Clear: &pb.PointStep{Device: subject(step)}}})
	}
}

func subject(step *pb.Step) string {
	switch k := step.GetKind().(type) {
	case *pb.Step_Smoke:
		return k.Smoke.GetDevice()
	case *pb.Step_Press:
		return k.Press.GetDevice()
	case *pb.Step_Activate:
		return k.Activate.GetDevice()
	}
	return ""
}

func (s *randomScript) enter(t testing.TB, step *pb.Step) {
	act, found := s.d.plan.Resolve(step, "step")
	if len(found) > 0 {
		t.Fatalf("a random step is refused: %v: %v", step, found)
	}
	if err := s.d.Do(act); err != nil {
		t.Fatalf("a random step is refused: %v", err)
	}
	s.steps = append(s.steps, step)
}

func (s *randomScript) step() *pb.Step {
	step := &pb.Step{At: durationpb.New(s.at)}
	switch k := s.IntN(24); {
	case k < 9 && len(s.d.plan.In.Points) > 0:
		return s.stimulus(step)
	case k < 17 && len(s.d.plan.In.Points) > 0:
		return s.fault(step)
	case k < 20 && len(s.open) > 0:
		i := s.IntN(len(s.open))
		step.Kind = &pb.Step_Repair{Repair: &pb.RepairStep{Step: s.open[i]}}
		s.open = append(s.open[:i], s.open[i+1:]...)
		return step
	}
	return s.operator(step)
}

func (s *randomScript) stimulus(step *pb.Step) *pb.Step {
	p := pick(s.Rand, s.d.plan.In.Points...)
	on := &pb.PointStep{Device: p.Label}
	switch {
	case p.Input == loop.NoInput:
		return nil
	case s.chance(0.25):
		step.Kind = &pb.Step_Clear{Clear: on}
	case p.SmokeMicroPct > 0:
		step.Kind = &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: p.Label, LevelPctPerM: new(pick(s.Rand, 0.0, 2.55, 3.0, 3.4, 8.0))}}
	case p.HeatMicroC > 0:
		step.Kind = &pb.Step_Heat{Heat: &pb.HeatStep{Device: p.Label, TemperatureC: new(pick(s.Rand, 20.0, 45.0, 57.0, 90.0))}}
	case p.Kind == "flame_detector":
		step.Kind = &pb.Step_Flame{Flame: on}
	case p.Input == loop.CallPoint:
		step.Kind = &pb.Step_Press{Press: on}
	default:
		step.Kind = &pb.Step_Activate{Activate: on}
	}
	return step
}

func (s *randomScript) fault(step *pb.Step) *pb.Step {
	p := pick(s.Rand, s.d.plan.In.Points...)
	on := &pb.PointStep{Device: p.Label}
	step.Step = fmt.Sprintf("fault-%d", len(s.steps))
	if s.chance(0.06) {
		step.Kind = &pb.Step_PanelStop{PanelStop: &pb.PanelStopStep{}}
		s.open = append(s.open, step.GetStep())
		return step
	}
	if s.chance(0.5) {
		if step = s.wireFault(step); step != nil {
			s.open = append(s.open, step.GetStep())
		}
		return step
	}
	switch s.IntN(9) {
	case 0, 1:
		step.Kind = &pb.Step_Remove{Remove: on}
	case 2:
		step.Kind = &pb.Step_Mute{Mute: on}
	case 3:
		kind := ""
		if s.chance(0.5) {
			kind = string(p.Kind)
		}
		step.Kind = &pb.Step_Duplicate{Duplicate: &pb.DuplicateStep{Device: p.Label, Kind: kind}}
	case 4:
		step.Kind = &pb.Step_WrongType{WrongType: &pb.WrongTypeStep{Device: p.Label}}
	case 5:
		step.Kind = &pb.Step_Stuck{Stuck: &pb.StuckStep{Device: p.Label, Active: new(s.chance(0.5))}}
		if p.Input == loop.NoInput {
			return nil
		}
	case 6:
		number := pick(s.Rand, s.d.plan.In.Loops...).Number
		step.Kind = &pb.Step_LineErrors{LineErrors: &pb.LineErrorsStep{Loop: new(number), Rate: new(pick(s.Rand, 0, 0.0005, 0.005, 0.05))}}
	case 7:
		if p.Output < 0 {
			return nil
		}
		step.Kind = &pb.Step_RelayStuck{RelayStuck: &pb.RelayStuckStep{Output: p.Label}}
	default:
		if len(s.site.GetEquipment()) == 0 {
			return nil
		}
		step.Kind = &pb.Step_PlantFault{PlantFault: &pb.PlantFaultStep{Equipment: pick(s.Rand, s.site.GetEquipment()...).GetEquipment(), Fault: pick(s.Rand, "stuck", "slow", "unproven")}}
	}
	s.open = append(s.open, step.GetStep())
	return step
}

func (s *randomScript) operator(step *pb.Step) *pb.Step {
	subject := func() *pb.SubjectStep {
		if len(s.inputs) > 0 && s.chance(0.5) {
			return &pb.SubjectStep{Subject: &pb.SubjectStep_Device{Device: pick(s.Rand, s.inputs...)}}
		}
		return &pb.SubjectStep{Subject: &pb.SubjectStep_Zone{Zone: pick(s.Rand, s.zones...)}}
	}
	switch s.IntN(14) {
	case 10:
		step.Kind = &pb.Step_Test{Test: &pb.TestStep{Zone: pick(s.Rand, s.zones...), On: new(s.chance(0.5))}}
	case 11:
		if len(s.site.GetProgram().GetOverrides()) == 0 {
			return nil
		}
		step.Kind = &pb.Step_Override{Override: &pb.OverrideStep{Override: "switch", Position: pick(s.Rand, "on", "off", "auto")}}
	case 12, 13:
		return s.outside(step)
	case 0:
		step.Kind = &pb.Step_Acknowledge{Acknowledge: &pb.AcknowledgeStep{}}
	case 1:
		step.Kind = &pb.Step_Silence{Silence: &pb.SilenceStep{}}
	case 2:
		step.Kind = &pb.Step_Resound{Resound: &pb.ResoundStep{}}
	case 3, 4, 5:
		step.Kind = &pb.Step_Reset_{Reset_: &pb.ResetStep{}}
	case 6:
		step.Kind = &pb.Step_Evacuate{Evacuate: &pb.EvacuateStep{}}
	case 7:
		step.Kind = &pb.Step_Disable{Disable: subject()}
	case 8:
		step.Kind = &pb.Step_Enable{Enable: subject()}
	default:
		step.Kind = &pb.Step_Control{Control: &pb.ControlStep{Control: "key", On: new(s.chance(0.5))}}
	}
	return step
}

// outside is what somebody does who stands in for equipment, or what is done to it at the panel; nil if
// there is none.
func (s *randomScript) outside(step *pb.Step) *pb.Step {
	if len(s.site.GetEquipment()) == 0 {
		return nil
	}
	e := pick(s.Rand, s.site.GetEquipment()...).GetEquipment()
	index, _ := s.d.plan.In.Plant.Lookup(e)
	signals := s.d.plan.In.Plant.SignalNames(index)
	switch {
	case s.chance(0.2):
		step.Kind = &pb.Step_Disable{Disable: &pb.SubjectStep{Subject: &pb.SubjectStep_Equipment{Equipment: e}}}
		if s.chance(0.5) {
			step.Kind = &pb.Step_Enable{Enable: &pb.SubjectStep{Subject: &pb.SubjectStep_Equipment{Equipment: e}}}
		}
	case s.chance(0.5) && s.d.StoodIn(index):
		step.Kind = &pb.Step_Signal{Signal: &pb.SignalStep{Equipment: e, Signal: pick(s.Rand, signals...), On: new(s.chance(0.6))}}
	default:
		step.Kind = &pb.Step_StandIn{StandIn: &pb.StandInStep{Equipment: e, On: new(s.chance(0.6))}}
	}
	return step
}

// interactions counts what happened in drills that were compared.
type interactions struct {
	sites, events, acts, slots                                    int
	burst, loss, back, duplicate, garbled, outOfTurn, probe, ties int
	gone, shared, repeats, outputFaults, wrongType, signals       int
	stops, starts, ready, confirmed, looked                       int
	wire                                                          wireCounts
}

func (n *interactions) add(o interactions) {
	n.sites, n.events, n.acts, n.slots = n.sites+o.sites, n.events+o.events, n.acts+o.acts, n.slots+o.slots
	n.burst, n.loss, n.back, n.duplicate = n.burst+o.burst, n.loss+o.loss, n.back+o.back, n.duplicate+o.duplicate
	n.garbled, n.outOfTurn, n.probe, n.ties = n.garbled+o.garbled, n.outOfTurn+o.outOfTurn, n.probe+o.probe, n.ties+o.ties
	n.gone, n.shared, n.repeats = n.gone+o.gone, n.shared+o.shared, n.repeats+o.repeats
	n.outputFaults, n.wrongType, n.signals = n.outputFaults+o.outputFaults, n.wrongType+o.wrongType, n.signals+o.signals
	n.stops, n.starts = n.stops+o.stops, n.starts+o.starts
	n.ready, n.confirmed, n.looked = n.ready+o.ready, n.confirmed+o.confirmed, n.looked+o.looked
	n.wire.add(o.wire)
}

// count reads the interactions of one drill off its log and its twins.
func count(d *Drill) interactions {
	n := interactions{sites: 1, events: d.log.Len(), acts: len(d.journal), wire: countWire(d)}
	for _, l := range d.lines {
		c := &l.(*twin).count
		n.slots, n.burst, n.outOfTurn, n.garbled = n.slots+c.slots, n.burst+c.bursts, n.outOfTurn+c.outOfTurn, n.garbled+c.garbled
		n.gone, n.shared, n.repeats = n.gone+c.gone, n.shared+c.sharedSlots, n.repeats+c.repeats
		if c.probes > 0 {
			n.probe++ // a loop that probed, not the thousands of probes
		}
	}
	last, tied := sim.Event{At: -1}, false
	for _, e := range d.log.Since(0) {
		switch {
		case e.Kind == MissingFault && e.Value == 1:
			n.loss++
		case e.Kind == MissingFault:
			n.back++
		case e.Kind == DuplicateFault && e.Value == 1:
			n.duplicate++
		case e.Kind == WrongTypeFault && e.Value == 1:
			n.wrongType++
		case e.Kind == OutputFault && e.Value == 1:
			n.outputFaults++
		case e.Kind == FireSignalled:
			n.signals++
		case e.Kind == PanelStopped && e.Value == 1:
			n.stops++
		case e.Kind == PanelStopped:
			n.starts++
		case e.Kind == DetectorReady:
			n.ready++
		case e.Kind == SignalConfirmed:
			n.confirmed++
		case e.Kind == InvestigationEnded:
			n.looked++
		}
		if e.Phase != sim.Line || e.Kind == LoopFault {
			continue
		}
		if e.At != last.At {
			tied = false
		} else if !tied && d.loopOf(&e) != d.loopOf(&last) {
			n.ties, tied = n.ties+1, true
		}
		last = e
	}
	return n
}

// loopOf is the loop of an event that a line made.
func (d *Drill) loopOf(e *sim.Event) int32 {
	switch spaceOf(e) {
	case ofLoop:
		return e.Subject
	case ofOutput:
		return d.plan.LoopOf(e.Subject)
	}
	return d.plan.In.Points[e.Subject].Loop
}

// compareSite runs one random site with both lines.
func compareSite(t testing.TB, seed uint64) interactions {
	g := newRandomSite(seed)
	plan := g.plan(t)
	slow := *plan
	slow.poller = newTwin
	s := &randomScript{randomSite: g, d: New(&slow, seed)}
	s.play(t)
	d := New(plan, seed)
	for _, a := range s.d.Journal() {
		if err := d.Do(a); err != nil {
			t.Fatal(err)
		}
	}
	var fork *Drill
	if seed%4 == 0 { // a fork in the midst of it all goes on as the drill itself does
		middle := time.Duration(g.Int64N(int64(randomHorizon)))
		if err := d.RunUntil(middle); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		fork = d.Fork()
	}
	if err := d.RunUntil(randomHorizon); err != nil {
		t.Fatalf("seed %d: %v", seed, err)
	}
	if fork != nil {
		if err := fork.RunUntil(randomHorizon); err != nil || fork.Digest() != d.Digest() {
			t.Fatalf("seed %d: a fork parts from its drill (%v)\n%s", seed, err, part(d, fork))
		}
	}
	if d.Digest() != s.d.Digest() {
		t.Fatalf("seed %d: the lazy line and the twin part.\n%s\nsteps:\n%s\nreplay: LOOPDRILL_SEED=%d go test ./sim/drill -run TestLazyAgainstTwin", seed, part(d, s.d), stepsText(s.steps), seed)
	}
	rooted(t, d)
	return count(s.d)
}

// part shows where two logs part, with what went before.
func part(lazy, twin *Drill) string {
	a, b := lazy.log.Since(0), twin.log.Since(0)
	i := 0
	for i < len(a) && i < len(b) && fmt.Sprint(a[i]) == fmt.Sprint(b[i]) {
		i++
	}
	text := func(events []sim.Event) string {
		var out strings.Builder
		for k := max(0, i-8); k < min(len(events), i+3); k++ {
			e := &events[k]
			fmt.Fprintf(&out, "  %6d %d %s %s subject %d value %d extra %d parent %d also %v\n", k+1, e.At, e.Phase, KindName(e.Kind), e.Subject, e.Value, e.Extra, e.Parent, e.Also)
		}
		return out.String()
	}
	return fmt.Sprintf("first differing event: %d\nlazy:\n%stwin:\n%s", i+1, text(a), text(b))
}

func stepsText(steps []*pb.Step) string {
	var out strings.Builder
	for _, s := range steps {
		out.WriteString("  " + protojson.MarshalOptions{}.Format(s) + "\n")
	}
	return out.String()
}

// The exact lazy line against polling slot by slot: issue "Must show". 2,000 sites by default,
// 100,000 with LOOPDRILL_LONG=1 (or as many as LOOPDRILL_SITES says), one with LOOPDRILL_SEED.
func TestLazyAgainstTwin(t *testing.T) {
	if text := os.Getenv("LOOPDRILL_SEED"); text != "" {
		seed, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%+v", compareSite(t, seed))
		return
	}
	t.Parallel()
	sites := randomSites(t)
	const shards = 20
	var sum interactions
	var lock sync.Mutex
	t.Run("shards", func(t *testing.T) {
		for shard := range uint64(shards) {
			t.Run(strconv.FormatUint(shard, 10), func(t *testing.T) {
				t.Parallel()
				var own interactions
				for seed := shard; seed < sites; seed += shards {
					own.add(compareSite(t, seed))
				}
				t.Logf("%+v", own)
				lock.Lock()
				defer lock.Unlock()
				sum.add(own)
			})
		}
	})
	t.Logf("%+v", sum)
	reached := map[string]int{
		"command bursts cut short by a visit": sum.burst, "losses": sum.loss, "returns": sum.back, "duplicates": sum.duplicate,
		"line errors": sum.garbled, "out-of-turn visits": sum.outOfTurn, "loops that probe": sum.probe, "ties between loops": sum.ties,
		"levels gone before they were seen": sum.gone, "shared command slots": sum.shared, "repeated commands": sum.repeats,
		"output faults": sum.outputFaults, "wrong types": sum.wrongType, "fire signals": sum.signals,
		"stops of the panel": sum.stops, "starts of the panel": sum.starts,
		"detectors reset": sum.ready, "signals confirmed": sum.confirmed, "investigations that ended in fire": sum.looked,
	}
	for what, n := range sum.wire.table() {
		reached[what] = *n
	}
	for what, n := range reached {
		if n < 100 {
			t.Errorf("only %d %s on %d sites: the test does not reach what it is for", n, what, sum.sites)
		}
	}
}

func randomSites(t testing.TB) uint64 {
	if text := os.Getenv("LOOPDRILL_SITES"); text != "" {
		n, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	if os.Getenv("LOOPDRILL_LONG") == "1" {
		return 100_000
	}
	return 2000
}
