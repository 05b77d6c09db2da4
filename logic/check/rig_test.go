package check

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"

	"loopdrill.dev/loopdrill/logic"
	"loopdrill.dev/loopdrill/logic/bdd"
	"loopdrill.dev/loopdrill/logic/term"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// hall is the installation of the tests: zones hall and lobby with two detectors and a call point each,
// sounders for both, two relays, keys and a switch. Its program is nothing.
const hall = `site: "x" rules: {packs: "nfpa72"} zones: {zone: "hall"} zones: {zone: "lobby"} places: {place: "g" floor: "G"}
	equipment: {equipment: "pa" announcement: {messages: "out"}}
	loops: {loop: 1
		devices: {address: 1 label: "H1" place: "g" zone: "hall" smoke_detector: {}} devices: {address: 2 label: "H2" place: "g" zone: "hall" smoke_detector: {}}
		devices: {address: 3 label: "HC" place: "g" zone: "hall" call_point: {}}
		devices: {address: 4 label: "L1" place: "g" zone: "lobby" smoke_detector: {}} devices: {address: 5 label: "L2" place: "g" zone: "lobby" smoke_detector: {}}
		devices: {address: 6 label: "LC" place: "g" zone: "lobby" call_point: {}}
		devices: {address: 7 label: "HS" loop_sounder: {}} devices: {address: 8 label: "LS" loop_sounder: {}}
		devices: {address: 9 label: "R1" relay_module: {drives: {equipment: "pa" input: "message-out"}}} devices: {address: 10 label: "R2" relay_module: {}}
		devices: {address: 11 label: "PROOF" input_module: {input: "technical" proves: {equipment: "pa" signal: "speaking"}}}}`

// basics are what keeps the compiler content: keys, a switch, the effects, and an alarm at once from any fire.
const basics = `program: {
	controls: {control: "key"} controls: {control: "other"} overrides: {override: "switch" effects: "r1"}
	effects: {effect: "hs" outputs: "HS" silenceable: true} effects: {effect: "ls" outputs: "LS" silenceable: true}
	effects: {effect: "r1" outputs: "R1"} effects: {effect: "r2" outputs: "R2"}
	causes: {cause: "hall-fire" when: "zone('hall').fire"} causes: {cause: "lobby-fire" when: "zone('lobby').fire"}
	causes: {cause: "fire" when: "panel.fire"} causes: {cause: "hand" when: "control('key').on || control('other').on || override('switch').position == 'on'"}
	actions: {causes: "hall-fire" effects: "hs" state: "evacuate"} actions: {causes: "lobby-fire" effects: "ls" state: "evacuate"}
	actions: {causes: "fire" effects: "r1" state: "on"} actions: {causes: "hand" effects: "r2" state: "on"}
}`

func world(t *testing.T, site *pb.Site) *term.World {
	t.Helper()
	w := &term.World{PointRefs: map[string]int{}, OutputRefs: map[string]int{}, Loops: []uint32{1}}
	for _, z := range site.GetZones() {
		w.Zones = append(w.Zones, z.GetZone())
	}
	for _, d := range site.GetLoops()[0].GetDevices() {
		p := term.Point{Label: d.GetLabel(), Address: "1/" + d.GetLabel(), Zone: -1, Place: -1}
		for i, z := range w.Zones {
			if z == d.GetZone() {
				p.Zone = i
			}
		}
		switch d.GetKind().(type) {
		case *pb.Device_SmokeDetector:
			p.Input, p.Detector = term.Fire, true
		case *pb.Device_CallPoint:
			p.Input = term.CallPoint
		case *pb.Device_InputModule:
			p.Input = term.Technical
		case *pb.Device_LoopSounder, *pb.Device_RelayModule:
			w.OutputRefs[p.Label], w.OutputRefs[p.Address] = len(w.Outputs), len(w.Outputs)
			w.Outputs = append(w.Outputs, term.Output{Label: p.Label, Address: p.Address, Sounder: d.GetLoopSounder() != nil})
		}
		w.PointRefs[p.Label], w.PointRefs[p.Address] = len(w.Points), len(w.Points)
		w.Points = append(w.Points, p)
	}
	for _, c := range site.GetProgram().GetCauses() {
		w.Causes = append(w.Causes, c.GetCause())
	}
	for _, c := range site.GetProgram().GetControls() {
		w.Controls = append(w.Controls, c.GetControl())
	}
	for _, o := range site.GetProgram().GetOverrides() {
		w.Overrides = append(w.Overrides, o.GetOverride())
	}
	return w
}

// judged checks the basics with more in their program, and that every finding says what one must.
func judged(t *testing.T, rules, base, more string) []*pb.Finding {
	t.Helper()
	return judgedWithin(t, bdd.DefaultLimit, rules, base, more)
}

func judgedWithin(t *testing.T, limit int, rules, base, more string) []*pb.Finding {
	t.Helper()
	site := &pb.Site{}
	for _, text := range []string{hall, base, "program: {" + more + "}", rules} {
		next := &pb.Site{}
		if err := prototext.Unmarshal([]byte(text), next); err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		merge(site, next)
	}
	w := world(t, site)
	program, found := logic.Compile(site, w)
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		t.Fatalf("refused: %v", found)
	}
	found = Check(site, analyse(site, w, program, limit))
	for _, f := range found {
		if f.GetTitle() == "" || f.GetDetail() == "" || f.GetPath() == "" || f.GetClause() == "" || strings.Contains(f.GetTitle()+f.GetDetail(), "%!") {
			t.Errorf("half a finding: %v", f)
		}
	}
	return found
}

// brief is severity, code and path of each finding.
func brief(found []*pb.Finding) string {
	var out []string
	for _, f := range found {
		out = append(out, strings.ToLower(strings.TrimPrefix(f.GetSeverity().String(), "SEVERITY_"))+" "+f.GetCode()+" "+f.GetPath())
	}
	return strings.Join(out, "\n")
}
