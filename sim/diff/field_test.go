package diff

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// fields calls change for every number, duration and yes or no that a message holds: change alters it and
// returns what puts it back.
func fields(m protoreflect.Message, path string, visit func(path string, name protoreflect.FullName, change func() (undo func()))) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		at := path + "." + string(fd.Name())
		set := func(to protoreflect.Value) func() (undo func()) {
			return func() func() {
				was := m.Get(fd)
				m.Set(fd, to)
				return func() { m.Set(fd, was) }
			}
		}
		switch {
		case fd.IsList() && fd.Message() != nil:
			for i := range v.List().Len() {
				fields(v.List().Get(i).Message(), fmt.Sprintf("%s[%d]", at, i), visit)
			}
		case fd.IsList():
		case isDuration(fd):
			d, _ := v.Message().Interface().(*durationpb.Duration)
			visit(at, fd.FullName(), set(protoreflect.ValueOfMessage(durationpb.New(d.AsDuration()+time.Second).ProtoReflect())))
		case fd.Message() != nil:
			fields(v.Message(), at, visit)
		case fd.Kind() == protoreflect.BoolKind:
			visit(at, fd.FullName(), set(protoreflect.ValueOfBool(!v.Bool())))
		case fd.Kind() == protoreflect.DoubleKind:
			visit(at, fd.FullName(), set(protoreflect.ValueOfFloat64(v.Float()*1.25)))
		case fd.Kind() == protoreflect.Uint32Kind:
			visit(at, fd.FullName(), set(protoreflect.ValueOfUint32(uint32(v.Uint())+60)))
		}
		return true
	})
}

// TestEveryFieldCounts: whichever number, duration or yes or no of a file is changed, the sites are different;
// none is passed over.
func TestEveryFieldCounts(t *testing.T) {
	tried := 0
	for _, text := range []string{bench + program, office} {
		old := read(t, text)
		m := proto.CloneOf(old.Site)
		fields(m.ProtoReflect(), "", func(path string, name protoreflect.FullName, change func() func()) {
			undo := change()
			defer undo()
			changed, ok := made(proto.CloneOf(m))
			if !ok {
				return
			}
			tried++
			if report := compare(t, old, changed); report.GetSame() {
				t.Errorf("%s is changed, and the sites are said to be the same", path)
			}
		})
	}
	if tried < 60 {
		t.Errorf("only %d fields were changed", tried)
	}
}

// TestEveryWordOfPanelCounts: each setting of the panel and of a loop's polling that can be written, where the
// file leaves it out, makes a difference.
func TestEveryWordOfPanelCounts(t *testing.T) {
	old := read(t, bench+program)
	for name, change := range map[string]func(m *pb.Site){
		"out_of_turn":         func(m *pb.Site) { m.Loops[0].Line = &pb.Line{OutOfTurn: true} },
		"probe_unused":        func(m *pb.Site) { m.Loops[0].Line = &pb.Line{ProbeUnused: true} },
		"shared_commands":     func(m *pb.Site) { m.Loops[0].Line = &pb.Line{SharedCommands: true} },
		"reply_current_check": func(m *pb.Site) { m.Loops[0].Line = &pb.Line{ReplyCurrentCheck: true} },
		"commands_between":    func(m *pb.Site) { m.Loops[0].Line = &pb.Line{CommandsBetweenVisits: new(uint32(1))} },
		"missed_replies":      func(m *pb.Site) { m.Loops[0].Line = &pb.Line{MissedReplies: new(uint32(5))} },
		"error_rate":          func(m *pb.Site) { m.Loops[0].Line = &pb.Line{ErrorRate: new(0.01)} },
		"latched fault":       func(m *pb.Site) { m.Panel = &pb.Panel{Latched: []string{"fault"}} },
		"latched supervisory": func(m *pb.Site) { m.Panel = &pb.Panel{Latched: []string{"supervisory"}} },
		"mode":                func(m *pb.Site) { m.Panel = &pb.Panel{Mode: "night"} },
		"switch_time":         func(m *pb.Site) { m.Panel = &pb.Panel{SwitchTime: durationpb.New(2 * time.Millisecond)} },
		"fault sounds again":  func(m *pb.Site) { m.Panel = &pb.Panel{FaultSoundsAgain: durationpb.New(time.Hour)} },
		"restart time":        func(m *pb.Site) { m.Panel = &pb.Panel{RestartTime: durationpb.New(time.Minute)} },
		"cadence":             func(m *pb.Site) { m.Panel = &pb.Panel{Cadences: &pb.Cadences{Evacuate: "continuous"}} },
		"calendar": func(m *pb.Site) {
			m.Panel = &pb.Panel{Calendar: []*pb.ModeChange{{Days: []string{"mon"}, At: durationpb.New(0), Mode: "day"}}}
		},
		"panel supply":          func(m *pb.Site) { m.Panel = &pb.Panel{Supply: &pb.PanelSupply{VoltageV: new(28.0)}} },
		"a limit":               func(m *pb.Site) { m.Rules.Limits = []*pb.Limit{{Limit: "loop_length_m", Value: new(1200.0)}} },
		"a second pack":         func(m *pb.Site) { m.Rules.Packs = append(m.Rules.Packs, "en54") },
		"a place's use":         func(m *pb.Site) { m.Places[0].Use = "stair" },
		"a place's floor":       func(m *pb.Site) { m.Places[0].Floor = "B2" },
		"a zone's title":        func(m *pb.Site) { m.Zones[0].Title = "Another" },
		"return route":          func(m *pb.Site) { m.Loops[0].ReturnRoute = "same" },
		"required class":        func(m *pb.Site) { m.Loops[0].RequiredClass = "x" },
		"an isolator less":      func(m *pb.Site) { m.Loops[0].Devices[2].Isolator = nil },
		"a device's own cable":  func(m *pb.Site) { m.Loops[0].Devices[2].Cable = &pb.Cable{ConductorMm2: new(2.5)} },
		"a spur":                func(m *pb.Site) { m.Loops[0].Devices[4].SpurFrom = new(uint32(4)) },
		"what an input senses":  func(m *pb.Site) { m.Loops[0].Devices[6].GetInputModule().Senses = "valve-position" },
		"a control less":        func(m *pb.Site) { m.Program.Controls = append(m.Program.Controls, &pb.Control{Control: "spare"}) },
		"an equipment's inputs": func(m *pb.Site) { m.Equipment[0].GetFan().CoilMa = new(80.0) },
	} {
		m := proto.CloneOf(old.Site)
		change(m)
		changed, ok := made(m)
		if !ok {
			t.Errorf("%s: refused", name)
			continue
		}
		if report := compare(t, old, changed); report.GetSame() {
			t.Errorf("%s: said to be the same", name)
		}
	}
}
