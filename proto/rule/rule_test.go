package rule

import (
	"slices"
	"strings"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Which figure is in force, by packs, edition and what the file says. The sources stand in the
// table; here each row names why it is chosen.
func TestInForce(t *testing.T) {
	for _, c := range []struct {
		packs   string
		edition uint32
		name    string
		want    float64 // -1: none
		source  string
	}{
		{"nfpa72", 0, CallPointTarget, 10, "NFPA 72 10.11.1"},
		{"bs5839-1", 0, CallPointTarget, 3, "BS 5839-1"},
		{"bs5839-1 nfpa72", 0, CallPointTarget, 3, "BS 5839-1"}, // the first pack gives it
		{"nfpa72 bs5839-1", 0, CallPointTarget, 10, "NFPA 72"},
		{"nfpa72", 0, ZonesLost, 1, "2016 on"}, // 2022 where nothing is said
		{"nfpa72", 2016, ZonesLost, 1, "2016 on"},
		{"nfpa72", 2013, ZonesLost, -1, ""},
		{"nfpa72", 2013, DevicesLost, 50, "from memory"},
		{"nfpa72", 2022, DevicesLost, -1, ""},
		{"en54", 0, ZonesLost, -1, ""},
		{"nfpa72 en54", 0, FireInputsLost, 32, "EN 54-2 12.5, from memory"},
		{"nfpa72", 2021, BatteryMargin, 120, "NFPA 72 10.6.7"},
		{"nfpa72", 2022, BatteryMargin, 125, "2022 on"},
		{"en54", 0, LoopLength, 1500, "common practice"},
		{"", 0, StartVoltage, 21, "1.75 V a cell, common practice"},
	} {
		set := Of(&pb.Rules{Packs: strings.Fields(c.packs), Edition: &c.edition})
		l, ok := set.Lookup(c.name)
		if got := l.Value; ok != (c.want >= 0) || ok && (got != c.want || !strings.Contains(l.Source(), c.source)) {
			t.Errorf("%s %d: %s = %v (%v, %s), want %v from %s", c.packs, c.edition, c.name, got, ok, l.Source(), c.want, c.source)
		}
	}
}

// Each figure of a standard, written down a second time: a slip of the pen in the table shows here.
func TestFiguresTwice(t *testing.T) {
	for _, c := range []struct {
		pack, name string
		want       float64
		source     string
	}{
		{"bs5839-1", AreaLost, 2000, "BS 5839-1:2025"},
		{"bs5839-1", BesideLost, 5, "BS 5839-1:2025"},
		{"bs5839-1", ZoneArea, 2000, "BS 5839-1 13, from memory"},
		{"bs5839-1", OneZoneArea, 300, "BS 5839-1 13, from memory"},
		{"nfpa72", DetectorTarget, 10, "NFPA 72 10.11.1"},
		{"en54", DetectorTarget, 10, "EN 54-2 7.1, from memory"},
		{"en54", CallPointTarget, 10, "EN 54-2 7.7, from memory"},
		{"nfpa72", DialledWithin, 90, "NFPA 72 26.6.3"},
		{"nfpa72", FaultTime, 200, "NFPA 72 chapter 10"},
		{"en54", FaultTime, 100, "EN 54-2 8.1, from memory"},
		{"nfpa72", MainsFault, 200, "NFPA 72 chapter 10"},
		{"en54", MainsFault, 1800, "EN 54-4 5.4, BS 5839-1 12, from memory"},
		{"nfpa72", ChargerFault, 200, "NFPA 72 chapter 10"},
		{"en54", ChargerFault, 1800, "EN 54-4 5.4, BS 5839-1 12, from memory"},
		{"nfpa72", BatteryFault, 200, "NFPA 72 chapter 10"},
		{"en54", BatteryFault, 900, "EN 54-4 5.4, BS 5839-1 12, from memory"},
		{"nfpa72", LowBatteryFault, 200, "NFPA 72 chapter 10"},
		{"en54", LowBatteryFault, 1800, "EN 54-4 5.4, BS 5839-1 12, from memory"},
		{"nfpa72", FaultSoundsAgain, 24, "NFPA 72 chapter 10 (2019)"},
		{"nfpa72", AcknowledgeWithin, 15, "NFPA 72 23.8.1"},
		{"nfpa72", Investigation, 180, "NFPA 72 23.8.1"},
		{"nfpa72", VerificationAdds, 60, "NFPA 72 23.8.5.4, from memory"},
		{"nfpa72", VerificationWait, 60, "UL 864, UL 268, from memory"},
		{"en54", ReadyToConfirm, 60, "EN 54-2 7.12.1, from memory"},
		{"en54", FirstSignalDrops, 30, "EN 54-2 7.12, from memory"},
		{"en54", DelayInAll, 10, "EN 54-2 7.11, from memory"},
		{"nfpa72", ProofOfFan, 60, "NFPA 92, from memory"},
		{"nfpa72", ProofOfDamper, 75, "NFPA 92, from memory"},
		{"nfpa72", Proof, 200, "UL 864, from memory"},
		{"nfpa72", StartVoltage, 20.4, "0.85 x 24 V, NFPA 72 10.3"},
		{"nfpa72", LoadVoltage, 16, "UL 464, UL 1971"},
		{"nfpa72", BatteryStandby, 24, "NFPA 72 10.6.7"},
		{"bs5839-1", BatteryStandby, 24, "BS 5839-1 25"},
		{"nfpa72", BatteryAlarm, 5, "NFPA 72 10.6.7"},
		{"bs5839-1", BatteryAlarm, 30, "BS 5839-1 25"},
		{"nfpa72", BatteryVoice, 15, "NFPA 72 10.6.7"},
		{"bs5839-1", BatteryMargin, 125, "BS 5839-1, annex on battery capacity"},
		{"bs5839-1", BatteryHighRate, 175, "BS 5839-1, annex on battery capacity"},
		{"nfpa72", DischargeDelay, 20, "guide specifications for CO2"},
	} {
		l, ok := Of(&pb.Rules{Packs: []string{c.pack}}).Lookup(c.name)
		if !ok || l.Value != c.want || !strings.Contains(l.Source(), c.source) {
			t.Errorf("%s: %s = %v (%v, %s), want %v from %s", c.pack, c.name, l.Value, ok, l.Source(), c.want, c.source)
		}
	}
}

// A file's value stands in place of the pack's, says so, and gives the reason.
func TestOverride(t *testing.T) {
	set := Of(&pb.Rules{Packs: []string{"nfpa72"}, Limits: []*pb.Limit{{Limit: ProofOfFan, Value: new(90.0), Why: "the fan's data sheet"}}})
	l := set.Of(ProofOfFan)
	if l.Duration() != 90*time.Second || l.Source() != "rules.limits of the file, in place of 60 (NFPA 92, from memory): the fan's data sheet" {
		t.Errorf("%v %q", l.Duration(), l.Source())
	}
	if over := set.Overridden(); len(over) != 1 || over[0].Name != ProofOfFan {
		t.Errorf("overridden: %v", over)
	}
	if set.Duration(DelayInAll) != 10*time.Minute || set.Duration(FaultSoundsAgain) != 24*time.Hour || set.Of(LoopCapacitance).Micro() != 360_000 {
		t.Error("what is not overridden has changed")
	}
}

// What is wrong with limits of a file.
func TestCheck(t *testing.T) {
	found := Check(&pb.Rules{Packs: []string{"en54"}, Limits: []*pb.Limit{
		{Limit: "loop_lengt_m", Value: new(2.0)}, {Limit: LoopLength, Value: new(2000.0)}, {Limit: LoopLength, Value: new(2000.0)},
		{Limit: ZonesLost, Value: new(2.0)}, {Limit: BatteryMargin, Value: new(1e9)},
	}})
	var got []string
	for _, f := range found {
		got = append(got, f.GetCode()+" "+f.GetPath()+" "+f.GetDetail())
	}
	want := []string{`reference.unknown rules.limits[0].limit did you mean "loop_length_m"?`, "reference.duplicate rules.limits[2].limit keep one of the two",
		"rules.limit-without-effect rules.limits[3].limit it changes nothing; name the pack that has it, or take it out", "value.range rules.limits[4].value at most 200"}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s", strings.Join(got, "\n"))
	}
}

// The table itself: a name ends in its unit; a figure is written once for each pack and edition; whoever is
// not confirmed says so; every pack or every edition is served where some row of the name has all.
func TestTable(t *testing.T) {
	for i, a := range Table() {
		unit := strings.ToLower(a.Unit)
		if unit == "" {
			unit = "count"
		}
		if !strings.HasSuffix(a.Name, "_"+unit) {
			t.Errorf("%s is in %q", a.Name, a.Unit)
		}
		if a.Standard == "" && a.Confidence != CommonPractice {
			t.Errorf("%s rests on nothing", a.Name)
		}
		if a.Value <= 0 || a.Most > 0 && a.Value > a.Most {
			t.Errorf("%s = %g of at most %g", a.Name, a.Value, a.Most)
		}
		for _, b := range Table()[i+1:] {
			if a.Name != b.Name {
				continue
			}
			for edition := uint32(1990); edition <= 2030; edition++ {
				in := func(l Limit) bool { return edition >= l.From && (l.Before == 0 || edition < l.Before) }
				if in(a) && in(b) && (len(a.Packs) == 0 || len(b.Packs) == 0 || slices.ContainsFunc(a.Packs, func(p string) bool { return slices.Contains(b.Packs, p) })) {
					t.Errorf("%s stands twice in edition %d", a.Name, edition)
					break
				}
			}
		}
	}
}

// The two ends of a drop calculation: 24 V equipment works from 85 % to 110 % (NFPA 72 10.3), so it starts
// at 20.4 V; 16 V is the least of the regulated range (UL 464, UL 1971). Under en54 and bs5839-1 the
// battery's 21.0 V (1.75 V a cell) and 18 V, common practice.
func TestVoltages(t *testing.T) {
	for pack, want := range map[string][2]float64{"nfpa72": {0.85 * 24, 16}, "en54": {21, 18}, "bs5839-1": {12 * 1.75, 18}} {
		set := Of(&pb.Rules{Packs: []string{pack}})
		if got := [2]float64{set.Value(StartVoltage), set.Value(LoadVoltage)}; got != want {
			t.Errorf("%s: got %v, want %v", pack, got, want)
		}
	}
}

// A mistyped pack is refused by the schema's own rule; until then the others compile with figures.
func TestUnknownPack(t *testing.T) {
	for _, packs := range [][]string{{"nfpa73"}, {"nfpa73", "en54"}, nil} {
		s := Of(&pb.Rules{Packs: packs})
		for _, name := range []string{DetectorTarget, CallPointTarget} {
			if s.Duration(name) <= 0 {
				t.Errorf("%v: %s is %v", packs, name, s.Duration(name))
			}
		}
	}
}
