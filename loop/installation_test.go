package loop

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// terrace has everything that owns an index, in an order that no index may lean on: addresses fall
// along the wiring, isolators stand between, and outputs stand before and behind inputs.
const terrace = names + `
	loops: {loop: 7 wiring: "ring" return_cable_m: 9 driver: {voltage_v: 28} cable: {conductor_mm2: 1.5}
		devices: {address: 30 label: "R" cable_m: 5 groups: "late" relay_module: {drives: {equipment: "fan" input: "stop"}}}
		devices: {label: "ISO" cable_m: 5 isolator: {}}
		devices: {address: 20 label: "SD" cable_m: 5 place: "attic" zone: "z2" groups: "early" groups: "late" smoke_detector: {}}
		devices: {address: 10 label: "P" cable_m: 5 input_module: {input: "technical" proves: {equipment: "fan" signal: "tripped"}}}}
	loops: {loop: 2 wiring: "branch" driver: {voltage_v: 28} cable: {conductor_mm2: 1.5}
		devices: {address: 250 label: "CM" cable_m: 5 control_module: {supply: "psu" circuit: {end_of_line_ohm: 4700
			loads: {label: "B1" cable_m: 5 beacon: {current_ma: 5}} loads: {label: "S1" cable_m: 5 sounder: {current_ma: 5}}}}}
		devices: {address: 1 label: "LS" cable_m: 5 isolator: {} loop_sounder: {}}}
	panel: {outputs: {label: "PR" relay: {}} outputs: {label: "PC" circuit: {end_of_line_ohm: 4700 cable: {conductor_mm2: 1.5} loads: {label: "B2" cable_m: 5 beacon: {current_ma: 5}}}}}`

// Every index of an Installation leads where it says, and back.
func TestIndexSpaces(t *testing.T) {
	in := good(t, terrace)
	var points, outputs, loads, lines []string
	for i := range in.Points {
		p := &in.Points[i]
		points = append(points, fmt.Sprintf("%s %s loop %d device %d zone %d place %d groups %v output %d proves %d %d",
			p.Label, p.Address, p.Loop, p.Device, p.Zone, p.Place, p.Groups, p.Output, p.ProvesEquipment, p.ProvesSignal))
		for _, ref := range []string{p.Label, p.Address} {
			if at, ok := in.Point(ref); !ok || at != int32(i) || in.PointRefs()[ref] != at {
				t.Errorf("point %s is found at %d, %v; it is %d", ref, at, ok, i)
			}
		}
		if in.Loops[p.Loop].Points[p.Device] != int32(i) {
			t.Errorf("device %d of loop %d is not point %d", p.Device, p.Loop, i)
		}
		if p.Output >= 0 && in.Outputs[p.Output].Point != int32(i) {
			t.Errorf("output %d does not belong to point %d", p.Output, i)
		}
	}
	for i := range in.Outputs {
		o := &in.Outputs[i]
		outputs = append(outputs, fmt.Sprintf("%s %q point %d drives %d %d loads %v sounder %v contact %v", o.Label, o.Address, o.Point, o.Equipment, o.Input, o.Loads, o.Sounder, o.Contact))
		for _, ref := range []string{o.Label, o.Address} {
			if at, ok := in.Output(ref); ref != "" && (!ok || at != int32(i) || in.OutputRefs()[ref] != at) {
				t.Errorf("output %s is found at %d, %v; it is %d", ref, at, ok, i)
			}
		}
		for _, l := range o.Loads {
			if in.Loads[l].Output != int32(i) {
				t.Errorf("load %d does not hang on output %d", l, i)
			}
		}
	}
	for _, l := range in.Loads {
		loads = append(loads, fmt.Sprintf("%s on %d", l.Label, l.Output))
	}
	for _, l := range in.Loops {
		line := fmt.Sprintf("%d:", l.Number)
		for d, device := range l.Line.Config().Devices {
			line += fmt.Sprintf(" %d=%s", device.Address, in.Points[l.Points[d]].Label)
		}
		lines = append(lines, line)
	}
	stop, _ := in.Plant.InputIndex(0, "stop")
	tripped, _ := in.Plant.SignalIndex(0, "tripped")
	for _, c := range []struct {
		what      string
		got, want []string
	}{
		{"points, in file order", points, []string{
			"R 7/30 loop 0 device 2 zone -1 place -1 groups [0] output 0 proves -1 -1",
			"SD 7/20 loop 0 device 1 zone 1 place 1 groups [1 0] output -1 proves -1 -1",
			fmt.Sprintf("P 7/10 loop 0 device 0 zone -1 place -1 groups [] output -1 proves 0 %d", tripped),
			"CM 2/250 loop 1 device 1 zone -1 place -1 groups [] output 1 proves -1 -1",
			"LS 2/1 loop 1 device 0 zone -1 place -1 groups [] output 2 proves -1 -1",
		}},
		{"outputs, those of devices first", outputs, []string{
			fmt.Sprintf(`R "7/30" point 0 drives 0 %d loads [] sounder false contact true`, stop),
			`CM "2/250" point 3 drives -1 -1 loads [0 1] sounder true contact false`,
			`LS "2/1" point 4 drives -1 -1 loads [] sounder true contact false`,
			`PR "" point -1 drives -1 -1 loads [] sounder false contact true`,
			`PC "" point -1 drives -1 -1 loads [2] sounder false contact false`,
		}},
		{"loads", loads, []string{"B1 on 1", "S1 on 1", "B2 on 4"}},
		{"lines, by address (rule B1)", lines, []string{"7: 10=P 20=SD 30=R", "2: 1=LS 250=CM"}},
		{"groups, as they appear", in.Groups, []string{"late", "early"}},
		{"zones", in.Zones, []string{"z1", "z2"}},
		{"places", in.Places, []string{"hall", "attic"}},
		{"supplies", in.Supplies, []string{"psu"}},
	} {
		if diff := cmp.Diff(c.want, c.got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.what, diff)
		}
	}
	for _, ref := range []string{"ISO", "B1", "PR", "7/11", "", "sd"} {
		if at, ok := in.Point(ref); ok {
			t.Errorf("%q is no point and is found at %d", ref, at)
		}
	}
	for _, ref := range []string{"SD", "B1", "7/20", "ISO"} {
		if at, ok := in.Output(ref); ok {
			t.Errorf("%q is no output and is found at %d", ref, at)
		}
	}
	if len(in.PointRefs()) != 2*len(in.Points) || len(in.OutputRefs()) != 2*len(in.Outputs)-2 {
		t.Errorf("%d names of points, %d of outputs", len(in.PointRefs()), len(in.OutputRefs()))
	}
}

// What each kind of device is to the panel (rules A7, B6, D2): whether it is a fire, whether
// detectors_in_fire counts it, and how many readings it takes on a line that asks for five.
func TestMeaningOfInputs(t *testing.T) {
	for _, c := range []struct {
		kind           string
		input          Input
		fire, detector bool
		readings       int32
	}{
		{"smoke_detector: {}", FireInput, true, true, 5},
		{"heat_detector: {}", FireInput, true, true, 5},
		{"multi_criteria_detector: {}", FireInput, true, true, 5},
		{"flame_detector: {}", FireInput, true, true, 5},
		{"conventional_zone: {}", FireInput, true, true, 1},
		{"call_point: {}", CallPoint, true, false, 1},
		{`input_module: {input: "fire"}`, FireInput, true, true, 1},
		{`input_module: {input: "waterflow" retard: {seconds: 60}}`, Waterflow, true, true, 1},
		{`input_module: {input: "supervisory"}`, Supervisory, false, false, 1},
		{`input_module: {input: "technical"}`, Technical, false, false, 1},
		{`input_module: {input: "release"}`, ReleaseInput, false, false, 1},
		{`input_module: {input: "hold-off"}`, HoldOff, false, false, 1},
		{`relay_module: {}`, NoInput, false, false, 1},
		{`loop_sounder: {}`, NoInput, false, false, 1},
	} {
		in := good(t, branch(`line: {alarm_readings: 5} devices: {address: 3 label: "A" cable_m: 5 place: "hall" zone: "z1" `+c.kind+`}`))
		p := &in.Points[0]
		if p.Input != c.input || p.Input.Fire() != c.fire || p.Detector != c.detector || in.Readings(0) != c.readings {
			t.Errorf("%s: input %d, fire %v, detector %v, readings %d; want %+v", c.kind, p.Input, p.Input.Fire(), p.Detector, in.Readings(0), c)
		}
		if device := in.Loops[0].Line.Config().Devices[0]; device.Fire != c.fire || device.Output != (c.input == NoInput) {
			t.Errorf("%s: the line has %+v", c.kind, device)
		}
		if want := time.Minute; (p.Retard == want) != (c.input == Waterflow) {
			t.Errorf("%s: retard %v", c.kind, p.Retard)
		}
	}
}

// A contact or circuit conducts when it is operated, or, if it rests closed, when it is not
// (rule C6: `on` always means the fire action).
func TestClosed(t *testing.T) {
	for _, c := range []struct{ restsClosed, on, closed bool }{
		{false, false, false}, {false, true, true}, {true, false, true}, {true, true, false},
	} {
		if got := (&Output{ClosedAtRest: c.restsClosed}).Closed(c.on); got != c.closed {
			t.Errorf("rests closed %v, on %v: conducts %v", c.restsClosed, c.on, got)
		}
	}
}

// Thresholds are whole millionths of what the file says, and the pre-alarm level is three quarters
// of them (rule B7). By hand; 2.3, 8.2 and 57.3 have no exact binary form, and 2.3 x 1e6 is below
// 2,300,000 in float64.
func TestThresholds(t *testing.T) {
	for _, c := range []struct {
		kind            string
		smoke, heat     int64
		preSmoke, preHt int64
		prealarm        bool
	}{
		{`smoke_detector: {alarm_pct_per_m: 2.3 prealarm: true}`, 2_300_000, 0, 1_725_000, 0, true},
		{`smoke_detector: {alarm_pct_per_m: 8.2}`, 8_200_000, 0, 6_150_000, 0, false},
		{`heat_detector: {alarm_c: 57.3 prealarm: true}`, 0, 57_300_000, 0, 42_975_000, true},
		{`multi_criteria_detector: {alarm_pct_per_m: 0.000001 alarm_c: 90}`, 1, 90_000_000, 1, 67_500_000, false},
		{`multi_criteria_detector: {alarm_pct_per_m: 4 prealarm: true}`, 4_000_000, 57_000_000, 3_000_000, 42_750_000, true},
		{`flame_detector: {}`, 0, 0, 0, 0, false},
	} {
		in := good(t, branch(`devices: {address: 3 label: "A" cable_m: 5 place: "hall" zone: "z1" `+c.kind+`}`))
		p := &in.Points[0]
		if p.SmokeMicroPct != c.smoke || p.HeatMicroC != c.heat || p.Prealarm != c.prealarm {
			t.Errorf("%s: smoke %d, heat %d, prealarm %v", c.kind, p.SmokeMicroPct, p.HeatMicroC, p.Prealarm)
		}
		if s, h := PrealarmMicro(p.SmokeMicroPct), PrealarmMicro(p.HeatMicroC); s != c.preSmoke || h != c.preHt {
			t.Errorf("%s: pre-alarm at smoke %d, heat %d", c.kind, s, h)
		}
	}
	// Whole arithmetic judges every threshold of up to a thousand units in steps of a thousandth.
	for k := range int64(1_000_000) {
		if got := PrealarmMicro(k * 1000); got != k*750 {
			t.Fatalf("threshold %d: pre-alarm at %d, want %d", k*1000, got, k*750)
		}
	}
	if micro(2.4e-6) != 2 || micro(2.6e-6) != 3 {
		t.Error("a value is rounded to the nearest millionth")
	}
}
