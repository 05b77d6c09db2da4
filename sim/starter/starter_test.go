package starter

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/script"
	"loopdrill.dev/loopdrill/sim/site"
	"loopdrill.dev/loopdrill/sim/verify"
)

// passes builds, verifies and plays the files; nothing may be found, fail or be left out.
func passes(t *testing.T, name string, files Files) *site.Built {
	t.Helper()
	built, found := site.Build(files.Bundle(name))
	for _, f := range found {
		t.Errorf("%s: %v", name, f)
	}
	if t.Failed() {
		t.FailNow()
	}
	v, err := verify.New(t.Context(), built.Plan(), built.Matrix)
	if err != nil {
		t.Fatal(err)
	}
	report, err := v.Run(t.Context(), verify.Options{})
	if err != nil || !report.GetPassed() || report.GetCounts().GetRuns() == 0 {
		t.Errorf("%s: verify: %v, %v", name, report.GetVerdicts(), err)
	}
	for _, sc := range built.Scenarios {
		s, found := script.Compile(built.Plan(), sc.Message)
		if len(found) > 0 {
			t.Fatalf("%s: %v", name, found)
		}
		played, err := script.Play(t.Context(), s)
		if err != nil || played.GetOutcome() != script.Passed || played.GetCounts().GetPassed() == 0 {
			t.Errorf("%s: play: %v, %v", name, played, err)
		}
	}
	return built
}

func TestSmall(t *testing.T) {
	built := passes(t, "small", Small())
	sound(t, "small", built)
	if n := len(built.Installation.Points); n != 9 {
		t.Errorf("%d devices", n)
	}
}

// sound checks the design of what a command writes as finished: nothing is found.
func sound(t *testing.T, name string, built *site.Built) {
	t.Helper()
	figures, found := built.Check()
	for _, f := range found {
		t.Errorf("%s: %v", name, f)
	}
	if len(figures.GetLoops()) == 0 {
		t.Errorf("%s: no loop was judged", name)
	}
}

// Sizes at which areas begin and end. Every fire input is a way of its own.
func TestGrid(t *testing.T) {
	for _, size := range []struct{ loops, devices int }{{1, 4}, {1, 25}, {1, 26}, {1, 27}, {2, 28}, {3, 60}} {
		name := fmt.Sprintf("%dx%d", size.loops, size.devices)
		files, err := Grid(size.loops, size.devices)
		if err != nil {
			t.Fatal(err)
		}
		built := passes(t, name, files)
		sound(t, name, built)
		if n := len(built.Installation.Points); n != size.loops*size.devices {
			t.Errorf("%s: %d devices", name, n)
		}
		inputs := 0
		for _, p := range built.Installation.Points {
			if p.Input.Fire() {
				inputs++
			}
		}
		v, err := verify.New(t.Context(), built.Plan(), built.Matrix)
		if err != nil || v.Runs() != inputs {
			t.Errorf("%s: %d runs for %d fire inputs, %v", name, v.Runs(), inputs, err)
		}
	}
}

// The largest that the command's help promises, without the minutes that verifying it takes.
func TestGridLarge(t *testing.T) {
	files, err := Grid(10, 250)
	if err != nil {
		t.Fatal(err)
	}
	built, found := site.Build(files.Bundle("large"))
	if len(found) > 0 || len(built.Installation.Points) != 2500 || len(built.Matrix.Rows) != 101 {
		t.Errorf("%d findings, %d devices, %d rows", len(found), len(built.Installation.Points), len(built.Matrix.Rows))
	}
	again, _ := Grid(10, 250)
	if !slices.EqualFunc(files.List, again.List, func(a, b site.File) bool { return a.Path == b.Path && bytes.Equal(a.Data, b.Data) }) {
		t.Error("generated twice, and not the same")
	}
	for _, bad := range [][2]int{{0, 10}, {65, 10}, {1, 3}, {1, 251}} {
		if _, err := Grid(bad[0], bad[1]); err == nil {
			t.Errorf("%v is accepted", bad)
		}
	}
}

const goodList = "\ufeffloop;address;label;kind;place;zone;cable_m;input\r\n" +
	"1;1;SD 1;Smoke_Detector;hall;hall;12;\r\n" +
	"1;2;\"CP \"\"front\"\"\";call_point;hall;on;7.50;\r\n" +
	"1;;ISO-1;isolator;;;3;\r\n" +
	";;;;;;;\r\n" +
	"2;1;SND's;control_module;hall;;4;\r\n" +
	"2;02;FLOW;input_module;12;on;9;waterflow\r\n"

func TestFromList(t *testing.T) {
	files, found := FromList(site.File{Path: "devices.csv", Data: []byte(goodList)}, "My Site")
	if len(found) > 0 {
		t.Fatal(found)
	}
	built := passes(t, "list", files)
	in := built.Installation
	if built.Site.GetSite() != "my-site" || len(in.Points) != 4 || in.Points[3].Address != "2/2" || in.Points[1].Label != `CP "front"` {
		t.Errorf("%v, %v", built.Site.GetSite(), in.Points)
	}
	if cable := built.Site.GetLoops()[0].GetDevices()[1].GetCableM(); cable != 7.5 {
		t.Errorf("cable_m %v", cable)
	}
	silent := strings.ReplaceAll(goodList, "control_module", "relay_module")
	files, found = FromList(site.File{Path: "devices.csv", Data: []byte(silent)}, "x")
	if len(found) > 0 || len(files.List) != 1 || !strings.Contains(strings.Join(files.Remarks, "\n"), "nothing that sounds") {
		t.Errorf("without sounders: %v, %v, %v", len(files.List), files.Remarks, found)
	}
}

// Every problem of the list at once, each at its line, those of the schema among them.
func TestFromListFindings(t *testing.T) {
	header := "loop,address,label,kind,place,zone,cable_m\n"
	for _, c := range []struct{ list, want string }{
		{"", "1:1 the list is empty"},
		{header, "1:1 the list names no device"},
		{"loop,adress,label,kind,place,zone,cable_m\n", `1:1 the column "address" is missing|1:6 there is no column "adress"`},
		{header + "1,1,A,smoke_detectr,h,h,1\n", `2:7 there is no kind of device "smoke_detectr"`},
		{header + "1,1,\"Ä, up\", smoke,h,h,1\n", `2:14 there is no kind of device "smoke"`}, // in characters, blanks left out
		{header + "\n1,0,A,smoke_detector,h,h,1\n", `3:3 "0" is no address`},
		{header + "x,1,A,smoke_detector,h,h,1e3\n", `2:1 "x" is no loop|2:26 "1e3" is no length in metres`},
		{header + "1,1,A,call_point,h,,-1\n", `2:20 a call_point can raise a fire, and this one has no place or no zone|2:21 "-1" is no length in metres`},
		{header + "1,1,,call_point,Hall 1,h,1\n", `2:5 the device has no label|2:17 "Hall 1" cannot be the id of a place`},
		{header + "1,1,A,input_module,h,h,1\n", `2:1 the input module "A" does not say what its contact means`},
		{header + "1,1,A,isolator,h,h,1\n", "2:3 an isolator on its own has no address"},
		{header + "1,1,A,call_point,h,h,1,9\n", "2:24 the line has 8 fields, and there are 7 columns"},
		{header + "1,1,A\"B,call_point,h,h,1\n", "2:1 the line is no CSV: bare \" in non-quoted-field"},
		{header + "1,1,\"A\nB\",call_point,h,h,1\n", `2:5 "A\nB" holds a line end or another control character`},
		{header + "1,1,A,call_point,h,h,1\n1,1,A,call_point,h,h,1\n", `3:1 address 1 of loop 1 is used twice|3:1 the label "A" is used twice`},
		{header + "1,1,A/B,call_point,h,h,1\n", `2:1 label cannot be "A/B"`},
		{header + "1,1,\xff,call_point,h,h,1\n", "1:1 the file is not UTF-8 text"},
	} {
		files, found := FromList(site.File{Path: "d.csv", Data: []byte(c.list)}, "x")
		var got []string
		for _, f := range found {
			if f.GetSeverity() != pb.Severity_SEVERITY_REFUSED || f.GetDetail() == "" || f.GetPosition().GetFile() != "d.csv" {
				t.Errorf("%q: a finding without a remedy or a place: %v", c.list, f)
			}
			got = append(got, fmt.Sprintf("%d:%d %s", f.GetPosition().GetLine(), f.GetPosition().GetColumn(), f.GetTitle()))
		}
		if strings.Join(got, "|") != c.want || len(files.List) > 0 {
			t.Errorf("%q:\n got %s\nwant %s", c.list, strings.Join(got, "|"), c.want)
		}
	}
}

// Whatever the list, there are findings, or files that nothing refuses.
func FuzzFromList(f *testing.F) {
	f.Add([]byte(goodList))
	f.Add([]byte("loop,address,label,kind,place,zone,cable_m\n1,1,a'\\,loop_sounder,null,,007.\n1,2,~,flame_detector,1,no,0\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		files, found := FromList(site.File{Path: "d.csv", Data: data}, "x")
		if (len(found) > 0) == (len(files.List) > 0) {
			t.Fatalf("%d findings and %d files", len(found), len(files.List))
		}
		if len(files.List) == 0 {
			return
		}
		built, problems := site.Build(files.Bundle("x"))
		for _, p := range problems {
			if p.GetSeverity() == pb.Severity_SEVERITY_REFUSED {
				t.Fatalf("made from %q: %v", data, p)
			}
		}
		for _, sc := range built.Scenarios {
			if s, found := script.Compile(built.Plan(), sc.Message); s == nil {
				t.Fatalf("made from %q: %v", data, found)
			}
		}
	})
}
