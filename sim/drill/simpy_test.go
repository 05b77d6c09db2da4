package drill

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim"
)

// The system's own python, where Debian's python3-simpy3 lives; another python may be first on
// the path.
const simpyPython = "/usr/bin/python3"

// needSimpy skips, or fails where references are required.
func needSimpy(t *testing.T) {
	t.Helper()
	out, err := exec.Command(simpyPython, "-c", "import simpy; print(simpy.__version__)").Output()
	if err == nil {
		t.Logf("judge: SimPy %s", strings.TrimSpace(string(out)))
		return
	}
	if os.Getenv("LOOPDRILL_REQUIRE_REFERENCES") == "1" {
		t.Fatalf("%s cannot import simpy (%v), and LOOPDRILL_REQUIRE_REFERENCES=1: apt-get install python3-simpy3", simpyPython, err)
	}
	t.Skipf("skipped: %s cannot import simpy; apt-get install python3-simpy3", simpyPython)
}

// What testdata/poll.py reads; all times in nanoseconds.
type pollCase struct {
	Horizon  int64      `json:"horizon"`
	Decision int64      `json:"decision_time"`
	Loops    []pollLoop `json:"loops"`
	Outputs  [][2]int   `json:"outputs"`
}

type pollLoop struct {
	Poll      int64        `json:"poll"`
	NoReply   int64        `json:"no_reply"`
	Command   int64        `json:"command"`
	Missed    int          `json:"missed"`
	Burst     int          `json:"burst"`
	OutOfTurn bool         `json:"out_of_turn"`
	Probe     bool         `json:"probe"`
	Devices   []pollDevice `json:"devices"`
}

type pollDevice struct {
	Address  int        `json:"address"`
	Readings int        `json:"readings"`
	Active   [][2]int64 `json:"active"`
	Removed  *int64     `json:"removed"`
	kind     string
}

const pollHorizon = 30 * time.Second

// randomPoll draws a case: healthy and removed devices, steady and brief alarms, any timing.
func randomPoll(r *rand.Rand) pollCase {
	chance := func(p float64) bool { return r.Float64() < p }
	slot := func() int64 {
		if chance(0.5) {
			return int64(5+r.IntN(40)) * 1e6
		}
		return 5e6 + r.Int64N(40e6)
	}
	c := pollCase{Horizon: int64(pollHorizon), Decision: pick(r, int64(0), 1, 7e6, 200e6), Outputs: [][2]int{}}
	same := pollLoop{Poll: slot(), NoReply: slot(), Command: slot()}
	for range 1 + r.IntN(3) {
		l := same
		if chance(0.5) {
			l = pollLoop{Poll: slot(), NoReply: slot(), Command: slot()}
		}
		l.Missed, l.Burst, l.OutOfTurn, l.Probe = 1+r.IntN(4), pick(r, 1, 2, 8), chance(0.5), chance(0.5)
		readings := 1 + r.IntN(4)
		for _, a := range r.Perm(250)[:1+r.IntN(40)] {
			l.Devices = append(l.Devices, randomPolled(r, a+1, readings, l.Poll))
		}
		for _, d := range l.Devices {
			if d.kind == "relay" {
				c.Outputs = append(c.Outputs, [2]int{len(c.Loops), d.Address})
			}
		}
		c.Loops = append(c.Loops, l)
	}
	r.Shuffle(len(c.Outputs), func(i, j int) { c.Outputs[i], c.Outputs[j] = c.Outputs[j], c.Outputs[i] })
	return c
}

func randomPolled(r *rand.Rand, address, readings int, poll int64) pollDevice {
	d := pollDevice{Address: address, kind: pick(r, "smoke", "smoke", "call-point", "relay"), Active: [][2]int64{}}
	if r.Float64() < 0.15 {
		d.Removed = new(r.Int64N(int64(pollHorizon)) * int64(r.IntN(2)))
	}
	if d.kind == "relay" {
		return d
	}
	d.Readings = 1
	if d.kind == "smoke" {
		d.Readings = readings
	}
	for at := int64(0); r.Float64() < 0.5; {
		at += pick(r, r.Int64N(int64(pollHorizon)/2), poll*r.Int64N(200))
		until := at + 1 + pick(r, r.Int64N(100e6), r.Int64N(3e9), int64(pollHorizon))
		d.Active = append(d.Active, [2]int64{at, until})
		at = until + 1
	}
	return d
}

// site writes the case as a site: the first fire turns every output on, in order.
func (c *pollCase) site() *pb.Site {
	s := &pb.Site{
		Site: "polled", Rules: &pb.Rules{Packs: []string{"en54"}},
		Places: []*pb.Place{{Place: "hall"}}, Zones: []*pb.Zone{{Zone: "z"}},
		Panel:   &pb.Panel{DecisionTime: durationpb.New(time.Duration(c.Decision))},
		Program: &pb.Program{Causes: []*pb.Cause{{Cause: "fire", When: "panel.fire"}}},
	}
	for i, l := range c.Loops {
		line := &pb.Line{
			PollSlot: durationpb.New(time.Duration(l.Poll)), NoReplySlot: durationpb.New(time.Duration(l.NoReply)), CommandSlot: durationpb.New(time.Duration(l.Command)),
			MissedReplies: new(uint32(l.Missed)), CommandsBetweenVisits: new(uint32(l.Burst)), OutOfTurn: l.OutOfTurn, ProbeUnused: l.Probe,
		}
		loop := &pb.Loop{Loop: new(uint32(i + 1)), Wiring: "branch", Driver: &pb.Driver{VoltageV: new(28.0)}, Cable: &pb.Cable{ConductorMm2: new(1.5)}, Line: line}
		for _, d := range l.Devices {
			device := &pb.Device{Address: new(uint32(d.Address)), Label: pollLabel(i, d.Address), CableM: new(1.0), Place: "hall", Zone: "z"}
			switch d.kind {
			case "smoke":
				device.Kind = &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}
				line.AlarmReadings = new(uint32(d.Readings))
			case "call-point":
				device.Kind = &pb.Device_CallPoint{CallPoint: &pb.CallPoint{}}
			default:
				device.Kind = &pb.Device_RelayModule{RelayModule: &pb.RelayModule{}}
			}
			loop.Devices = append(loop.Devices, device)
		}
		s.Loops = append(s.Loops, loop)
	}
	if len(c.Outputs) > 0 {
		e := &pb.Effect{Effect: "all"}
		for _, o := range c.Outputs {
			e.Outputs = append(e.Outputs, pollLabel(o[0], o[1]))
		}
		s.Program.Effects = []*pb.Effect{e}
		s.Program.Actions = []*pb.Action{{Causes: []string{"fire"}, Effects: []string{"all"}, State: "on"}}
	}
	return s
}

func pollLabel(loop, address int) string { return fmt.Sprintf("P%d-%d", loop, address) }

// steps are what happens to the devices.
func (c *pollCase) steps() []*pb.Step {
	var steps []*pb.Step
	step := func(at int64, s *pb.Step) {
		s.At = durationpb.New(time.Duration(at))
		steps = append(steps, s)
	}
	for i, l := range c.Loops {
		for _, d := range l.Devices {
			on := &pb.PointStep{Device: pollLabel(i, d.Address)}
			if d.Removed != nil {
				step(*d.Removed, &pb.Step{Kind: &pb.Step_Remove{Remove: on}})
			}
			for _, spell := range d.Active {
				if d.kind == "smoke" {
					step(spell[0], &pb.Step{Kind: &pb.Step_Smoke{Smoke: &pb.SmokeStep{Device: on.GetDevice(), LevelPctPerM: new(8.0)}}})
				} else {
					step(spell[0], &pb.Step{Kind: &pb.Step_Press{Press: on}})
				}
				step(spell[1], &pb.Step{Kind: &pb.Step_Clear{Clear: on}})
			}
		}
	}
	return steps
}

// drill runs the case on the bench and returns its findings in the judge's words.
func (c *pollCase) drill(t *testing.T) []string {
	d := New(planOf(t, c.site()), 0)
	for _, s := range c.steps() {
		act, found := d.plan.Resolve(s, "step")
		if len(found) > 0 {
			t.Fatal(found)
		}
		if err := d.Do(act); err != nil {
			t.Fatal(err)
		}
	}
	if err := d.RunUntil(pollHorizon); err != nil {
		t.Fatal(err)
	}
	var lines []string
	words := map[sim.Kind]string{FireSignalled: "signal", FireDecided: "fire", MissingFault: "missing", OutputOperated: "operated"}
	for _, e := range d.log.Since(0) {
		word, ok := words[e.Kind]
		if !ok || e.Kind == OutputOperated && e.Value == 0 {
			continue
		}
		point := e.Subject
		if e.Kind == OutputOperated {
			point = d.plan.In.Outputs[e.Subject].Point
		}
		p := &d.plan.In.Points[point]
		address := d.plan.In.Loops[p.Loop].Line.Config().Devices[p.Device].Address
		lines = append(lines, fmt.Sprintf("%s %d/%d at %d", word, p.Loop+1, address, int64(e.At)))
	}
	slices.Sort(lines)
	return lines
}

// Issue "Checked against the outside": SimPy (general-purpose discrete-event simulation, Debian
// python3-simpy3) polls the same lines slot by slot in testdata/poll.py: the same response times
// to the nanosecond on a hundred random sites.
func TestResponseTimesAgainstSimPy(t *testing.T) {
	t.Parallel()
	needSimpy(t)
	const sites = 100
	r := rand.New(rand.NewPCG(60, 3))
	cases := make([]pollCase, sites)
	for i := range cases {
		cases[i] = randomPoll(r)
	}
	input, err := json.Marshal(cases)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(simpyPython, "testdata/poll.py")
	var stderr bytes.Buffer
	cmd.Stdin, cmd.Stderr = bytes.NewReader(input), &stderr
	output, err := cmd.Output()
	if err != nil {
		t.Fatalf("poll.py: %v\n%s", err, stderr.String())
	}
	var judged [][][4]any
	if err := json.Unmarshal(output, &judged); err != nil {
		t.Fatal(err)
	}
	total := map[string]int{}
	for i := range cases {
		var want []string
		for _, f := range judged[i] {
			want = append(want, fmt.Sprintf("%s %.0f/%.0f at %.0f", f[0], f[1].(float64)+1, f[2], f[3]))
			total[f[0].(string)]++
		}
		slices.Sort(want)
		if got := cases[i].drill(t); !slices.Equal(got, want) {
			n := firstDifference(got, want)
			one, _ := json.Marshal(cases[i : i+1])
			t.Errorf("case %d, finding %d:\nbench: %s\nSimPy: %s\nreplay the judge: echo '%s' | %s testdata/poll.py", i, n, around(got, n), around(want, n), one, simpyPython)
		}
	}
	t.Log(total)
	for _, word := range []string{"signal", "fire", "missing", "operated"} {
		if total[word] < 100 {
			t.Errorf("only %d of %q: the cases hardly compare anything", total[word], word)
		}
	}
}
