package plant

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// TestNames holds the inputs and signals of every kind to a list: files, causes and
// scenarios use these words, so none may change unnoticed.
func TestNames(t *testing.T) {
	want := map[string]string{
		"lift":        "recall, alternate, hat-steady, hat-flash, power-off | at-floor, in-recall",
		"fan":         "start, stop | running, tripped",
		"damper":      "open, close | opened, closed",
		"door":        "hold | closed",
		"lock":        "hold | locked",
		"voice":       "message-evacuate, message-alert | speaking",
		"trip":        "trip | tripped, control-voltage",
		"valve":       "close | closed",
		"gas":         "release, hold-off | released, low-pressure",
		"dialler":     "alarm, fault, supervisory | acknowledged, failed",
		"siren":       "run | running",
		"bms":         "point | seen",
		"thing":       "operate | done",
		"main":        "trip | tripped, control-voltage",
		"supply-fan":  "start, stop | running, tripped",
		"shut-damper": "open, close | opened, closed",
	}
	all := oneOfEach()
	p := newRig(t, all...).p
	if len(all) != len(want) || p.Len() != len(want) {
		t.Fatalf("%d pieces, %d expectations, Len %d", len(all), len(want), p.Len())
	}
	for e, eq := range all {
		got := strings.Join(Inputs(eq), ", ") + " | " + strings.Join(Signals(eq), ", ")
		if got != want[p.ID(e)] {
			t.Errorf("%s: %s, want %s", p.ID(e), got, want[p.ID(e)])
		}
		for k, name := range Inputs(eq) {
			if at, ok := p.InputIndex(e, name); !ok || at != k || p.InputName(e, k) != name {
				t.Errorf("%s: input %s does not find itself", p.ID(e), name)
			}
		}
		for k, name := range Signals(eq) {
			if at, ok := p.SignalIndex(e, name); !ok || at != k || p.SignalName(e, k) != name {
				t.Errorf("%s: signal %s does not find itself", p.ID(e), name)
			}
		}
		if p.InputCount(e) != len(Inputs(eq)) || p.SignalCount(e) != len(Signals(eq)) {
			t.Errorf("%s: wrong counts", p.ID(e))
		}
		words := slices.Clone(p.States(e))
		slices.Sort(words)
		if len(slices.Compact(words)) != len(p.States(e)) || slices.Contains(words, "") {
			t.Errorf("%s: words %q are not distinct", p.ID(e), p.States(e))
		}
	}
	noAlternate := aLift()
	noAlternate.GetLift().AlternateFloor = ""
	if got := Inputs(noAlternate); slices.Contains(got, "alternate") {
		t.Errorf("a lift without an alternate floor has inputs %v", got)
	}
}

// TestAtRest: the states and signals of healthy equipment at t = 0 (common practice).
func TestAtRest(t *testing.T) {
	r := newRig(t, oneOfEach()...)
	var got []string
	for e := range r.p.Len() {
		line := r.p.ID(e) + " " + r.p.States(e)[r.p.StateIndex(r.s, e)]
		for k := range r.p.SignalCount(e) {
			if r.p.Signal(r.s, e, k) {
				line += " " + r.p.SignalName(e, k)
			}
		}
		got = append(got, line)
	}
	want := []string{
		// State, then signals that show: some have the same word.
		"lift in-service", "fan stopped", "damper open opened", "door held-open", "lock locked locked", "voice silent", //nolint:dupword // a state and its signal have one word
		"trip closed control-voltage", "valve open", "gas ready", "dialler idle", "siren silent", "bms normal", "thing at-rest",
		"main closed control-voltage", "supply-fan running running", "shut-damper closed closed", //nolint:dupword // the same
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if _, ok := r.p.Next(r.s); ok {
		t.Error("something is due on a settled plant")
	}
}

// TestTakes: by hand from the times of the rig.
func TestTakes(t *testing.T) {
	p := newRig(t, oneOfEach()...).p
	want := map[string]time.Duration{
		"lift/recall":    11 * time.Second, // L2 to G: 2 floors, doors
		"lift/alternate": 11 * time.Second, // B1 to L1: 2 floors, doors
		"lift/power-off": 0, "lift/hat-flash": 0,
		"fan/start": 12 * time.Second, "fan/stop": 24 * time.Second, "damper/close": 15 * time.Second,
		"door/hold": 5 * time.Second, "lock/hold": 500 * time.Millisecond, "voice/message-alert": 2 * time.Second,
		"trip/trip": 100 * time.Millisecond, "valve/close": 5 * time.Second, "gas/release": 30 * time.Second, "gas/hold-off": 0,
		"dialler/fault": 20 * time.Second, "siren/run": 2 * time.Second, "bms/point": time.Second, "thing/operate": time.Second,
	}
	for name, takes := range want {
		id, in, _ := strings.Cut(name, "/")
		e, _ := p.Lookup(id)
		k, ok := p.InputIndex(e, in)
		if got := p.Takes(e, k); !ok || got != takes {
			t.Errorf("%s takes %v, want %v", name, got, takes)
		}
	}
	if got := p.LongestTime(); got != 30*time.Second {
		t.Errorf("LongestTime %v", got)
	}
	// Doors of 10 s: from the open doors of the other landing, one floor away, 10 + 4 + 10 s.
	slowDoors := aLift()
	slowDoors.GetLift().DoorTime = seconds(10)
	if got := newRig(t, slowDoors).p.Takes(0, 0); got != 24*time.Second {
		t.Errorf("lift with slow doors takes %v", got)
	}
}

// TestProof: which signals prove, and by showing or by no longer showing.
func TestProof(t *testing.T) {
	p := newRig(t, oneOfEach()...).p
	nothing := []string{"fan/tripped", "supply-fan/tripped", "trip/control-voltage", "main/control-voltage", "gas/low-pressure", "dialler/failed"}
	byLoss := []string{"lock/locked", "supply-fan/running"}
	for e := range p.Len() {
		for k := range p.SignalCount(e) {
			name := p.ID(e) + "/" + p.SignalName(e, k)
			level, ok := p.Proof(e, k)
			if ok == slices.Contains(nothing, name) {
				t.Errorf("%s: proves is %v", name, ok)
			}
			if ok && level == slices.Contains(byLoss, name) {
				t.Errorf("%s: proves at level %v", name, level)
			}
		}
	}
}

// TestDefaults: a file that says nothing gets what the table says, and the table is the schema's
// (proto/loopdrill/v1/equipment.proto, comments).
func TestDefaults(t *testing.T) {
	kinds := map[string]*pb.Equipment{
		"lift.floor_time":        {Kind: &pb.Equipment_Lift{Lift: &pb.Lift{Floors: []string{"A", "B"}, RecallFloor: "A"}}},
		"fan.run_up":             {Kind: &pb.Equipment_Fan{Fan: &pb.Fan{}}},
		"damper.travel":          {Kind: &pb.Equipment_Damper{Damper: &pb.Damper{}}},
		"door_holder.closing":    {Kind: &pb.Equipment_DoorHolder{DoorHolder: &pb.DoorHolder{}}},
		"door_lock.release_time": {Kind: &pb.Equipment_DoorLock{DoorLock: &pb.DoorLock{}}},
		"announcement.start":     {Kind: &pb.Equipment_Announcement{Announcement: &pb.Announcement{Messages: []string{"a"}}}},
		"trip.trip_time":         {Kind: &pb.Equipment_Trip{Trip: &pb.Trip{}}},
		"valve.closing":          {Kind: &pb.Equipment_Valve{Valve: &pb.Valve{}}},
		"release.countdown":      {Kind: &pb.Equipment_Release{Release: &pb.Release{}}},
		"dialler.receipt":        {Kind: &pb.Equipment_Dialler{Dialler: &pb.Dialler{}}},
		"siren.run_up":           {Kind: &pb.Equipment_Siren{Siren: &pb.Siren{}}},
		"bms.seen_after":         {Kind: &pb.Equipment_Bms{Bms: &pb.Bms{}}},
		"generic.takes":          {Kind: &pb.Equipment_Generic{Generic: &pb.Generic{}}},
	}
	schema := map[string]string{
		"lift.floor_time": "4s", "lift.door_time": "3s", "fan.run_up": "12s", "fan.run_down": "20s", "damper.travel": "15s",
		"door_holder.closing": "5s", "door_lock.release_time": "500ms", "announcement.start": "1s", "trip.trip_time": "100ms",
		"valve.closing": "5s", "release.countdown": "30s", "dialler.receipt": "20s", "dialler.attempts": "3", "dialler.retry_after": "30s", "siren.run_up": "2s", "bms.seen_after": "1s",
		"generic.takes": "1s", "damper.at_rest": "open", "release.hold_off": "pauses", "plant_fault.factor": "2",
		"lift.start_floor": "the highest of floors", "fan.runs_at_rest": "false", "valve.reopens": "false",
	}
	extra := map[string]time.Duration{"lift.floor_time": 3 * time.Second} // the doors
	for _, d := range presets() {
		if schema[d.Key] != d.Value || d.Source == "" {
			t.Errorf("%s is %q (%q), want %q", d.Key, d.Value, d.Source, schema[d.Key])
		}
		delete(schema, d.Key)
		if eq := kinds[d.Key]; eq != nil {
			p, _ := Compile([]*pb.Equipment{eq})
			if got := p.Takes(0, 0); got != d.duration+extra[d.Key] {
				t.Errorf("%s: input takes %v, want %v", d.Key, got, d.duration)
			}
		}
	}
	if len(schema) > 0 {
		t.Errorf("not in the table: %v", schema)
	}
}

// TestTimesOfTheFile: whatever time a file gives, for any kind of equipment, is in the time that some input of it
// takes: as often as the way has floors, say. The pause of a dialler shows in no single report: TestMessages.
func TestTimesOfTheFile(t *testing.T) {
	const longer = 1009 * time.Second
	takes := func(eq *pb.Equipment) []time.Duration {
		p, found := Compile([]*pb.Equipment{eq})
		if len(found) > 0 {
			t.Fatal(found)
		}
		var all []time.Duration
		for in := range p.InputCount(0) {
			all = append(all, p.Takes(0, in))
		}
		return all
	}
	times := 0
	for _, eq := range []*pb.Equipment{aLift(), aFan(false), aDamper(""), aHolder(), aLock(), anAnnouncement(), aTrip("trip"), aValve(false), aRelease(""), aDialler(), aSiren(), aBms(), aGeneric()} {
		m := eq.ProtoReflect()
		kind := m.Get(m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))).Message()
		fields := kind.Descriptor().Fields()
		for i := range fields.Len() {
			field := fields.Get(i)
			if field.Message() == nil || field.Message().FullName() != "google.protobuf.Duration" || field.Name() == "retry_after" {
				continue
			}
			times++
			kind.Clear(field)
			given := kind.NewField(field).Message().Interface().(*durationpb.Duration)
			before := takes(eq)
			given.Seconds = int64(longer / time.Second)
			kind.Set(field, protoreflect.ValueOfMessage(given.ProtoReflect()))
			after := takes(eq)
			if slices.Equal(before, after) || slices.Max(after) < longer {
				t.Errorf("%s: %s of %v is in none of %v (%v without)", eq.GetEquipment(), field.Name(), longer, after, before)
			}
			kind.Clear(field)
		}
	}
	if times < 14 {
		t.Errorf("only %d times are in the schema", times)
	}
}

// TestFindings: what is wrong, where, and what would be right.
func TestFindings(t *testing.T) {
	cases := []struct {
		name string
		eq   []*pb.Equipment
		want []string
	}{
		{"good", oneOfEach(), nil},
		{"twice", []*pb.Equipment{aSiren(), aBms(), aSiren()}, []string{
			`reference.duplicate at equipment[2].equipment: equipment "siren" is defined twice`}},
		{"floors", []*pb.Equipment{named("l", &pb.Equipment{Kind: &pb.Equipment_Lift{Lift: &pb.Lift{
			Floors: []string{"ground", "first"}, RecallFloor: "grund", AlternateFloor: "2", StartFloor: "3"}}})}, []string{
			`reference.unknown at equipment[0].lift.recall_floor: this lift has no floor "grund" (did you mean "ground"?)`,
			`reference.unknown at equipment[0].lift.alternate_floor: this lift has no floor "2"`,
			`reference.unknown at equipment[0].lift.start_floor: this lift has no floor "3"`}},
		{"same landing", []*pb.Equipment{named("l", &pb.Equipment{Kind: &pb.Equipment_Lift{Lift: &pb.Lift{
			Floors: []string{"G", "1"}, RecallFloor: "G", AlternateFloor: "G"}}})}, []string{
			`equipment.same-landing at equipment[0].lift.alternate_floor: both landings are floor "G"`}},
		{"cuts", []*pb.Equipment{aTrip("a", "siern", "a"), aSiren()}, []string{
			`reference.unknown at equipment[0].trip.cuts[0]: there is no equipment "siern" (did you mean "siren"?)`,
			`equipment.cuts-itself at equipment[0].trip.cuts[1]: trip "a" cuts its own power, directly or through another trip`}},
		{"circle", []*pb.Equipment{aTrip("a", "b"), aTrip("b", "c"), aTrip("c", "a")}, []string{
			`equipment.cuts-itself at equipment[2].trip.cuts[0]: trip "c" cuts its own power, directly or through another trip`}},
		{"inputs", []*pb.Equipment{deEnergise(aSiren(), "start"), deEnergise(aFan(false), "all", "stop")}, []string{
			`reference.unknown at equipment[0].deenergise_to_operate[0]: this equipment has no input "start"`,
			"equipment.all-and-more at equipment[1].deenergise_to_operate[0]: `all` stands beside other inputs"}},
		{"no alternate", []*pb.Equipment{deEnergise(named("l", &pb.Equipment{Kind: &pb.Equipment_Lift{Lift: &pb.Lift{
			Floors: []string{"G", "1"}, RecallFloor: "G"}}}), "alternate")}, []string{
			`reference.unknown at equipment[0].deenergise_to_operate[0]: the lift has no input "alternate"`}},
	}
	for _, c := range cases {
		_, found := Compile(c.eq)
		var got []string
		for _, f := range found {
			line := fmt.Sprintf("%s at %s: %s", f.GetCode(), f.GetPath(), f.GetTitle())
			if strings.HasPrefix(f.GetDetail(), "did you mean") {
				line += " (" + f.GetDetail() + ")"
			}
			if f.GetDetail() == "" {
				t.Errorf("%s: %s has no remedy", c.name, line)
			}
			got = append(got, line)
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
}

// TestDeEnergise: `all` stands for every input, a name for itself.
func TestDeEnergise(t *testing.T) {
	p := newRig(t, deEnergise(aLift(), "recall"), named("door-2", deEnergise(aHolder(), "all")), aSiren()).p
	for e, want := range [][]bool{{true, false, false, false, false}, {true}, {false}} {
		for in, operates := range want {
			if got := p.DeEnergise(e, in); got != operates {
				t.Errorf("%s/%s: %v", p.ID(e), p.InputName(e, in), got)
			}
		}
	}
}
