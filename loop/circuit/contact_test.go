package circuit

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// What a contact may switch. Rating of small field relays, derating of d.c. coils to 0.4 of the
// resistive rating, suppression diodes, and contactors behind an interposing relay: common
// practice.
func TestCheckContact(t *testing.T) {
	small := Rating{VoltsV: 30, AmpsA: 2}
	coil := func(volts, milliA float64, diode bool) ContactLoad {
		return ContactLoad{VoltsV: volts, MilliA: milliA, Diode: diode}
	}
	for _, c := range []struct {
		name   string
		rating Rating
		load   ContactLoad
		want   []string
	}{
		{"an interposing relay", small, coil(24, 120, true), nil},
		{"just within the derated current", small, coil(24, 800, true), nil},
		{"just above it", small, coil(24, 801, true), []string{"contact.current"}},
		{"no diode", small, coil(24, 120, false), []string{"contact.no-diode"}},
		{"mains on an extra-low voltage contact", small, coil(230, 100, false), []string{"contact.voltage"}},
		{"mains on a mains contact: no derating, no diode", Rating{250, 5}, coil(230, 4900, false), nil},
		{"mains, too much", Rating{250, 5}, coil(230, 5100, false), []string{"contact.current"}},
		{"mains, current rating not written", Rating{VoltsV: 250}, coil(230, 600, false), []string{"contact.current"}},
		{"nothing written", Rating{}, coil(24, 801, true), []string{"contact.current"}},
		{"an electronic input", Rating{}, ContactLoad{VoltsV: 24, Electronic: true}, nil},
		{"an electronic input on mains", small, ContactLoad{VoltsV: 230, Electronic: true}, []string{"contact.voltage"}},
		{"a fan's control relay", small, ContactLoad{VoltsV: 24, MilliA: 120, Diode: true, Starter: true}, nil},
		{"a fan's contactor on 24 V", Rating{30, 5}, ContactLoad{VoltsV: 24, MilliA: 900, Diode: true, Starter: true}, []string{"contact.drives-contactor"}},
		{"a fan's contactor on mains", Rating{250, 5}, ContactLoad{VoltsV: 230, MilliA: 100, Starter: true}, []string{"contact.drives-contactor"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			load := c.load
			load.Electronic = load.MilliA == 0
			var codes []string
			for _, f := range CheckContact("loops[0].devices[4].relay_module.contact", "hall-fan/start", c.rating, load) {
				codes = append(codes, f.GetCode())
				if !strings.HasPrefix(f.GetPath(), "loops[0].devices[4].relay_module.contact") || f.GetDetail() == "" || !strings.Contains(f.GetTitle(), "hall-fan/start") {
					t.Errorf("finding %v", f)
				}
			}
			if !slices.Equal(codes, c.want) {
				t.Errorf("got %v, want %v", codes, c.want)
			}
		})
	}
}

// The load of a contact comes from the equipment; without figures it is an electronic input at
// 24 V.
func TestLoadOf(t *testing.T) {
	fan := &pb.Equipment{Kind: &pb.Equipment_Fan{Fan: &pb.Fan{CoilMa: new(120.0), CoilDiode: true}}}
	if got := LoadOf(fan); got != (ContactLoad{VoltsV: 24, MilliA: 120, Diode: true, Starter: true}) {
		t.Errorf("fan: %+v", got)
	}
	valve := &pb.Equipment{Kind: &pb.Equipment_Valve{Valve: &pb.Valve{Coil: &pb.Coil{CoilV: new(230.0), CoilMa: new(80.0)}}}}
	if got := LoadOf(valve); got != (ContactLoad{VoltsV: 230, MilliA: 80}) {
		t.Errorf("valve: %+v", got)
	}
	bms := &pb.Equipment{Kind: &pb.Equipment_Bms{Bms: &pb.Bms{}}}
	if got := LoadOf(bms); got != (ContactLoad{VoltsV: 24, Electronic: true}) {
		t.Errorf("bms: %+v", got)
	}
}

// The coil that a file gives is the load, for every kind of equipment that may have one (schema: Coil).
func TestCoilOfEveryKind(t *testing.T) {
	kinds := (&pb.Equipment{}).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	coils := 0
	for i := range kinds.Len() {
		eq := &pb.Equipment{}
		kind := eq.ProtoReflect().Mutable(kinds.Get(i)).Message()
		coil := kind.Descriptor().Fields().ByName("coil")
		if coil == nil {
			continue
		}
		coils++
		kind.Set(coil, protoreflect.ValueOfMessage((&pb.Coil{CoilV: new(48.0), CoilMa: new(77.0), CoilDiode: true}).ProtoReflect()))
		if got := LoadOf(eq); got.VoltsV != 48 || got.MilliA != 77 || !got.Diode || got.Electronic {
			t.Errorf("%s: %+v", kinds.Get(i).Name(), got)
		}
	}
	if coils < 11 {
		t.Errorf("only %d kinds have a coil", coils)
	}
}

// Every default of the package is listed with a source.
func TestDefaults(t *testing.T) {
	seen := map[string]bool{}
	for _, d := range Defaults() {
		if d.Key == "" || d.Value == "" || d.Source == "" || seen[d.Key] {
			t.Errorf("default %+v", d)
		}
		seen[d.Key] = true
	}
}
