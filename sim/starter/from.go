package starter

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"

	"loopdrill.dev/loopdrill/loop"
	"loopdrill.dev/loopdrill/proto/finding"
	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
	"loopdrill.dev/loopdrill/sim/site"
)

const (
	kindIsolator     = "isolator"
	kindInputModule  = "input_module"
	kindControl      = "control_module"
	kindRelay        = "relay_module"
	kindSounder      = "loop_sounder"
	placeholderID    = "psu-1"
	placeholderSound = 32 // mA, common practice
)

// fireKinds are the kinds whose signal is a fire whatever is written about them (rule A7).
var fireKinds = []string{"smoke_detector", "heat_detector", "multi_criteria_detector", "flame_detector", "call_point", "conventional_zone"}

// inputs are the meanings of an input module.
var inputs = []string{"fire", "waterflow", "supervisory", "technical", "release", "hold-off"}

// kind checks the kind of a device and what goes with it.
func (l *list) kind(d listedDevice) {
	known := append(slices.Clone(loop.Kinds()), kindIsolator)
	if !slices.Contains(known, d.kind) {
		detail := "kinds: " + strings.Join(known, ", ")
		if near, ok := finding.Nearest(d.kind, known); ok {
			detail = fmt.Sprintf("did you mean %q?", near)
		}
		l.refuse(d.at.of("kind"), fmt.Sprintf("there is no kind of device %q", d.kind), detail)
		return
	}
	switch {
	case d.kind == kindInputModule && !slices.Contains(inputs, d.in):
		l.refuse(d.at.of(columnInput), fmt.Sprintf("the input module %q does not say what its contact means", d.label), "give the list a column input with one of: "+strings.Join(inputs, ", "))
	case d.kind != kindInputModule && d.in != "":
		l.refuse(d.at.of(columnInput), fmt.Sprintf("a %s has no input", d.kind), "only input modules do; leave the field empty")
	}
	if d.fire() && (d.place == "" || d.zone == "") {
		missing := "zone"
		if d.place == "" {
			missing = "place"
		}
		l.refuse(d.at.of(missing), fmt.Sprintf("a %s can raise a fire, and this one has no place or no zone", d.kind), "give both: where it is, and what the panel shows")
	}
}

// fire tells whether the device is a fire input.
func (d *listedDevice) fire() bool {
	return slices.Contains(fireKinds, d.kind) || d.kind == kindInputModule && (d.in == "fire" || d.in == "waterflow")
}

// FromList makes a site of an address list: a CSV file with the columns loop, address, label,
// kind, place, zone and cable_m, and input where it has input modules; the lines of a loop stand
// in wiring order. What the list cannot say is marked TO COMPLETE. Where there are fire inputs and
// sounders, every fire sounds all of them, and a matrix and a scenario ask for that; nothing is
// guessed about relays. Findings stand at fields or lines of the list; with one of them there are no files.
func FromList(file site.File, id string) (Files, []*pb.Finding) {
	l := &list{file: file.Path}
	l.read(file.Data)
	if len(l.found) > 0 {
		finding.Sort(l.found)
		return Files{}, l.found
	}
	if id = slug(id); id == "" || len(id) > 40 {
		id = "new-site"
	}
	d := siteData{Head: []string{"Made from an address list. TO COMPLETE marks what the list does not say."}, ID: id, Title: id}
	lines := map[string]int{} // path of a device -> line of the list
	l.loops(&d, lines)
	sounders, first := l.program(&d)
	out := Files{List: []site.File{{Path: "site.yaml", Data: d.render()}}}
	if first != nil && len(sounders) > 0 {
		out.List = append(out.List,
			site.File{Path: "matrix.csv", Data: l.matrix(d.Places)},
			site.File{Path: "scenarios/first-fire.scenario.yaml", Data: firstFire(first, sounders[0])})
	}
	out.Remarks = l.remarks(len(out.List) > 1)
	l.check(out, lines)
	if len(l.found) > 0 {
		return Files{}, l.found
	}
	return out, nil
}

// check reads what was made as `check` would, and puts what refuses it at the line of the list.
func (l *list) check(files Files, lines map[string]int) {
	_, found := site.Build(files.Bundle("."))
	for _, f := range found {
		if f.GetSeverity() != pb.Severity_SEVERITY_REFUSED {
			continue
		}
		path := f.GetPath()
		for path != "" && lines[path] == 0 {
			path = path[:max(strings.LastIndexAny(path, ".["), 0)]
		}
		l.refuse(spot{max(1, lines[path]), 1}, f.GetTitle(), f.GetDetail())
	}
}

// loops groups the devices by loop, in order of first appearance.
func (l *list) loops(d *siteData, lines map[string]int) {
	index := map[int]int{}
	for i := range l.devices {
		dev := &l.devices[i]
		at, ok := index[dev.loopNumber]
		if !ok {
			at = len(d.Loops)
			index[dev.loopNumber] = at
			d.Loops = append(d.Loops, loopData{Number: dev.loopNumber, Wiring: []string{
				"wiring: branch                        # TO COMPLETE: a ring also needs return_cable_m",
				"driver: {voltage_v: 28}               # TO COMPLETE: voltage of the loop driver",
				"cable: {conductor_mm2: 1.5}           # TO COMPLETE: conductor size",
			}})
		}
		lines[fmt.Sprintf("loops[%d].devices[%d]", at, len(d.Loops[at].Devices))] = dev.at.line
		d.Loops[at].Devices = append(d.Loops[at].Devices, dev.yaml())
		if dev.kind == kindControl {
			d.Supply = placeholderID
		}
		for _, ref := range []struct {
			all *[]string
			id  string
		}{{&d.Places, dev.place}, {&d.Zones, dev.zone}} {
			if ref.id != "" && !slices.Contains(*ref.all, ref.id) {
				*ref.all = append(*ref.all, ref.id)
			}
		}
	}
}

// yaml is the device's line.
func (d *listedDevice) yaml() string {
	var out strings.Builder
	out.WriteString("{")
	if d.address != "" {
		fmt.Fprintf(&out, "address: %s, ", strings.TrimLeft(d.address, "0+"))
	}
	fmt.Fprintf(&out, "label: %s, ", quoted(d.label))
	if d.place != "" {
		fmt.Fprintf(&out, "place: %s, ", quoted(d.place))
	}
	if d.zone != "" {
		fmt.Fprintf(&out, "zone: %s, ", quoted(d.zone))
	}
	fmt.Fprintf(&out, "cable_m: %s, %s: ", d.cable, d.kind)
	switch d.kind {
	case kindInputModule:
		fmt.Fprintf(&out, "{input: %s}}", d.in)
	case kindControl: // TO COMPLETE stands behind the line
		fmt.Fprintf(&out, "{supply: %s, circuit: {wiring: branch, end_of_line_ohm: 4700, cable: {conductor_mm2: 1.5}, loads: [{label: %s, cable_m: 10, sounder: {current_ma: %d}}]}}}   # TO COMPLETE: its circuit",
			placeholderID, quoted(d.load()), placeholderSound)
	default:
		out.WriteString("{}}")
	}
	return out.String()
}

// load is the label of the placeholder on a control module's circuit.
func (d *listedDevice) load() string {
	label := []rune(d.label)
	return string(label[:min(len(label), 36)]) + " A1"
}

// quoted writes a text so that YAML reads it as that text.
func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// program makes every fire sound everything. It returns the outputs that sound, and the first
// fire input.
func (l *list) program(d *siteData) (sounders []string, first *listedDevice) {
	for i := range l.devices {
		dev := &l.devices[i]
		if dev.kind == kindSounder || dev.kind == kindControl {
			sounders = append(sounders, dev.label)
		}
		if dev.fire() && first == nil {
			first = dev
		}
	}
	if len(sounders) == 0 || first == nil {
		return sounders, first
	}
	labels := make([]string, len(sounders))
	for i, s := range sounders {
		labels[i] = quoted(s)
	}
	d.Causes = []string{`{cause: any-fire, when: "panel.fire"}`}
	d.Effects = []string{"{effect: sounders, outputs: [" + strings.Join(labels, ", ") + "], silenceable: true}"}
	d.Actions = []string{"{causes: [any-fire], effects: [sounders], state: evacuate}"}
	return sounders, first
}

// matrix asks, for each place with a fire input, for all sounders.
func (l *list) matrix(places []string) []byte {
	rows := [][]string{{"cause", "when", "given", "sounders"}}
	for _, p := range places {
		if slices.ContainsFunc(l.devices, func(d listedDevice) bool { return d.place == p && d.fire() }) {
			rows = append(rows, []string{"fire in " + p, "place('" + p + "').fire", "", "evacuate silenceable"})
		}
	}
	var out bytes.Buffer
	if err := csv.NewWriter(&out).WriteAll(rows); err != nil {
		panic("starter: writing to memory: " + err.Error())
	}
	return out.Bytes()
}

// firstFire is a scenario over the first fire input and a sounder.
func firstFire(d *listedDevice, sounder string) []byte {
	step := fmt.Sprintf("activate: {device: %s}", quoted(d.label))
	switch d.kind {
	case "smoke_detector", "multi_criteria_detector":
		step = fmt.Sprintf("smoke: {device: %s, level_pct_per_m: 8}", quoted(d.label))
	case "heat_detector":
		step = fmt.Sprintf("heat: {device: %s, temperature_c: 70}", quoted(d.label))
	case "flame_detector":
		step = fmt.Sprintf("flame: {device: %s}", quoted(d.label))
	case "call_point":
		step = fmt.Sprintf("press: {device: %s}", quoted(d.label))
	}
	name := strings.NewReplacer(`\`, `\\`, `'`, `\'`).Replace(sounder)
	return scenarioText("The first fire input of the list.", "the first fire input sounds the alarm",
		[]string{"{at: 5s, step: fire, " + step + "}"},
		[]string{"{since: fire, within: 10s, that: " + quoted("output('"+name+"').state == 'evacuate'") + "}"})
}

// remarks say what is left to do.
func (l *list) remarks(judged bool) []string {
	count := func(kind string) (n int) {
		for i := range l.devices {
			if l.devices[i].kind == kind {
				n++
			}
		}
		return n
	}
	out := []string{"loops: wiring, driver and cable are placeholders, marked TO COMPLETE"}
	if n := count(kindControl); n > 0 {
		out = append(out, fmt.Sprintf("control modules: %d with a placeholder circuit and supply, marked TO COMPLETE", n))
	}
	if n := count(kindRelay); n > 0 {
		out = append(out, fmt.Sprintf("relay modules: %d in no effect; the list does not say what they drive", n))
	}
	if judged {
		return append(out, "program, matrix and scenario: every fire sounds everything, as a beginning")
	}
	return append(out, "no program, matrix or scenario: the list has no fire input, or nothing that sounds")
}
