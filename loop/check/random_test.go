package check

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/loop/wire"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// A time without devices is found from two runs of each section: trying every run finds no longer
// one. And what one fault loses never depends on the order in which faults are placed.
func TestSampledRuns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site := randomSite(t, false)
		in, found := loop.Compile(site)
		if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("%v", found)
		}
		for l := range in.Loops {
			n, visits := in.Loops[l].Wire, in.Visits(l)
			longest := func(runs []int32) (most time.Duration) {
				for _, r := range runs {
					most = max(most, n.Blind(r, visits))
				}
				return most
			}
			var all []int32
			for r := range int32(n.Runs()) {
				all = append(all, r)
			}
			if some, every := longest(sampleRuns(site.GetLoops()[l], n)), longest(all); some != every {
				t.Errorf("loop %d: %v of two runs each, %v of all", l, some, every)
			}
			for _, f := range losses(n) {
				kind := wire.Short
				if f.what == "break" {
					kind = wire.Break
				}
				if lost := n.Survey().Lost(kind, f.run, nil); !slices.Equal(lost, f.lost) {
					t.Errorf("loop %d, %s in run %d: %v and %v", l, f.what, f.run, f.lost, lost)
				}
			}
		}
	})
}

// Whatever loop.Compile accepts is judged without a panic, twice alike, with figures that are numbers.
func TestAbsurdSites(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		site := randomSite(t, true)
		in, found := loop.Compile(site)
		if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("%v", found)
		}
		before := proto.CloneOf(site)
		first, again := Check(site, in), Check(site, in)
		if !slices.EqualFunc(first, again, func(a, b *pb.Finding) bool { return proto.Equal(a, b) }) {
			t.Error("judged twice, and not alike")
		}
		figures := Calculate(site, in)
		finite(t, figures.ProtoReflect(), "")
		if !proto.Equal(before, site) {
			t.Error("the site was changed")
		}
		for _, f := range first {
			if f.GetClause() == "" || f.GetPath() == "" {
				t.Errorf("a finding without a clause or a path: %v", f)
			}
		}
		for _, c := range figures.GetCircuits() {
			for _, l := range c.GetLoads() {
				if c.GetEndOfLineV() > l.GetVoltageV()+1e-6 && !constantPower(site) {
					t.Errorf("%s: the end-of-line method gives %v V and the load %s has %v V", c.GetOutput(), c.GetEndOfLineV(), l.GetLoad(), l.GetVoltageV())
				}
			}
		}
	})
}

// constantPower tells whether a load of a site takes constant power, whose current in the two methods differs.
func constantPower(site *pb.Site) (found bool) {
	for _, l := range site.GetLoops() {
		for _, d := range l.GetDevices() {
			for _, load := range d.GetControlModule().GetCircuit().GetLoads() {
				found = found || load.GetSounder().PowerW != nil
			}
		}
	}
	return found
}

// finite walks a message for numbers that are none.
func finite(t *rapid.T, m protoreflect.Message, path string) {
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		at := path + "." + string(fd.Name())
		switch {
		case fd.IsMap():
		case fd.IsList() && fd.Message() != nil:
			for i := range v.List().Len() {
				finite(t, v.List().Get(i).Message(), fmt.Sprintf("%s[%d]", at, i))
			}
		case fd.Message() != nil:
			finite(t, v.Message(), at)
		case fd.Kind() == protoreflect.DoubleKind && (math.IsNaN(v.Float()) || math.IsInf(v.Float(), 0)):
			t.Errorf("%s is %v", at, v.Float())
		}
		return true
	})
}

// randomSite is a site of one to three loops, with spurs, isolators, contacts, circuits and supplies.
// Absurd figures are those at the ends of what the schema allows.
func randomSite(t *rapid.T, absurd bool) *pb.Site {
	figure := func(name string, usual, least, most float64) *float64 {
		if absurd && rapid.IntRange(0, 3).Draw(t, name+" is absurd") == 0 {
			return new(rapid.SampledFrom([]float64{least, most}).Draw(t, name))
		}
		return new(rapid.Float64Range(0.1, 1).Draw(t, name) * usual)
	}
	coin := func(name string) bool { return rapid.Bool().Draw(t, name) }
	word := func(name string, words ...string) string { return rapid.SampledFrom(words).Draw(t, name) }
	site := &pb.Site{
		Site: "x", Rules: &pb.Rules{Packs: rapid.SampledFrom([][]string{{"nfpa72"}, {"en54"}, {"bs5839-1"}, {"en54", "nfpa72", "bs5839-1"}}).Draw(t, "packs")},
		Places:   []*pb.Place{{Place: "g", Floor: "G", AreaM2: figure("area", 3000, 0, 1e7)}, {Place: "up", Floor: "1"}},
		Zones:    []*pb.Zone{{Zone: "z1"}, {Zone: "z2"}},
		Supplies: []*pb.Supply{{Supply: "psu", VoltageV: new(24.0), BatteryAh: figure("battery", 20, 0, 2000), StandbyMa: figure("standby", 500, 0, 1e5), CurrentLimitA: figure("limit", 3, 1e-3, 200)}},
		Equipment: []*pb.Equipment{
			{Equipment: "fan", Kind: &pb.Equipment_Fan{Fan: &pb.Fan{CoilMa: figure("coil", 900, 0, 1e5), CoilDiode: coin("diode")}}},
			{Equipment: "door", DeenergiseToOperate: []string{"hold"}, Kind: &pb.Equipment_DoorHolder{DoorHolder: &pb.DoorHolder{Category: word("category", "", "a", "b", "c")}}},
		},
	}
	if coin("old edition") {
		site.Rules.Edition = new(uint32(2013))
	}
	if coin("panel") {
		site.Panel = &pb.Panel{Supply: &pb.PanelSupply{StandbyMa: figure("panel standby", 300, 0, 1e5), AlarmMa: figure("panel alarm", 300, 0, 1e5)}}
	}
	for number := range uint32(rapid.IntRange(1, 3).Draw(t, "loops")) {
		l := &pb.Loop{Loop: new(number + 1), Wiring: word("wiring", "ring", "branch"), RequiredClass: word("class", "", "a", "b", "x"),
			Driver: &pb.Driver{VoltageV: new(28.0), CurrentLimitMa: figure("driver", 400, 1e-3, 1e4)}, Cable: &pb.Cable{OhmPerKm: figure("cable", 12, 1e-3, 1e4)}}
		if l.GetWiring() == "ring" {
			l.ReturnCableM = figure("return", 30, 0, 1e4)
		}
		for address := range uint32(rapid.IntRange(0, 30).Draw(t, "devices")) {
			l.Devices = append(l.Devices, randomDevice(t, l, address+1, figure))
		}
		site.Loops = append(site.Loops, l)
	}
	return site
}

// randomDevice is one entry of a loop.
func randomDevice(t *rapid.T, l *pb.Loop, address uint32, figure func(name string, usual, least, most float64) *float64) *pb.Device {
	d := &pb.Device{Label: fmt.Sprintf("%d-%d", l.GetLoop(), address), CableM: figure("run", 60, 0, 1e4), Place: rapid.SampledFrom([]string{"g", "up"}).Draw(t, "place")}
	if rapid.IntRange(0, 6).Draw(t, "alone") == 0 {
		d.Isolator = &pb.Isolator{}
		return d
	}
	d.Address = new(address)
	if rapid.IntRange(0, 3).Draw(t, "isolator") == 0 {
		d.Isolator = &pb.Isolator{}
	}
	var before []uint32
	for _, other := range l.GetDevices() {
		if other.Address != nil {
			before = append(before, other.GetAddress())
		}
	}
	if len(before) > 0 && rapid.IntRange(0, 7).Draw(t, "spur") == 0 {
		d.SpurFrom = new(rapid.SampledFrom(before).Draw(t, "from"))
	}
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		d.Kind = &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: &pb.Contact{AtRest: "closed", OnLoopLoss: "rests"}, Drives: &pb.Drive{Equipment: "door", Input: "hold"}}}
	case 1:
		d.Kind = &pb.Device_RelayModule{RelayModule: &pb.RelayModule{Contact: &pb.Contact{AmpsA: figure("rating", 2, 1e-3, 100)}, Drives: &pb.Drive{Equipment: "fan", Input: "start"}}}
	case 2:
		k := &pb.Circuit{EndOfLineOhm: new(4700.0), Cable: &pb.Cable{OhmPerKm: figure("circuit cable", 12, 1e-3, 1e4)}}
		if rapid.Bool().Draw(t, "ring circuit") {
			k.Wiring, k.ReturnCableM = "ring", figure("circuit return", 60, 0, 1e4)
		}
		for i := range rapid.IntRange(0, 4).Draw(t, "loads") {
			a := &pb.Appliance{CurrentMa: figure("current", 200, 1e-3, 1e5)}
			if rapid.Bool().Draw(t, "constant power") {
				a = &pb.Appliance{PowerW: figure("power", 4, 1e-3, 2000)}
			}
			k.Loads = append(k.Loads, &pb.Load{Label: fmt.Sprintf("%s-%d", d.GetLabel(), i), CableM: figure("load run", 60, 0, 1e4), Kind: &pb.Load_Sounder{Sounder: a}})
		}
		d.Kind = &pb.Device_ControlModule{ControlModule: &pb.ControlModule{Supply: "psu", Circuit: k}}
	default:
		d.Zone = rapid.SampledFrom([]string{"z1", "z2"}).Draw(t, "zone")
		d.Kind = &pb.Device_SmokeDetector{SmokeDetector: &pb.SmokeDetector{}}
	}
	return d
}
