package verify

import "testing"

// awaySite is the bench with a program of what is not as at rest.
func awaySite(t *testing.T, old, with, program string) string {
	t.Helper()
	return replaced(t, readText(t, "testdata/bench.yaml"), old, with) + program
}

// TestModeAtRest: the panel begins in the mode that the file names, and a row over the other is not met.
func TestModeAtRest(t *testing.T) {
	text := awaySite(t, "panel:\n", "panel:\n  mode: night\n", `
program:
  causes: [{cause: by-day, when: "device('HALL-CP').fire && panel.mode == 'day'"}, {cause: by-night, when: "device('HALL-CP').fire && panel.mode == 'night'"}]
  effects: [{effect: bell, outputs: [BELL]}, {effect: door, outputs: [DOOR]}]
  actions: [{causes: [by-day], effects: [bell], state: "on"}, {causes: [by-night], effects: [door], state: "on"}]
`)
	const day, night = "day,device('HALL-CP').fire && panel.mode == 'day'", "night,device('HALL-CP').fire && panel.mode == 'night'"
	for _, c := range []struct{ name, rows, want string }{
		{"day is not met", day + ",,on,\n", `row 2, "day": no device signal can make the row true: the points it names cannot give these signals, or what ` + "`given` sets keeps it false: correct the condition or the setting"},
		{"night is", night + ",,,on\n", ""},
		{"day is set", day + ",mode=day,on,\n", ""},
		{"both", night + ",,,on\n" + day + ",mode=day,on,\n", ""},
		{"whatever the mode, and by day", "any,device('HALL-CP').fire,,,on\nset,device('HALL-CP').fire,mode=day,on,off\n", ""},
	} {
		built := buildText(t, text, "cause,when,given,BELL,DOOR\n"+c.rows)
		report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
		if got := firstDifference(report); got != c.want {
			t.Errorf("%s: %q, not %q", c.name, got, c.want)
		}
	}
}

// TestFaultInRun: a proof that is missed by three seconds is a fault, though it has gone when anybody looks: a row that
// speaks of it cannot be judged, and one that does not can.
func TestFaultInRun(t *testing.T) {
	text := awaySite(t, "rules: {packs: [nfpa72]}", "rules: {packs: [nfpa72], limits: [{limit: proof_fan_s, value: 2, why: a story}]}", `
program:
  causes: [{cause: fire, when: "device('HALL-CP').fire"}]
  effects: [{effect: bell, outputs: [BELL]}, {effect: fan, outputs: [FAN-START]}]
  actions: [{causes: [fire], effects: [bell, fan], state: "on"}]
`)
	const want = "fire x BELL: errored, fire stage of HALL-CP: required on, observed a fault that the condition speaks of comes at 3.839 s: FAN-RUNS: the proof has not come in time"
	for _, c := range []struct{ when, want string }{
		{"device('HALL-CP').fire", ""},
		{"device('HALL-CP').fire && !device('PUMP-TRIP').fault", ""},
		{"device('HALL-CP').fire && !device('FAN-RUNS').fault", want},
		{"device('HALL-CP').fire && !panel.fault", want},
	} {
		built := buildText(t, text, "cause,when,given,BELL,FAN-START\nfire,"+c.when+",,on,on\n")
		report, _ := verified(t, newVerifier(t, built.Plan(), built.Matrix))
		if got := firstDifference(report); got != c.want {
			t.Errorf("%s: %q, not %q", c.when, got, c.want)
		}
	}
}
