package plant

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

// story is a script and everything that the equipment must say, with what the expectation rests
// on. Times were worked out by hand from the round numbers of the rig.
type story struct {
	name, source string
	equipment    []*pb.Equipment
	script       string
	want         string
}

func run(t *testing.T, stories []story) {
	for _, c := range stories {
		t.Run(c.name, func(t *testing.T) {
			got := newRig(t, c.equipment...).play(t, c.script)
			var want []string
			for line := range strings.SplitSeq(c.want, ";") {
				want = append(want, strings.TrimSpace(line))
			}
			if diff := cmp.Diff(strings.Join(want, "\n"), got); diff != "" {
				t.Errorf("%s\nsource: %s\nscript: %s\n(-want +got):\n%s", c.name, c.source, c.script, diff)
			}
		})
	}
}

func one(eq ...*pb.Equipment) []*pb.Equipment { return eq }

func TestLift(t *testing.T) {
	run(t, []story{
		{"recall from the top: two floors and the doors", "common practice: 2 x 4 s + 3 s", one(aLift()),
			"0s lift/recall",
			`0s lift = recalling; 0s lift +in-recall;
			11s lift = at-recall-floor; 11s lift +at-floor; 11s lift done recall`},
		{"recall from below: one floor and the doors", "common practice: 4 s + 3 s", one(aLiftAt("B1")),
			"0s lift/recall",
			`0s lift = recalling; 0s lift +in-recall;
			7s lift = at-recall-floor; 7s lift +at-floor; 7s lift done recall`},
		{"recall where it stands: the doors", "common practice: 3 s", one(aLiftAt("G")),
			"0s lift/recall",
			`0s lift = recalling; 0s lift +in-recall;
			3s lift = at-recall-floor; 3s lift +at-floor; 3s lift done recall`},
		{"the first landing holds, the other is looked at when it is reset",
			"EN 81-73:2020 5.1.2 as inputs: input 1 at 0, input 0 at 5 s; target stays level 1 until reset", one(aLift()),
			"0s lift/alternate; 5s lift/recall; 30s lift/alternate off; 60s lift/recall off",
			`0s lift = recalling-alternate; 0s lift +in-recall;
			7s lift = at-alternate-floor; 7s lift +at-floor; 7s lift done alternate;
			30s lift = recalling; 30s lift -at-floor;
			40s lift = at-recall-floor; 40s lift +at-floor; 40s lift done recall;
			60s lift = in-service; 60s lift -at-floor; 60s lift -in-recall`},
		{"a second input that comes and goes does not move the car", "ASME A17.1 2.27, from memory", one(aLift()),
			"0s lift/recall; 1s lift/alternate; 20s lift/alternate off",
			`0s lift = recalling; 0s lift +in-recall;
			11s lift = at-recall-floor; 11s lift +at-floor; 11s lift done recall`},
		{"power off 5 s after the recall, car still moving: it stops there, and goes on when power is back",
			"https://elevatorworld.com/article/elevator-shunt-trip-part-2 (on ASME A17.1): power removed at once, not after arrival; 6 s of way left after 5 s", one(aLift()),
			"0s lift/recall; 5s lift/power-off; 100s lift/power-off off",
			`0s lift = recalling; 0s lift +in-recall;
			5s lift = stopped; 5s lift -in-recall; 5s lift done power-off;
			100s lift = recalling; 100s lift +in-recall;
			106s lift = at-recall-floor; 106s lift +at-floor; 106s lift done recall`},
		{"without power it does not obey", "common practice", one(aLift()),
			"0s lift/power-off; 1s lift/recall; 2s lift/hat-steady; 500s lift/power-off off",
			`0s lift = stopped; 0s lift done power-off;
			500s lift = recalling; 500s lift +in-recall; 500s lift done hat-steady;
			511s lift = at-recall-floor; 511s lift +at-floor; 511s lift done recall`},
		{"a shunt trip does the same", "NFPA 72 21.4: heat detector removes lift power", one(aLift(), aTrip("shunt", "lift")),
			"0s lift/recall; 5s shunt/trip; 50s shunt/trip off",
			`0s lift = recalling; 0s lift +in-recall;
			5s shunt = opening;
			5.1s shunt = tripped; 5.1s shunt +tripped; 5.1s shunt done trip;
			5.1s lift = stopped; 5.1s lift -in-recall;
			50s shunt = closed; 50s shunt -tripped;
			50s lift = recalling; 50s lift +in-recall;
			55.9s lift = at-recall-floor; 55.9s lift +at-floor; 55.9s lift done recall`},
		{"reset in mid-travel: on to the next floor, then back in service", "common practice; recalled again from L1: 4 s + 3 s", one(aLift()),
			"0s lift/recall; 1s lift/recall off; 20s lift/recall",
			`0s lift = recalling; 0s lift +in-recall;
			1s lift = in-service; 1s lift -in-recall;
			20s lift = recalling; 20s lift +in-recall;
			27s lift = at-recall-floor; 27s lift +at-floor; 27s lift done recall`},
		{"the other landing in mid-travel takes the way back", "arithmetic: 6 s down from L2 leaves 2 s above G; L1 is 2 s up", one(aLift()),
			"0s lift/recall; 6s lift/recall off; 6s lift/alternate",
			`0s lift = recalling; 0s lift +in-recall;
			6s lift = in-service; 6s lift -in-recall;
			6s lift = recalling-alternate; 6s lift +in-recall;
			11s lift = at-alternate-floor; 11s lift +at-floor; 11s lift done alternate`},
		{"the lamp", "ASME A17.1, from memory: steady, or flashing for a detector in the machine room or hoistway", one(aLift()),
			"0s lift/hat-steady; 1s lift/hat-flash", "0s lift done hat-steady; 1s lift done hat-flash"},
		{"stuck", "schema: PlantFaultStep", one(aLift()),
			"0s lift stuck; 1s lift/recall; 60s lift repaired",
			`1s lift = stopped; 1s lift +in-recall;
			60s lift = recalling; 71s lift = at-recall-floor; 71s lift +at-floor; 71s lift done recall`},
	})
}

func TestAir(t *testing.T) {
	run(t, []story{
		{"run up, run down", "common practice", one(aFan(false)), "0s fan/start; 60s fan/start off",
			`0s fan = running-up; 12s fan = running; 12s fan +running; 12s fan done start;
			60s fan = running-down; 60s fan -running; 84s fan = stopped`},
		{"stopped half way up: half the time down", "arithmetic: 6 of 12 s up, 12 of 24 s down", one(aFan(false)),
			"0s fan/start; 6s fan/start off", "0s fan = running-up; 6s fan = running-down; 18s fan = stopped"},
		{"stop wins", "common practice: stop circuits are in series with start", one(aFan(false)),
			"0s fan/start; 20s fan/stop; 60s fan/stop off",
			`0s fan = running-up; 12s fan = running; 12s fan +running; 12s fan done start;
			20s fan = running-down; 20s fan -running; 44s fan = stopped; 44s fan done stop;
			60s fan = running-up; 72s fan = running; 72s fan +running`},
		{"supply air stops", "NFPA 90A: the duct detector stops its own fan", one(aFan(true)), "0s fan/stop; 30s fan/stop off",
			`0s fan = running-down; 0s fan -running; 24s fan = stopped; 24s fan done stop;
			30s fan = running-up; 42s fan = running; 42s fan +running`},
		{"tripped", "common practice", one(aFan(true), aTrip("main", "fan")), "0s main/trip; 12.1s main/trip off",
			`0s main = opening; 0.1s main = tripped; 0.1s main +tripped; 0.1s main done trip;
			0.1s fan = tripped; 0.1s fan -running; 0.1s fan +tripped;
			12.1s main = closed; 12.1s main -tripped;
			12.1s fan = running-up; 12.1s fan -tripped; 18.1s fan = running; 18.1s fan +running`},
		{"a stuck fan that loses its power still runs down", "common practice", one(aFan(true), aTrip("main", "fan")),
			"0s fan stuck; 1s fan/stop; 2s main/trip",
			`2s main = opening; 2.1s main = tripped; 2.1s main +tripped; 2.1s main done trip;
			2.1s fan = tripped; 2.1s fan -running; 2.1s fan +tripped; 26.1s fan done stop`},
		{"slow", "schema: PlantFaultStep; 3 s of the way at full rate, 9 s at a third", one(aFan(false)),
			"0s fan/start; 3s fan slow 3",
			"0s fan = running-up; 30s fan = running; 30s fan +running; 30s fan done start"},
		{"unproven: it works, its signal does not come", "schema: PlantFaultStep", one(aFan(false)),
			"0s fan unproven; 1s fan/start; 40s fan repaired",
			"1s fan = running-up; 13s fan = running; 13s fan done start; 40s fan +running"},
		{"unproven: a signal that shows goes on showing", "a limit switch that does not move (common practice)", one(aDamper("")),
			"0s damper unproven; 1s damper/close; 40s damper repaired",
			"1s damper = closing; 16s damper = closed; 16s damper done close; 40s damper -opened; 40s damper +closed"},
		{"damper shuts and opens again", "common practice", one(aDamper("")), "0s damper/close; 60s damper/close off",
			`0s damper = closing; 0s damper -opened; 15s damper = closed; 15s damper +closed; 15s damper done close;
			60s damper = opening; 60s damper -closed; 75s damper = open; 75s damper +opened`},
		{"damper turned round in mid-travel", "arithmetic: 4 s out, 4 s back", one(aDamper("closed")),
			"0s damper/open; 4s damper/open off; 6s damper/open",
			`0s damper = opening; 0s damper -closed; 4s damper = closing; 6s damper = opening;
			19s damper = open; 19s damper +opened; 19s damper done open`},
		{"close wins", "common practice: the fire position", one(aDamper("closed")),
			"0s damper/open; 5s damper/close; 20s damper/close off",
			`0s damper = opening; 0s damper -closed; 5s damper = closing;
			10s damper = closed; 10s damper +closed; 10s damper done close;
			20s damper = opening; 20s damper -closed; 35s damper = open; 35s damper +opened; 35s damper done open`},
		{"motor damper without power stays", "common practice", one(aDamper(""), aTrip("main", "damper")),
			"0s damper/close; 4.9s main/trip; 20s main/trip off",
			`0s damper = closing; 0s damper -opened; 4.9s main = opening;
			5s main = tripped; 5s main +tripped; 5s main done trip; 5s damper = part-open;
			20s main = closed; 20s main -tripped; 20s damper = closing;
			30s damper = closed; 30s damper +closed; 30s damper done close`},
		{"spring damper without power shuts", "common practice: fail-safe",
			one(deEnergise(aDamper(""), "close"), aTrip("main", "damper")), "0s main/trip",
			`0s main = opening; 0.1s main = tripped; 0.1s main +tripped; 0.1s main done trip;
			0.1s damper = closing; 0.1s damper -opened; 15.1s damper = closed; 15.1s damper +closed`},
	})
}

func TestDoors(t *testing.T) {
	run(t, []story{
		{"the door closes and stays closed", "common practice: nobody opens it", one(aHolder()),
			"0s door/hold; 60s door/hold off; 90s door/hold",
			"0s door = closing; 5s door = closed; 5s door +closed; 5s door done hold; 90s door done hold"},
		{"taken up again in mid-swing it still closes", "common practice: the magnet does not catch a moving door", one(aHolder()),
			"0s door/hold; 2s door/hold off", "0s door = closing; 5s door = closed; 5s door +closed"},
		{"a cut supply lets go a holder that needs its voltage", "BS 7273-4 category A: release on loss of power",
			one(deEnergise(aHolder(), "all"), aTrip("main", "door")), "0s main/trip",
			`0s main = opening; 0.1s main = tripped; 0.1s main +tripped; 0.1s main done trip;
			0.1s door = closing; 5.1s door = closed; 5.1s door +closed`},
		{"the lock is free and locks again only when its output rests", "NFPA 72:2010 21.9, the lock's part", one(aLock()),
			"0s lock/hold; 60s lock/hold off",
			"0s lock = releasing; 0.5s lock = free; 0.5s lock -locked; 0.5s lock done hold; 60s lock = locked; 60s lock +locked"},
		{"a short wish does not free it", "arithmetic", one(aLock()), "0s lock/hold; 400ms lock/hold off",
			"0s lock = releasing; 0.4s lock = locked"},
		{"a jammed lock", "schema: PlantFaultStep", one(aLock()), "0s lock stuck; 1s lock/hold; 9s lock repaired",
			"9s lock = releasing; 9.5s lock = free; 9.5s lock -locked; 9.5s lock done hold"},
	})
}

func TestShutoff(t *testing.T) {
	run(t, []story{
		{"gas stays off", "common practice: until reset by hand", one(aValve(false)),
			"0s valve/close; 60s valve/close off",
			"0s valve = closing; 5s valve = closed; 5s valve +closed; 5s valve done close"},
		{"asked for a moment, it closes all the way", "common practice", one(aValve(false)), "0s valve/close; 1s valve/close off",
			"0s valve = closing; 5s valve = closed; 5s valve +closed"},
		{"one that reopens", "schema", one(aValve(true)), "0s valve/close; 2s valve/close off; 10s valve/close; 20s valve/close off",
			`0s valve = closing; 2s valve = opening; 4s valve = open;
			10s valve = closing; 15s valve = closed; 15s valve +closed; 15s valve done close;
			20s valve = opening; 20s valve -closed; 25s valve = open`},
		{"power held off by two trips is back with the second", "arithmetic",
			one(aSiren(), aTrip("a", "siren"), aTrip("b", "siren")), "0s siren/run; 5s a/trip; 6s b/trip; 7s a/trip off; 8s b/trip off",
			`0s siren = running-up; 2s siren = running; 2s siren +running; 2s siren done run;
			5s a = opening; 5.1s a = tripped; 5.1s a +tripped; 5.1s a done trip; 5.1s siren = no-power; 5.1s siren -running;
			6s b = opening; 6.1s b = tripped; 6.1s b +tripped; 6.1s b done trip;
			7s a = closed; 7s a -tripped;
			8s b = closed; 8s b -tripped; 8s siren = running-up; 10s siren = running; 10s siren +running`},
		{"a cut trip loses its control voltage and cannot trip", "NFPA 72 21.4.4: the loss is reported", one(aTrip("main", "shunt"), aTrip("shunt", "lift"), aLift()),
			"0s main/trip; 1s shunt/trip; 2s main/trip off",
			`0s main = opening; 0.1s main = tripped; 0.1s main +tripped; 0.1s main done trip; 0.1s shunt -control-voltage;
			2s main = closed; 2s main -tripped; 2s shunt = opening; 2s shunt +control-voltage;
			2.1s shunt = tripped; 2.1s shunt +tripped; 2.1s shunt done trip; 2.1s lift = stopped`},
		{"an undervoltage trip opens when it is cut", "common practice", one(aTrip("main", "shunt"), deEnergise(aTrip("shunt", "siren"), "trip"), aSiren()),
			"0s main/trip; 5s main/trip off",
			`0s main = opening; 0.1s main = tripped; 0.1s main +tripped; 0.1s main done trip;
			0.1s shunt = opening; 0.1s shunt -control-voltage;
			0.2s shunt = tripped; 0.2s shunt +tripped; 0.2s siren = no-power;
			5s main = closed; 5s main -tripped; 5s shunt = closed; 5s shunt -tripped; 5s shunt +control-voltage; 5s siren = silent`},
	})
}

func TestRelease(t *testing.T) {
	run(t, []story{
		{"countdown", "http://navalfacilities.tpub.com/aeg_fe/aeg_fe0409.htm, cross-zoned release: released at 20 s with a delay of 30 s, discharge at 50 s", one(aRelease("")), "20s gas/release; 70s gas/release off",
			"20s gas = counting-down; 50s gas = released; 50s gas +released; 50s gas +low-pressure; 50s gas done release"},
		{"hold-off pauses", "https://ufgscriteriadocreport.tpub.com/13961N/13961N0013.htm, pause and resume: held from 30 s to 45 s, discharge at 65 s", one(aRelease("pauses")),
			"20s gas/release; 30s gas/hold-off; 45s gas/hold-off off",
			`20s gas = counting-down; 30s gas = held; 30s gas done hold-off; 45s gas = counting-down;
			65s gas = released; 65s gas +released; 65s gas +low-pressure; 65s gas done release`},
		{"hold-off restarts", "common practice: the full count starts again", one(aRelease("restarts")),
			"20s gas/release; 30s gas/hold-off; 45s gas/hold-off off",
			`20s gas = counting-down; 30s gas = held; 30s gas done hold-off; 45s gas = counting-down;
			75s gas = released; 75s gas +released; 75s gas +low-pressure; 75s gas done release`},
		{"hold-off cancels until the release has been at rest", "common practice: cancelled until reset", one(aRelease("cancels")),
			"20s gas/release; 30s gas/hold-off; 45s gas/hold-off off; 90s gas/release off; 100s gas/release",
			`20s gas = counting-down; 30s gas = cancelled; 30s gas done hold-off; 90s gas = ready; 100s gas = counting-down;
			130s gas = released; 130s gas +released; 130s gas +low-pressure; 130s gas done release`},
		{"a cancellation is not lost with the power", "common practice: cancelled until reset", one(aRelease("cancels"), aTrip("main", "gas")),
			"20s gas/release; 30s gas/hold-off; 35s gas/hold-off off; 40s main/trip; 60s main/trip off",
			`20s gas = counting-down; 30s gas = cancelled; 30s gas done hold-off;
			40s main = opening; 40.1s main = tripped; 40.1s main +tripped; 40.1s main done trip; 40.1s gas = no-power;
			60s main = closed; 60s main -tripped; 60s gas = cancelled`},
		{"a countdown is lost with the power, and begins anew", "common practice", one(aRelease(""), aTrip("main", "gas")),
			"20s gas/release; 40s main/trip; 60s main/trip off",
			`20s gas = counting-down; 40s main = opening; 40.1s main = tripped; 40.1s main +tripped; 40.1s main done trip; 40.1s gas = no-power;
			60s main = closed; 60s main -tripped; 60s gas = counting-down;
			90s gas = released; 90s gas +released; 90s gas +low-pressure; 90s gas done release`},
		{"hold-off too late", "common practice: nothing holds what has been discharged", one(aRelease("")), "0s gas/release; 31s gas/hold-off",
			`0s gas = counting-down; 30s gas = released; 30s gas +released; 30s gas +low-pressure; 30s gas done release`},
		{"hold-off first", "https://ufgscriteriadocreport.tpub.com/13961N/13961N0013.htm: the count waits", one(aRelease("")), "0s gas/hold-off; 5s gas/release; 10s gas/hold-off off",
			`0s gas done hold-off; 5s gas = held; 10s gas = counting-down;
			40s gas = released; 40s gas +released; 40s gas +low-pressure; 40s gas done release`},
		{"hold-off at the very instant the count runs out still holds", "rule E2: at the instant of expiry what stops it wins", one(aRelease("")),
			"0s gas/release; 30s gas/hold-off; 31s gas/hold-off off",
			`0s gas = counting-down; 30s gas = held; 30s gas done hold-off;
			31s gas = released; 31s gas +released; 31s gas +low-pressure; 31s gas done release`},
		{"given up", "rule E1: level, not edge", one(aRelease("")), "0s gas/release; 29s gas/release off; 40s gas/release",
			`0s gas = counting-down; 29s gas = ready; 40s gas = counting-down;
			70s gas = released; 70s gas +released; 70s gas +low-pressure; 70s gas done release`},
		{"stuck: the agent does not come", "schema: PlantFaultStep", one(aRelease("")), "0s gas stuck; 1s gas/release; 60s gas repaired",
			`1s gas = counting-down; 31s gas = overdue;
			60s gas = released; 60s gas +released; 60s gas +low-pressure; 60s gas done release`},
	})
}

func TestMessages(t *testing.T) {
	run(t, []story{
		{"the earliest in the list has priority", "schema: in order of priority", one(anAnnouncement()),
			"0s voice/message-alert; 10s voice/message-evacuate; 20s voice/message-evacuate off; 30s voice/message-alert off",
			`0s voice = starting; 2s voice = message-alert; 2s voice +speaking; 2s voice done message-alert;
			10s voice = starting; 10s voice -speaking; 12s voice = message-evacuate; 12s voice +speaking; 12s voice done message-evacuate;
			20s voice = starting; 20s voice -speaking; 22s voice = message-alert; 22s voice +speaking;
			30s voice = silent; 30s voice -speaking`},
		{"a later one waits", "schema", one(anAnnouncement()), "0s voice/message-evacuate; 1s voice/message-alert; 9s voice/message-evacuate off",
			`0s voice = starting; 2s voice = message-evacuate; 2s voice +speaking; 2s voice done message-evacuate;
			9s voice = starting; 9s voice -speaking; 11s voice = message-alert; 11s voice +speaking; 11s voice done message-alert`},
		{"every report has its own receipt", "common practice", one(aDialler()),
			"0s dialler/fault; 30s dialler/alarm; 60s dialler/fault off; 61s dialler/alarm off",
			`0s dialler = sending; 20s dialler = acknowledged; 20s dialler +acknowledged; 20s dialler done fault;
			30s dialler = sending; 30s dialler -acknowledged; 50s dialler = acknowledged; 50s dialler +acknowledged; 50s dialler done alarm;
			61s dialler = idle; 61s dialler -acknowledged`},
		{"two reports under way, one given up", "common practice", one(aDialler()),
			"0s dialler/alarm; 5s dialler/supervisory; 10s dialler/alarm off",
			`0s dialler = sending; 25s dialler = acknowledged; 25s dialler +acknowledged; 25s dialler done supervisory`},
		{"its line is out of order: three calls of 20 s, 30 s apart, and it gives up until the input rests", "schema: Dialler, attempts and retry_after (common practice)", one(aDialler()),
			"0s dialler stuck; 1s dialler/alarm; 300s dialler repaired; 400s dialler/alarm off; 500s dialler/alarm",
			`1s dialler = sending; 121s dialler = failed; 121s dialler +failed; 400s dialler = idle; 400s dialler -failed;
			500s dialler = sending; 520s dialler = acknowledged; 520s dialler +acknowledged; 520s dialler done alarm`},
		{"two calls of 20 s and 10 s between", "schema: Dialler, attempts and retry_after", one(aPatientDialler(2)), "0s dialler stuck; 1s dialler/alarm",
			`1s dialler = sending; 51s dialler = failed; 51s dialler +failed`},
		{"one call and no more", "schema: Dialler, attempts", one(aPatientDialler(1)), "0s dialler stuck; 1s dialler/alarm",
			`1s dialler = sending; 21s dialler = failed; 21s dialler +failed`},
		{"no receipt comes back: its signals tell", "words of the fault: unproven is no receipt", one(aDialler()),
			"0s dialler unproven; 1s dialler/fault; 2s dialler/alarm",
			`1s dialler = sending; 121s dialler = failed; 121s dialler +failed`},
		{"the line is mended during the first call, and during the pause", "a call is heard if the line is whole when the receipt is due", one(aDialler()),
			"0s dialler stuck; 1s dialler/alarm; 20s dialler repaired; 100s dialler/alarm off; 200s dialler stuck; 201s dialler/alarm; 230s dialler repaired",
			`1s dialler = sending; 21s dialler = acknowledged; 21s dialler +acknowledged; 21s dialler done alarm; 100s dialler = idle; 100s dialler -acknowledged;
			201s dialler = sending; 271s dialler = acknowledged; 271s dialler +acknowledged; 271s dialler done alarm`},
		{"one call lost, and the second is heard within the 90 s of the centre", "NFPA 72 26.6.3: displayed at the supervising station within 90 s", one(aDialler()),
			"0s dialler stuck; 0s dialler/alarm; 50s dialler repaired",
			`0s dialler = sending; 70s dialler = acknowledged; 70s dialler +acknowledged; 70s dialler done alarm`},
		{"siren", "common practice", one(aSiren()), "0s siren/run; 1s siren/run off; 5s siren/run; 8s siren/run off",
			`0s siren = running-up; 1s siren = silent; 5s siren = running-up; 7s siren = running; 7s siren +running; 7s siren done run;
			8s siren = silent; 8s siren -running`},
		{"point", "common practice", one(aBms()), "0s bms/point; 8s bms/point off",
			`0s bms = reporting; 1s bms = seen; 1s bms +seen; 1s bms done point; 8s bms = normal; 8s bms -seen`},
		{"anything else", "common practice", one(aGeneric()), "0s thing/operate; 8s thing/operate off",
			`0s thing = operating; 1s thing = done; 1s thing +done; 1s thing done operate; 8s thing = at-rest; 8s thing -done`},
	})
}
