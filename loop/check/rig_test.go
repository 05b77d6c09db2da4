package check

import (
	"fmt"
	"regexp"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/proto/rule"
)

// plan is a site of the tests in the text form of its message. The zero plan, with one device, is one
// about which nothing is to be found.
type plan struct {
	rules   string // default: nfpa72
	loop    string // fields of the loop beside its number, driver and cable; default: a branch
	driver  string // default: 28 V
	cable   string // default: 1.5 mm2
	devices string
	more    string // further fields of the site
}

// build compiles a plan.
func (p plan) build(t testing.TB) (*pb.Site, *loop.Installation) {
	t.Helper()
	text := fmt.Sprintf(`site: "x" rules: {%s}
		places: {place: "g" floor: "G" area_m2: 900} places: {place: "g2" floor: "G" area_m2: 900} places: {place: "up" floor: "1" area_m2: 900}
		places: {place: "attic" floor: "2" area_m2: 900} zones: {zone: "z1"} zones: {zone: "z2"} %s
		loops: {loop: 1 %s driver: {%s} cable: {%s} %s}`,
		or(p.rules, `packs: "nfpa72"`), p.more, or(p.loop, `wiring: "branch"`), or(p.driver, "voltage_v: 28"), or(p.cable, "conductor_mm2: 1.5"), p.devices)
	site := &pb.Site{}
	if err := prototext.Unmarshal([]byte(text), site); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	in, found := loop.Compile(site)
	for _, f := range append(found, rule.Check(site.GetRules())...) {
		if f.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
			t.Fatalf("refused: %s %s: %s", f.GetPath(), f.GetTitle(), f.GetDetail())
		}
	}
	return site, in
}

func or(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

// smoke is a detector at an address, in a zone, at the end of so many metres.
func smoke(address int, zone string, metres float64, more string) string {
	return fmt.Sprintf(`devices: {address: %d label: "D%d" cable_m: %g place: "g" zone: %q smoke_detector: {} %s}`, address, address, metres, zone, more)
}

// isolator stands alone.
func isolator(name string) string {
	return fmt.Sprintf(`devices: {label: %q cable_m: 1 isolator: {}}`, name)
}

// row is detectors from one address to another, all in one zone.
func row(from, to int, zone string, metres float64) string {
	var out strings.Builder
	for a := from; a <= to; a++ {
		out.WriteString(smoke(a, zone, metres, ""))
	}
	return out.String()
}

const (
	ring  = `wiring: "ring" return_cable_m: 5`
	ringA = ring + ` required_class: "a"`
	ringX = ring + ` required_class: "x"`
)

// brief is severity, code and path of each finding.
func brief(found []*pb.Finding) string {
	var out []string
	for _, f := range found {
		out = append(out, strings.ToLower(strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_"))+" "+f.GetCode()+" "+f.GetPath())
	}
	return strings.Join(out, "\n")
}

// american are standards that bind no site of the European packs.
var american = regexp.MustCompile(`NFPA|ASME|IBC|\bUL \d`)

// judged checks a plan, and that every finding says what a finding must; that of the same plan under a European pack no
// finding rests on an American standard, too.
func judged(t testing.TB, p plan) []*pb.Finding {
	t.Helper()
	if p.rules == "" {
		abroad := p
		abroad.rules = `packs: "en54"`
		for _, f := range Check(abroad.build(t)) {
			if text := f.GetClause() + f.GetTitle() + f.GetDetail(); american.MatchString(text) {
				t.Errorf("under en54 %s rests on %s", f.GetCode(), text)
			}
		}
	}
	found := Check(p.build(t))
	for _, f := range found {
		if f.GetTitle() == "" || f.GetDetail() == "" || f.GetPath() == "" || f.GetClause() == "" || strings.Contains(f.GetTitle()+f.GetDetail(), "%!") {
			t.Errorf("half a finding: %v", f)
		}
	}
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		t.Errorf("a design is refused: %s", brief(found))
	}
	return found
}
