package starter

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"

	"loopdrill.dev/loopdrill/sim/site"
)

// Bounds of a generated site: rule A5, and the schema's number of loops. An area needs a call
// point, a sounder, a door relay and a detector.
const (
	MaxLoops   = 64
	MinDevices = 4
	MaxDevices = 250
)

// areaSize is the greatest number of devices of one area.
const areaSize = 25

// gridArea is a part of a loop: a place and a zone with their own sounder.
type gridArea struct {
	id       string
	sounder  string // label, empty where the area is too small for one
	door     string
	inputs   []string // labels of fire inputs
	detector string   // the first smoke detector
}

// Grid returns a generated site of equal loops, devices on each at addresses from 1. Every 25
// devices are an area: a place, a zone, a call point, a loop sounder, a door relay, and smoke and
// heat detectors. A fire evacuates its own area, alerts all others and lets all doors go. The
// matrix covers every fire input singly, by itself and within the general alarm.
func Grid(loops, devices int) (Files, error) {
	if loops < 1 || loops > MaxLoops {
		return Files{}, fmt.Errorf("%d loops: a site has 1 to %d", loops, MaxLoops)
	}
	if devices < MinDevices || devices > MaxDevices {
		return Files{}, fmt.Errorf("%d devices on a loop: a generated loop has %d to %d", devices, MinDevices, MaxDevices)
	}
	d := siteData{
		Head: []string{fmt.Sprintf("A generated building: %d loops of %d devices. Nobody built it.", loops, devices)},
		ID:   fmt.Sprintf("grid-%dx%d", loops, devices), Title: fmt.Sprintf("Generated building, %d x %d", loops, devices),
	}
	var areas []gridArea
	for l := 1; l <= loops; l++ {
		loop := loopData{Number: l, Wiring: []string{"wiring: ring", "driver: {voltage_v: 28, current_limit_ma: 500}", "cable: {conductor_mm2: 1.5}", "return_cable_m: 5"}}
		for address := 1; address <= devices; address++ {
			if (address-1)%areaSize == 0 {
				areas = append(areas, gridArea{id: fmt.Sprintf("l%d-a%02d", l, (address-1)/areaSize+1)})
			}
			loop.Devices = append(loop.Devices, areas[len(areas)-1].device(l, address))
		}
		d.Loops = append(d.Loops, loop)
	}
	d.program(areas)
	return Files{List: []site.File{
		{Path: "site.yaml", Data: d.render()},
		{Path: "matrix.csv", Data: gridMatrix(areas)},
		{Path: "scenarios/first-smoke.scenario.yaml", Data: gridScenario(areas)},
	}}, nil
}

// device adds the device at an address to the area, and returns its line.
func (a *gridArea) device(loop, address int) string {
	kind, suffix := "smoke_detector: {}", "SD"
	switch position := (address - 1) % areaSize; {
	case position == 0:
		kind, suffix = "call_point: {}, isolator: true", "CP"
	case position == 1:
		kind, suffix = "loop_sounder: {}", "LS"
	case position == 2:
		kind, suffix = "relay_module: {contact: {at_rest: open, on_loop_loss: rests}}", "DOOR"
	case position == areaSize/2:
		kind += ", isolator: true" // no more than 20 devices between two isolators
	case position%10 == 9:
		kind, suffix = "heat_detector: {}", "HD"
	}
	label := fmt.Sprintf("L%d-%03d-%s", loop, address, suffix)
	zone := fmt.Sprintf(" zone: %s,", a.id)
	switch suffix {
	case "LS":
		a.sounder, zone = label, ""
	case "DOOR":
		a.door, zone = label, ""
	case "SD":
		if a.detector == "" {
			a.detector = label
		}
	}
	if zone != "" {
		a.inputs = append(a.inputs, label)
	}
	return fmt.Sprintf("{address: %d, label: %s, place: %s,%s cable_m: 5, %s}", address, label, a.id, zone, kind)
}

// program writes the cause and effect of the generated site.
func (d *siteData) program(areas []gridArea) {
	var sounders, doors, own []string
	d.Causes = []string{`{cause: any-fire, when: "panel.fire"}`}
	for _, a := range areas {
		d.Places, d.Zones = append(d.Places, a.id), append(d.Zones, a.id)
		if a.door != "" {
			doors = append(doors, a.door)
		}
		if a.sounder == "" {
			continue
		}
		sounders = append(sounders, a.sounder)
		d.Causes = append(d.Causes, fmt.Sprintf(`{cause: fire-%s, when: "zone('%s').fire"}`, a.id, a.id))
		d.Effects = append(d.Effects, fmt.Sprintf("{effect: sound-%s, outputs: [%s], silenceable: true}", a.id, a.sounder))
		own = append(own, fmt.Sprintf("{causes: [fire-%s], effects: [sound-%s], state: evacuate}", a.id, a.id))
	}
	d.Actions = own
	if len(areas) > 1 { // with one area nobody is left to be alerted
		d.Effects = append(d.Effects, fmt.Sprintf("{effect: sound-all, outputs: [%s], silenceable: true}", strings.Join(sounders, ", ")))
		d.Actions = append(d.Actions, `{causes: [any-fire], effects: [sound-all], state: alert}`)
	}
	d.Effects = append(d.Effects, fmt.Sprintf("{effect: doors, outputs: [%s]}", strings.Join(doors, ", ")))
	d.Actions = append(d.Actions, `{causes: [any-fire], effects: [doors], state: "on"}`)
}

// gridMatrix has a row for each area over all its fire inputs, and one for the general alarm.
func gridMatrix(areas []gridArea) []byte {
	header := []string{"cause", "when", "given"}
	general := []string{"general alarm", "panel.fire", ""}
	others := "alert silenceable"
	if len(areas) == 1 {
		others = ""
	}
	for _, a := range areas {
		if a.sounder != "" {
			header, general = append(header, a.sounder), append(general, others)
		}
	}
	header, general = append(header, "doors"), append(general, "on")
	rows := [][]string{header, general}
	column := 3
	for _, a := range areas {
		row := make([]string, len(header))
		row[0], row[1] = "fire in "+a.id, "place('"+a.id+"').fire"
		if a.sounder != "" {
			row[column] = "evacuate silenceable"
			column++
		}
		rows = append(rows, row)
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	if err := w.WriteAll(rows); err != nil {
		panic("starter: writing to memory: " + err.Error())
	}
	return out.Bytes()
}

// gridScenario is smoke in the first area and a call point in the last.
func gridScenario(areas []gridArea) []byte {
	first, last := areas[0], areas[len(areas)-1]
	steps := []string{
		fmt.Sprintf("{at: 5s, step: smoke, smoke: {device: %s, level_pct_per_m: 8}}", first.detector),
		fmt.Sprintf("{at: 30s, step: press, press: {device: %s}}", last.inputs[0]),
		"{at: 60s, step: silence, silence: {}}",
	}
	expect := []string{
		fmt.Sprintf(`{since: smoke, within: 10s, that: "output('%s').state == 'evacuate'", note: its own area evacuates}`, first.sounder),
		fmt.Sprintf(`{since: smoke, within: 10s, that: "output('%s').on", note: doors let go}`, first.door),
		fmt.Sprintf(`{since: press, within: 10s, that: "zone('%s').devices_in_fire == 1"}`, last.id),
	}
	if len(areas) == 1 {
		expect[2] = fmt.Sprintf(`{since: press, within: 10s, that: "device('%s').fire"}`, last.inputs[0])
	}
	if last.sounder != "" && len(areas) > 1 {
		expect = append(expect,
			fmt.Sprintf(`{since: smoke, within: 10s, that: "output('%s').state == 'alert'", note: all others are alerted}`, last.sounder),
			fmt.Sprintf(`{since: press, within: 10s, that: "output('%s').state == 'evacuate'"}`, last.sounder))
	}
	expect = append(expect,
		fmt.Sprintf(`{since: silence, within: 10s, that: "!output('%s').on"}`, first.sounder),
		fmt.Sprintf(`{from: 70s, to: 80s, always: "output('%s').on", note: silence touches only what sounds}`, first.door))
	return scenarioText("Smoke in the first area, a call point in the last, silence.", "smoke, then a call point far away", steps, expect)
}
