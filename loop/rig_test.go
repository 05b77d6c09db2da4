package loop

import (
	"testing"

	"google.golang.org/protobuf/encoding/prototext"

	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// names are the lists that the devices of the tests refer to.
const names = `places: {place: "hall"} places: {place: "attic"} zones: {zone: "z1"} zones: {zone: "z2"} supplies: {supply: "psu" voltage_v: 24}
	equipment: {equipment: "fan" fan: {}} equipment: {equipment: "door" deenergise_to_operate: "hold" door_holder: {}} `

// branch is loop 1 with the devices.
func branch(devices string) string {
	return names + `loops: {loop: 1 wiring: "branch" driver: {voltage_v: 28} cable: {conductor_mm2: 1.5} ` + devices + `}`
}

// read reads a site in the text form of its message.
func read(t *testing.T, text string) *pb.Site {
	t.Helper()
	site := &pb.Site{}
	if err := prototext.Unmarshal([]byte(`site: "x" `+text), site); err != nil {
		t.Fatal(err)
	}
	return site
}

// good compiles a site about which nothing is to be found.
func good(t *testing.T, text string) *Installation {
	t.Helper()
	in, found := Compile(read(t, text))
	for _, f := range found {
		t.Errorf("found %s %s at %s: %s", f.GetSeverity(), f.GetCode(), f.GetPath(), f.GetTitle())
	}
	if finding.Worst(found) == pb.Severity_SEVERITY_REFUSED {
		t.FailNow()
	}
	return in
}
