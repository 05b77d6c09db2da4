package wire

import (
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// Each figure of a device type stands in place of the default, and of nothing else: by hand, two devices at 10 m
// each and 10 m back, of 24.2 ohm/km out and back (IEC 60228, 1.5 mm2), with isolators of 0.5 ohm.
func TestDeviceTypes(t *testing.T) {
	own := &pb.DeviceType{Type: "own", StandbyMa: new(2.0), IndicatorMa: new(7.0), DropOutV: new(19.0), PickUpV: new(21.0), IsolatorOpensV: new(12.0), IsolatorOhm: new(0.5)}
	l := plan{ring: true, devices: 2, run: 10, built: []int{1, 2}}.loop()
	for _, d := range l.GetDevices() {
		d.Type = "own"
	}
	n, found := Compile("loops[0]", l, []*pb.DeviceType{{Type: "other", StandbyMa: new(9.0)}, own})
	if len(found) > 0 {
		t.Fatal(found)
	}
	f := n.Figures()
	near(t, "mA at rest", float64(f.RestMicroAmp)/1e3, 2*2, 1e-6)
	near(t, "mA in alarm", float64(f.AlarmMicroAmp)/1e3, 2*2+2*7, 1e-6)
	near(t, "ohm", float64(f.LoopMicroOhm)/1e6, 3*10*24.2/1000+2*0.5, 1e-6)
	for e := range n.entries {
		if d := &n.entries[e]; d.dropOut != 19_000_000 || d.pickUp != 21_000_000 || n.iso[d.iso].opens != 12_000_000 {
			t.Errorf("%s: drops out at %d uV, picks up at %d uV, its isolator opens at %d uV", d.label, d.dropOut, d.pickUp, n.iso[d.iso].opens)
		}
	}
	_, found = Compile("loops[0]", l, []*pb.DeviceType{{Type: "own", DropOutV: new(19.0)}}) // above the default of picking up, 18 V
	if len(found) == 0 || found[0].GetCode() != "device-type.thresholds" {
		t.Errorf("a type that starts below the voltage at which it stops: %v", found)
	}
}
