package power

import (
	"math"
	"slices"
	"testing"
	"time"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

func ah(micro int64) float64 { return float64(micro) / 1e6 }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %v, want %v (within %g)", what, got, want, tolerance)
	}
}

// NFPA 72 10.6.7. The first two rows are published: training quizzes (0.25 A for 24 h and 1.5 A for
// 5 min are 6.125 Ah before the margin; 0.5 A and 2 A with 20 % are 14.6 Ah, which the answer key of
// ecmag.com/magazine/quizzes/quiz-detail/fire-alarm-requirements-of-nfpa-72 rounds to 14.5). The
// margin of 25 % from 2022, 20 % before, and 15 min with speech: the same kind of source. The other
// figures are computed.
func TestNFPA72(t *testing.T) {
	first, second := Need{250_000, 1_500_000}, Need{500_000, 2_000_000}
	if z := NFPA72(first, rulesOf("nfpa72", 2022), false); z.StandbyMicroAh+z.AlarmMicroAh != 6_125_000 {
		t.Errorf("before the margin: %d + %d uAh", z.StandbyMicroAh, z.AlarmMicroAh)
	}
	for _, c := range []struct {
		need    Need
		edition uint32
		voice   bool
		want    float64
	}{
		{first, 2019, false, 7.35},
		{first, 2022, false, 7.65625},
		{second, 2019, false, 14.60},
		{second, 2022, false, 15.208334},
		{second, 2016, true, 15.0},
	} {
		z := NFPA72(c.need, rulesOf("nfpa72", c.edition), c.voice)
		near(t, "Ah", ah(z.RequiredMicroAh), c.want, 1e-6)
	}
	near(t, "the answer key", ah(NFPA72(second, rulesOf("nfpa72", 2019), false).RequiredMicroAh), 14.5, 0.15)
}

// BS 5839-1, annex: 1.25 x (T1 I1 + D I2 / 2). Inputs of the first row from a forum's worked
// question (firenetforum.org.uk, topic 3619), figures computed; the third is published as 1.874 Ah
// in a simplified form that counts the alarm as one hour, where the annex has these.
func TestBS5839(t *testing.T) {
	for _, c := range []struct {
		name    string
		need    Need
		fitted  int64
		standby time.Duration
		d       int64
		want    float64
	}{
		{"24 h", Need{250_000, 750_000}, 0, 0, 175, 8.3203125},
		{"72 h", Need{250_000, 750_000}, 0, 72 * time.Hour, 175, 23.3203125},
		{"small", Need{50_000, 300_000}, 0, 0, 175, 1.828125},
		{"small, on a battery of 7 Ah (C/20 = 0.35 A)", Need{50_000, 300_000}, 7_000_000, 0, 100, 1.6875},
		{"exactly C/20", Need{50_000, 350_000}, 7_000_000, 0, 100, 1.71875},
		{"just above C/20", Need{50_000, 350_001}, 7_000_000, 0, 175, 1.882814},
		{"no battery that satisfies D = 1 is written yet", Need{1_000_000, 1_000_000}, 0, 0, 175, 31.09375},
		{"one is", Need{1_000_000, 1_000_000}, 38_000_000, 0, 100, 30.625},
	} {
		t.Run(c.name, func(t *testing.T) {
			rules := rulesOf("bs5839-1", 0)
			if c.standby > 0 {
				rules = rulesOf("bs5839-1", 0, &pb.Limit{Limit: rule.BatteryStandby, Value: new(c.standby.Hours())})
			}
			z := BS5839(c.need, rules, c.fitted)
			if z.HighRatePercent != c.d {
				t.Errorf("D = %d %%, want %d %%", z.HighRatePercent, c.d)
			}
			near(t, "Ah", ah(z.RequiredMicroAh), c.want, 1e-6)
		})
	}
	z := BS5839(Need{250_000, 750_000}, rulesOf("bs5839-1", 0), 0)
	near(t, "standby part", ah(z.StandbyMicroAh), 6, 0)
	near(t, "alarm part", ah(z.AlarmMicroAh), 0.65625, 0)
}

func supplySite(packs ...string) *pb.Site {
	return &pb.Site{
		Rules: &pb.Rules{Packs: packs},
		Panel: &pb.Panel{Supply: &pb.PanelSupply{VoltageV: new(28.0), BatteryAh: new(24.0), CurrentLimitA: new(5.0), StandbyMa: new(350.0)}},
		Supplies: []*pb.Supply{{Supply: "psu-1", VoltageV: new(24.0), EndVoltageV: new(21.0), BatteryAh: new(7.0),
			CurrentLimitA: new(3.0), StandbyMa: new(250.0), AlarmMa: new(50.0), FuseA: new(2.0)}},
	}
}

// Which formulas a site's packs bring, and what is found wanting. en54 alone uses that of bs5839-1.
func TestCheck(t *testing.T) {
	for _, c := range []struct {
		packs    []string
		circuits int64
		methods  []string
		want     []string
	}{
		{[]string{"nfpa72"}, 0, []string{"nfpa72"}, []string{"supply.battery-small"}}, // 7.53 Ah
		{[]string{"en54"}, 0, []string{"bs5839-1"}, []string{"supply.battery-small"}},
		{[]string{"bs5839-1", "nfpa72", "en54"}, 0, []string{"bs5839-1", "nfpa72"}, []string{"supply.battery-small", "supply.battery-small"}},
		{[]string{"nfpa72"}, 1_800_000, []string{"nfpa72"}, []string{"supply.fuse", "supply.battery-small"}},
		{[]string{"nfpa72"}, 2_800_000, []string{"nfpa72"}, []string{"supply.overload", "supply.fuse", "supply.battery-small"}},
	} {
		p, found := Compile(supplySite(c.packs...), delaysOf(c.packs[0]))
		if len(found) > 0 {
			t.Fatal(found)
		}
		var methods, codes []string
		for _, z := range p.Sizings(0, c.circuits) {
			methods = append(methods, z.Method)
		}
		for _, f := range p.Check(0, c.circuits) {
			codes = append(codes, f.GetCode())
		}
		if !slices.Equal(methods, c.methods) || !slices.Equal(codes, c.want) {
			t.Errorf("%v with %d uA: %v %v, want %v %v", c.packs, c.circuits, methods, codes, c.methods, c.want)
		}
	}
	p, _ := Compile(supplySite("nfpa72"), delaysOf("nfpa72"))
	if found := p.Check(p.Panel(), 2_000_000); len(found) > 0 {
		t.Errorf("the panel's own: %v", found) // 1.25 x (24 x 0.35 + 2.35 / 12) = 10.74 Ah of 24
	}
	bare, _ := Compile(&pb.Site{}, delaysOf(""))
	if found := bare.Check(bare.Panel(), 0); len(found) != 1 || found[0].GetCode() != "supply.no-battery" {
		t.Errorf("without figures: %v", found)
	}
	if _, found := Compile(&pb.Site{Supplies: []*pb.Supply{{Supply: "panel"}}}, Delays{}); len(found) != 1 {
		t.Errorf("a supply called panel: %v", found)
	}
}
