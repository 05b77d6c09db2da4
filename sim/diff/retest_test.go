package diff

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

// detectors is a site with so many detectors on loops of 200, and one cause of two of them.
func detectors(t *testing.T, n int, cause string) *site.Built {
	t.Helper()
	var out strings.Builder
	out.WriteString("site: many\nrules: {packs: [nfpa72]}\nzones: [{zone: a}, {zone: b}]\nplaces: [{place: p}]\nloops:\n")
	for i := range n {
		if i%200 == 0 {
			fmt.Fprintf(&out, "  - loop: %d\n    wiring: branch\n    driver: {voltage_v: 28}\n    cable: {conductor_mm2: 1.5}\n    devices:\n", i/200+1)
			fmt.Fprintf(&out, "      - {address: 250, label: R%d, cable_m: 1, relay_module: {}}\n", i/200+1)
		}
		fmt.Fprintf(&out, "      - {address: %d, label: SD-%d, place: p, zone: %s, cable_m: 1, smoke_detector: {}}\n", i%200+1, i, []string{"a", "b"}[i/100%2])
	}
	fmt.Fprintf(&out, "program:\n  causes: [{cause: c, when: %q}]\n  effects: [{effect: e, outputs: [R1]}]\n  actions: [{causes: [c], effects: [e], state: \"on\"}]\n", cause)
	return read(t, out.String())
}

// TestRetestNumbers: after a change of a site's software 10 % of the initiating devices that it does not
// affect are tested, at most 50, beside all functions that it does: 30 of 300 and 50 of 800 (NFPA 72 14.4.2,
// as quoted in public texts; the numbers are its own arithmetic).
func TestRetestNumbers(t *testing.T) {
	for _, test := range []struct{ unaffected, sample int }{{300, 30}, {800, 50}} {
		n := test.unaffected + 1
		old := detectors(t, n, "device('SD-0').fire")
		changed := detectors(t, n, "device('SD-0').fire && panel.mode == 'day'")
		report := compare(t, old, changed)
		r := report.GetRetest()
		if len(r.GetFunctions()) != 1 || len(r.GetAffected()) != 1 || r.GetAffected()[0].GetLabel() != "SD-0" {
			t.Errorf("%d functions, %d devices affected: want R1, and SD-0\n%s", len(r.GetFunctions()), len(r.GetAffected()), reportText(t, report))
		}
		if int(r.GetUnaffected()) != test.unaffected || len(r.GetSample()) != test.sample {
			t.Errorf("%d of %d unaffected devices, want %d of %d", len(r.GetSample()), r.GetUnaffected(), test.sample, test.unaffected)
		}
		zones, loops := map[string]int{}, map[string]int{}
		for _, d := range r.GetSample() {
			zones[d.GetZone()]++
			l, _, _ := strings.Cut(d.GetAddress(), "/")
			loops[l]++
			if d.GetLabel() == "SD-0" {
				t.Error("the sample holds a device that is affected")
			}
		}
		for l, count := range loops {
			if of := min(200, n-200*(int(l[0]-'1'))); count*n < of*test.sample/2 {
				t.Errorf("loop %s has %d of the sample of %d", l, count, test.sample)
			}
		}
		if len(zones) != 2 || len(loops) != (n+150)/200 {
			t.Errorf("the sample is spread over zones %v and loops %v", zones, loops)
		}
	}
	for n, want := range map[int]int{0: 0, 1: 1, 9: 1, 10: 1, 11: 2, 491: 50, 501: 50, 5000: 50} {
		if got := SampleSize(n); got != want {
			t.Errorf("of %d unaffected devices %d are tested, want %d", n, got, want)
		}
	}
}

// TestRetestDevices: a device added is tested; for one that is gone another on its circuit is operated (NFPA 72
// 14.4.2, as quoted in public texts).
func TestRetestDevices(t *testing.T) {
	whole := read(t, bench+program)
	m := proto.CloneOf(whole.Site)
	l := m.GetLoops()[0]
	l.Devices = slices.DeleteFunc(l.GetDevices(), func(d *pb.Device) bool { return d.GetLabel() == "HALL-SD-2" })
	less, ok := made(m)
	if !ok {
		t.Fatal("the site without a device is refused")
	}
	gone := compare(t, whole, less).GetRetest().GetRemoved()
	if len(gone) != 1 || gone[0].GetLabel() != "HALL-SD-2" || !strings.Contains(gone[0].GetWhy(), "operate HALL-SD-1") && !strings.Contains(gone[0].GetWhy(), "operate HALL-CP") {
		t.Errorf("gone: %v: want HALL-SD-2, and another of its zone in its place", gone)
	}
	added := compare(t, less, whole).GetRetest().GetAffected()
	if !slices.ContainsFunc(added, func(d *pb.RetestDevice) bool {
		return d.GetLabel() == "HALL-SD-2" && strings.Contains(d.GetWhy(), isNew)
	}) {
		t.Errorf("affected: %v: want HALL-SD-2, which is new, among them", added)
	}
}

// TestRetestPartners: a detector that moves to another zone is a second signal no more where it was, and may be one
// where it is: whatever waits for a second signal there is tested again (all functions known to be affected: NFPA 72
// 14.4.2, as quoted in public texts). Where nothing waits, only the detector itself is.
func TestRetestPartners(t *testing.T) {
	for _, c := range []struct {
		name      string
		detection []*pb.Detection
		want      int // detectors affected of 301, of which 200 are in zone a and 101 in zone b
	}{
		{"nothing waits", nil, 1},
		{"zone a waits for another of its own", []*pb.Detection{{Zone: "a", Confirm: "other"}}, 200},
		{"zone a waits for somebody to look", []*pb.Detection{{Zone: "a", Investigate: &pb.Investigate{}}}, 1},
		{"both wait", []*pb.Detection{{Zone: "a", Confirm: "other"}, {Zone: "b", Confirm: "same-or-other"}}, 301},
		{"zone b waits for zone a", []*pb.Detection{{Zone: "b", Confirm: "other-zone", OtherZones: []string{"a"}}}, 102},
		{"zone b waits for any other zone", []*pb.Detection{{Zone: "b", Confirm: "other-zone"}}, 102},
	} {
		old := proto.CloneOf(detectors(t, 301, "device('SD-0').fire").Site)
		old.Program.Detection = c.detection
		changed := proto.CloneOf(old)
		moved := changed.GetLoops()[0].GetDevices()[1]
		moved.Zone = "b"
		before, ok := made(old)
		after, ok2 := made(changed)
		if !ok || !ok2 {
			t.Fatalf("%s: a site is refused", c.name)
		}
		r := compare(t, before, after).GetRetest()
		if len(r.GetAffected()) != c.want || int(r.GetUnaffected()) != 301-c.want {
			t.Errorf("%s: %d devices affected, %d not; want %d", c.name, len(r.GetAffected()), r.GetUnaffected(), c.want)
		}
		if !slices.ContainsFunc(r.GetAffected(), func(d *pb.RetestDevice) bool { return d.GetLabel() == moved.GetLabel() }) {
			t.Errorf("%s: the detector itself is not on the list", c.name)
		}
	}
}

// TestWiringOrder: two devices exchanged on the cable, addresses and all else as before, are no spelling: what
// each fault of the cable takes is told.
func TestWiringOrder(t *testing.T) {
	old := read(t, bench+program)
	m := proto.CloneOf(old.Site)
	d := m.GetLoops()[0].GetDevices()
	d[1], d[2] = d[2], d[1]
	changed, _ := made(m)
	report := compare(t, old, changed)
	if len(report.GetDifferences()) != 1 {
		t.Fatalf("want one difference:\n%s", reportText(t, report))
	}
	diff := report.GetDifferences()[0]
	if diff.GetKind() != "wiring" || diff.GetKnown() != computed || !strings.Contains(diff.GetTitle(), "HALL-SD-2 as number 2 -> HALL-CP as number 2") ||
		!strings.Contains(diff.GetNew(), "short before") {
		t.Errorf("two devices exchanged on the cable:\n%s", reportText(t, report))
	}
}
