package plant

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// rig runs one plant and writes down what it says, one line for each change:
//
//	12s fan = running        its state
//	12s fan +running         a signal shows (-: no longer)
//	12s fan done start       the action of an input is complete
type rig struct {
	p       *Plant
	s       *State
	now     time.Duration
	event   uint64
	lines   []string
	ids     []uint64 // by line: its event
	parents []uint64 // by line: the event it follows from
	changes []Change
}

func newRig(t *testing.T, eq ...*pb.Equipment) *rig {
	t.Helper()
	p, found := Compile(eq)
	if len(found) > 0 {
		t.Fatalf("compile: %v", found)
	}
	return &rig{p: p, s: p.NewState()}
}

func (r *rig) Note(c Change) uint64 {
	e := int(c.Equipment)
	what := ""
	switch c.Kind {
	case StateChanged:
		what = "= " + r.p.States(e)[c.Index]
	case SignalChanged:
		what = "-" + r.p.SignalName(e, int(c.Index))
		if c.On {
			what = "+" + what[1:]
		}
	case Done:
		what = "done " + r.p.InputName(e, int(c.Index))
	}
	r.event++
	r.lines = append(r.lines, fmt.Sprintf("%gs %s %s", r.now.Seconds(), r.p.ID(e), what))
	r.ids = append(r.ids, r.event)
	r.parents = append(r.parents, c.Parent)
	r.changes = append(r.changes, c)
	return r.event
}

// until takes everything due before t (and at t, if through).
func (r *rig) until(t time.Duration, through bool) {
	for {
		next, ok := r.p.Next(r.s)
		if !ok || next > t || (next == t && !through) {
			break
		}
		r.now = next
		r.p.Advance(r.s, next, r)
	}
	r.now = t
}

// play runs commands such as `5s fan/start`, `7s fan/start off`, `8s fan stuck`, `8s fan slow 3`,
// `9s fan repaired`, `9s fan outside` (somebody outside stands in for its model), `9s fan +running`
// (he gives a signal), `9s fan model`, separated by semicolons, and then goes on to the end of everything. Every
// command is an event of its own, as it is in a drill.
func (r *rig) play(t *testing.T, script string) string {
	t.Helper()
	for command := range strings.SplitSeq(script, ";") {
		words := strings.Fields(command)
		at, err := time.ParseDuration(words[0])
		if err != nil {
			t.Fatal(err)
		}
		r.until(at, false)
		r.event++
		r.command(t, words[1:])
	}
	r.until(10*time.Hour, true)
	return strings.Join(r.lines, "\n")
}

func (r *rig) command(t *testing.T, words []string) {
	t.Helper()
	id, in, drive := strings.Cut(words[0], "/")
	e, ok := r.p.Lookup(id)
	if !ok {
		t.Fatalf("no equipment %q", id)
	}
	if drive {
		input, ok := r.p.InputIndex(e, in)
		if !ok {
			t.Fatalf("no input %q", in)
		}
		r.p.Drive(r.s, r.now, e, input, len(words) == 1, r.event, r)
		return
	}
	switch word := words[1]; {
	case word == "outside" || word == "model":
		r.p.StandIn(r.s, r.now, e, word == "outside", r.event, r)
		return
	case word[0] == '+' || word[0] == '-':
		signal, ok := r.p.SignalIndex(e, word[1:])
		if !ok {
			t.Fatalf("no signal %q", word[1:])
		}
		r.p.Give(r.s, r.now, e, signal, word[0] == '+', r.event, r)
		return
	}
	faults := map[string]Fault{"repaired": NoFault, "stuck": Stuck, "slow": Slow, "unproven": Unproven}
	fault, ok := faults[words[1]]
	if !ok {
		t.Fatalf("no fault %q", words[1])
	}
	factor := 0.0
	if len(words) > 2 {
		factor, _ = strconv.ParseFloat(words[2], 64)
	}
	r.p.SetFault(r.s, r.now, e, fault, factor, r.event, r)
}

func seconds(s float64) *durationpb.Duration {
	return durationpb.New(time.Duration(s * float64(time.Second)))
}

func named(id string, eq *pb.Equipment) *pb.Equipment {
	eq.Equipment = id
	return eq
}

// The equipment of the tables. Times are round numbers chosen for the tests.
func aLift() *pb.Equipment {
	return named("lift", &pb.Equipment{Kind: &pb.Equipment_Lift{Lift: &pb.Lift{
		Floors: []string{"B1", "G", "L1", "L2"}, RecallFloor: "G", AlternateFloor: "L1",
		FloorTime: seconds(4), DoorTime: seconds(3)}}})
}

// aLiftAt is aLift that stands at another floor than the highest.
func aLiftAt(floor string) *pb.Equipment {
	lift := aLift()
	lift.GetLift().StartFloor = floor
	return lift
}

func aFan(atRest bool) *pb.Equipment {
	return named("fan", &pb.Equipment{Kind: &pb.Equipment_Fan{Fan: &pb.Fan{
		RunUp: seconds(12), RunDown: seconds(24), RunsAtRest: atRest}}})
}

func aDamper(atRest string) *pb.Equipment {
	return named("damper", &pb.Equipment{Kind: &pb.Equipment_Damper{Damper: &pb.Damper{
		Travel: seconds(15), AtRest: atRest}}})
}

func aHolder() *pb.Equipment {
	return named("door", &pb.Equipment{Kind: &pb.Equipment_DoorHolder{DoorHolder: &pb.DoorHolder{Closing: seconds(5)}}})
}

func aLock() *pb.Equipment {
	return named("lock", &pb.Equipment{Kind: &pb.Equipment_DoorLock{DoorLock: &pb.DoorLock{ReleaseTime: seconds(0.5)}}})
}

func anAnnouncement() *pb.Equipment {
	return named("voice", &pb.Equipment{Kind: &pb.Equipment_Announcement{Announcement: &pb.Announcement{
		Messages: []string{"evacuate", "alert"}, Start: seconds(2)}}})
}

func aTrip(id string, cuts ...string) *pb.Equipment {
	return named(id, &pb.Equipment{Kind: &pb.Equipment_Trip{Trip: &pb.Trip{Cuts: cuts, TripTime: seconds(0.1)}}})
}

func aValve(reopens bool) *pb.Equipment {
	return named("valve", &pb.Equipment{Kind: &pb.Equipment_Valve{Valve: &pb.Valve{Closing: seconds(5), Reopens: reopens}}})
}

func aRelease(holdOff string) *pb.Equipment {
	return named("gas", &pb.Equipment{Kind: &pb.Equipment_Release{Release: &pb.Release{
		Countdown: seconds(30), HoldOff: holdOff}}})
}

func aDialler() *pb.Equipment {
	return named("dialler", &pb.Equipment{Kind: &pb.Equipment_Dialler{Dialler: &pb.Dialler{Receipt: seconds(20)}}})
}

// aPatientDialler calls as often as is said, with 10 s between.
func aPatientDialler(attempts uint32) *pb.Equipment {
	d := aDialler()
	d.GetDialler().Attempts, d.GetDialler().RetryAfter = &attempts, seconds(10)
	return d
}

func aSiren() *pb.Equipment {
	return named("siren", &pb.Equipment{Kind: &pb.Equipment_Siren{Siren: &pb.Siren{RunUp: seconds(2)}}})
}

func aBms() *pb.Equipment {
	return named("bms", &pb.Equipment{Kind: &pb.Equipment_Bms{Bms: &pb.Bms{SeenAfter: seconds(1)}}})
}

func aGeneric() *pb.Equipment {
	return named("thing", &pb.Equipment{Kind: &pb.Equipment_Generic{Generic: &pb.Generic{Takes: seconds(1)}}})
}

func deEnergise(eq *pb.Equipment, inputs ...string) *pb.Equipment {
	eq.DeenergiseToOperate = inputs
	return eq
}

// oneOfEach is a site with every kind: for checks that go over everything.
func oneOfEach() []*pb.Equipment {
	return []*pb.Equipment{
		aLift(), aFan(false), aDamper(""), aHolder(), aLock(), anAnnouncement(), aTrip("trip", "lift", "fan", "lock", "voice", "main"),
		aValve(true), aRelease(""), aDialler(), aSiren(), aBms(), aGeneric(), deEnergise(aTrip("main", "siren", "bms", "gas", "dialler"), "trip"),
		named("supply-fan", aFan(true)), named("shut-damper", deEnergise(aDamper("closed"), "open")),
	}
}
