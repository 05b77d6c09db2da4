package verify

import "testing"

// restSite has an air handler that runs while nothing happens, and an input that proves it.
const restSite = `
site: rest
rules: {packs: [nfpa72]}
places: [{place: hall}]
zones: [{zone: hall}]
equipment:
  - {equipment: air, fan: {run_up: 5s, run_down: 5s, runs_at_rest: true}}
loops:
  - loop: 1
    wiring: branch
    driver: {voltage_v: 28}
    cable: {conductor_mm2: 1.5}
    devices:
      - {address: 1, label: HALL-CP, place: hall, zone: hall, cable_m: 5, call_point: {}}
      - {address: 2, label: AIR-STOP, place: hall, cable_m: 5, relay_module: {contact: {at_rest: open}, drives: {equipment: air, input: stop}}}
      - {address: 3, label: AIR-RUNS, place: hall, cable_m: 5, input_module: {input: technical, proves: {equipment: air, signal: running}}}
      - {address: 4, label: SOUNDER, place: hall, cable_m: 5, loop_sounder: {current_ma: 5}}
program:
  causes: [{cause: fire, when: "panel.fire"}, {cause: stopped, when: "device('HALL-CP').fire && !device('AIR-RUNS').active"}]
  effects: [{effect: stop, outputs: [AIR-STOP]}, {effect: sounder, outputs: [SOUNDER]}]
  actions: [{causes: [fire], effects: [stop], state: "on"}, {causes: [stopped], effects: [sounder], state: evacuate}]
`

// TestReadAtRest: rows over an input that is active while nothing happens.
func TestReadAtRest(t *testing.T) {
	for _, c := range []struct{ name, row, want string }{
		{"true once the fan has stopped", "stopped,device('HALL-CP').fire && !device('AIR-RUNS').active,,on,evacuate",
			"stopped x AIR-STOP: early, fire stage of HALL-CP: required on at 1.443 s, observed on at 1.383 s (demanded at 1.364 s)"},
		{"both rows", "fire,device('HALL-CP').fire,,on,\nstopped,device('HALL-CP').fire && !device('AIR-RUNS').active,,,evacuate", ""},
		{"true with the call point alone", "running,device('HALL-CP').fire && device('AIR-RUNS').active,,on until reset,any\n", ""},
		{"true at rest", "runs,device('AIR-RUNS').active,,any,\nfire,device('HALL-CP').fire,,on,any",
			`row 2, "runs": the row is true without any signal: an input that it names is active while nothing happens, as the proof of equipment that runs at rest is; ` +
				"give the input `at_rest: closed`, or write the row over the loss of the signal"},
	} {
		t.Run(c.name, func(t *testing.T) {
			built := buildText(t, restSite, "cause,when,given,AIR-STOP,SOUNDER\n"+c.row+"\n")
			report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
			if got := firstDifference(report); got != c.want || report.GetPassed() != (c.want == "") {
				t.Errorf("passed %v: %s", report.GetPassed(), got)
			}
		})
	}
}

// TestConditionNeverTrue: every signal is confirmed, and the row still never becomes true, because
// the program does not stop the fan.
func TestConditionNeverTrue(t *testing.T) {
	text := replaced(t, restSite, "{causes: [fire], effects: [stop], state: \"on\"}, ", "")
	built := buildText(t, text, "cause,when,given,AIR-STOP,SOUNDER\nstopped,device('HALL-CP').fire && !device('AIR-RUNS').active,,,evacuate\n")
	report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
	if len(report.GetCells()) != 1 || report.GetPassed() {
		t.Fatalf("passed %v, cells %v", report.GetPassed(), report.GetCells())
	}
	c := report.GetCells()[0]
	if c.GetVerdict() != missing.String() || c.GetDifference().GetBrokenLink() != linkCondition {
		t.Errorf("%s, broken at %q", c.GetVerdict(), c.GetDifference().GetBrokenLink())
	}
}
