package check

import (
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "loopdrill.dev/loopdrill/proto/loopdrill/v1"
)

func merge(into, from *pb.Site) {
	if from.GetRules() != nil {
		into.Rules = nil
	}
	proto.Merge(into, from)
}

// Each mistake, and beside it the same program put right. Causes and actions are counted on from the basics' four.
func TestProgram(t *testing.T) {
	use := func(cause string) string {
		return `actions: {causes: "` + cause + `" effects: "r2" state: "on"}`
	}
	cause := func(when string) string { return `causes: {cause: "c" when: "` + when + `"}` + use("c") }
	action := func(more string) string { return `actions: {causes: "hall-fire" effects: "hs" ` + more + `}` }
	for _, c := range []struct {
		name, source, more string
		want               string
		says               string // in the title or detail of the first
	}{
		{"the basics", "", "", "", ""},

		// What can never be: decided, not guessed.
		{"day and night at once", "two modes exclude each other", cause("panel.mode == 'day' && panel.mode == 'night'"),
			"warning program.cause-unreachable program.causes[4].when", "day and night exclude each other"},
		{"both ends of a switch", "a switch has one position", cause("zone('hall').fire && override('switch').position == 'on' && override('switch').position == 'off'"),
			`warning program.cause-unreachable program.causes[4].when`, `switch "switch" at on and switch "switch" at off exclude each other`},
		{"a cause and its denial, two steps away", "propositional logic", `causes: {cause: "d" when: "cause('hall-fire') && !control('key').on"}` + use("d") +
			cause("cause('d') && control('key').on"), "warning program.cause-unreachable program.causes[5].when", `cause "d" and "key" on exclude each other`},
		{"two fires, fewer than two", "counting", cause("zone('hall').devices_in_fire < 2 && device('H1').fire && device('H2').fire"), "warning program.cause-unreachable program.causes[4].when", ""},
		{"two fires, fewer than three", "counting", cause("zone('hall').devices_in_fire < 3 && device('H1').fire && device('H2').fire"), "", ""},
		{"an output in two states", "an output is in one state", cause("output('HS').commanded == 'alert' && output('HS').commanded == 'evacuate'"), "warning program.cause-unreachable program.causes[4].when", ""},
		{"always", "propositional logic", cause("control('key').on || !control('key').on"), "warning program.cause-always program.causes[4].when", ""},

		{"unless its own cause", "propositional logic", action(`state: "alert" unless: "panel.fire"`), "warning program.action-unreachable program.actions[4].unless", "can never act"},
		{"unless a key", "", action(`state: "evacuate" unless: "control('key').on"`), "", ""},
		{"a pulse outlasts its cause", "IEC 61131-3 TP, from memory", `actions: {causes: "fire" effects: "r2" state: "on" for: {seconds: 9} unless: "panel.fire"}`, "", ""},
		{"cancelled by its own cause", "cancel_when ends the delay", `actions: {causes: "hall-fire" effects: "ls" state: "alert" after: {seconds: 9} cancel_when: "zone('hall').fire"}`,
			"warning program.action-unreachable program.actions[4].cancel_when", ""},
		{"paused by its own cause, and hurried", "hurry_when ends the delay", `actions: {causes: "hall-fire" effects: "ls" state: "alert" after: {seconds: 9} pause_while: "zone('hall').fire" hurry_when: "control('key').on"}`, "", ""},
		{"acknowledged, or hurried by nothing", "", `actions: {causes: "hall-fire" effects: "ls" state: "alert" after: {seconds: 9} cancel_when: "panel.acknowledged"}`, "", ""},

		// What never shows (the stronger state counts: rule E6).
		{"alert under evacuate", "the stronger demand counts", action(`state: "alert"`), "warning program.action-hidden program.actions[4]", `the ` + "`evacuate`" + ` of cause "hall-fire"`},
		{"alert of all before", "", `actions: {causes: "fire" effects: "hs" state: "alert"}`, "", ""},
		{"alert under two evacuations that make up its cause", "the stronger demand counts", `actions: {causes: "lobby-fire" effects: "hs" state: "evacuate"} actions: {causes: "fire" effects: "hs" state: "alert"}`,
			"warning program.action-hidden program.actions[5]", "stronger demands together"},
		{"the evacuation comes later", "", `actions: {causes: "fire" effects: "ls" state: "evacuate" after: {seconds: 60}} actions: {causes: "hall-fire" effects: "ls" state: "alert"}`, "", ""},
		{"alert holds after its cause", "IEC 61131-3 TOF, from memory", action(`state: "alert" hold: {seconds: 9}`), "", ""},
		{"alert that silence leaves", "silence removes silenceable demands only", `effects: {effect: "hs2" outputs: "HS"} actions: {causes: "hall-fire" effects: "hs2" state: "alert"}`, "", ""},
		{"on under off", "off is the strongest", `actions: {causes: "fire" effects: "r1" state: "off"}`, "warning program.action-hidden program.actions[2]", "the `off`"},
		{"off by a key", "", `actions: {causes: "hand" effects: "r1" state: "off"}`, "", ""},

		// Coincidences count distinct detectors.
		{"two of a zone", "common practice", cause("zone('hall').detectors_in_fire >= 2"), "", ""},
		{"two of a zone, the call point among them", "common practice: a call point is no coincidence", cause("zone('hall').devices_in_fire >= 2"), "warning program.coincidence-call-point program.causes[4].when", `"HC"`},
		{"a zone and a device of it", "common practice: distinct devices", cause("at_least(2, [zone('hall').detectors_in_fire >= 1, device('H1').fire, device('L1').fire])"),
			"warning program.coincidence-same-device program.causes[4].when", `"H1" alone makes 2 of the members true`},
		{"cross-zone", "two zones, detectors only", cause("zone('hall').detectors_in_fire >= 1 && zone('lobby').detectors_in_fire >= 1"), "", ""},
		{"cross-zone with call points", "common practice", cause("zone('hall').fire && zone('lobby').fire"), "warning program.coincidence-call-point program.causes[4].when", ""},
		{"a zone at night", "", cause("zone('hall').fire && panel.mode == 'night'"), "", ""},

		// Delays: 10 min in all (EN 54-2 7.11, from memory).
		{"10 min", "EN 54-2 7.11, from memory", `actions: {causes: "fire" effects: "r2" state: "on" after: {seconds: 600}}`, "", ""},
		{"10 min and a second", "EN 54-2 7.11, from memory", `actions: {causes: "fire" effects: "r2" state: "on" after: {seconds: 601}}`, "warning program.delay-too-long program.actions[4].after", "10m1s"},
		{"a chain over an output", "EN 54-2 7.11, from memory", `actions: {causes: "lobby-fire" effects: "r2" state: "on" after: {seconds: 400}}` +
			`causes: {cause: "then" when: "output('R2').commanded == 'on'"} actions: {causes: "then" effects: "hs" state: "evacuate" after: {seconds: 201}}`,
			"warning program.delay-too-long program.actions[5].after", "behind 6m40s of outputs"},
		{"a long delay that no fire begins", "", `actions: {causes: "hand" effects: "r1" state: "on" after: {seconds: 3600}}`, "", ""},

		// A switch over a release.
		{"a switch lets the gas go", "delay and hold-off before discharge (guide specifications for CO2)",
			`effects: {effect: "gas" outputs: "R2"} actions: {causes: "fire" effects: "gas" state: "release"} overrides: {override: "o" effects: "gas"}`,
			"warning program.switched-release program.overrides[1].effects[0]", "past the hold-off"},
		{"a switch over something else", "", `overrides: {override: "o" effects: "r1"}`, "", ""},

		// What reset cannot end.
		{"a key's latch", "level, not edge: reset ends what is not caused", `effects: {effect: "k" outputs: "R2" until: "reset"} actions: {causes: "hand" effects: "k" state: "on"}`,
			"warning program.reset-does-not-end program.effects[4].until", "is enough for it"},
		{"a fire's latch", "", `effects: {effect: "k" outputs: "R2" until: "reset"} actions: {causes: "fire" effects: "k" state: "on"}`, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			found := judged(t, "", basics, c.more)
			if got := brief(found); got != c.want {
				t.Fatalf("found\n%s\nwant (%s)\n%s\n%v", got, c.source, c.want, found)
			}
			if len(found) > 0 && !strings.Contains(found[0].GetTitle()+" "+found[0].GetDetail(), c.says) {
				t.Errorf("%q is not in %q, %q", c.says, found[0].GetTitle(), found[0].GetDetail())
			}
		})
	}
}

// A call point sounds at once (BS 5839-1, 3 s; NFPA 72 10.11.1, 10 s; never delayed), whatever detectors wait for.
func TestCallPoints(t *testing.T) {
	const effects = `effects: {effect: "s" outputs: "HS" outputs: "LS"} `
	for _, c := range []struct {
		name, program string
		want          string
	}{
		{"every fire waits", `causes: {cause: "fire" when: "panel.fire"} actions: {causes: "fire" effects: "s" state: "evacuate" after: {seconds: 30}}`,
			"error program.call-point-delayed program.actions[0].after"},
		{"alert at once, evacuate later", `causes: {cause: "fire" when: "panel.fire"} actions: {causes: "fire" effects: "s" state: "alert"} actions: {causes: "fire" effects: "s" state: "evacuate" after: {seconds: 30}}`, ""},
		{"detectors wait, call points do not", `causes: {cause: "fire" when: "panel.fire"} causes: {cause: "hand" when: "device('HC').fire || device('LC').fire"}
			actions: {causes: "fire" effects: "s" state: "evacuate" after: {seconds: 30}} actions: {causes: "hand" effects: "s" state: "evacuate"}`, ""},
		{"by day alone", `causes: {cause: "day" when: "panel.fire && panel.mode == 'day'"} causes: {cause: "night" when: "panel.fire && panel.mode == 'night'"}
			actions: {causes: "day" effects: "s" state: "evacuate" after: {seconds: 30}} actions: {causes: "night" effects: "s" state: "evacuate"}`,
			"error program.call-point-delayed program.actions[0].after"},
		{"one call point speaks", `causes: {cause: "fire" when: "zone('hall').fire || zone('lobby').detectors_in_fire >= 1"} causes: {cause: "hand" when: "device('LC').fire"}
			effects: {effect: "pa" outputs: "R1"} actions: {causes: "fire" effects: "s" state: "evacuate"} actions: {causes: "hand" effects: "pa" state: "on"}`, ""},
		{"one call point is forgotten", `causes: {cause: "fire" when: "zone('hall').fire || zone('lobby').detectors_in_fire >= 1"} actions: {causes: "fire" effects: "s" state: "evacuate"}`,
			"warning program.call-point-silent loops[0].devices[5]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, "", "program: {"+effects+"}", c.program)); got != c.want {
				t.Errorf("found\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// Times that add up with what detection holds back, and the packs that make too long a delay an error.
func TestDelays(t *testing.T) {
	const long = `actions: {causes: "hall-fire" effects: "ls" state: "evacuate" after: {seconds: 500}}`
	investigated := `detection: {zone: "hall" investigate: {acknowledge_within: {seconds: 15} extra: {seconds: 180}}} `
	for _, c := range []struct{ name, rules, more, want string }{
		{"500 s", `rules: {packs: "en54"}`, long, ""},
		{"500 s behind 195 s of investigation", `rules: {packs: "en54"}`, investigated + long, "error program.delay-too-long program.actions[4].after"},
		{"the same where no pack of Europe applies", `rules: {packs: "nfpa72"}`, investigated + long, "warning program.delay-too-long program.actions[4].after"},
		{"the same, agreed", `rules: {packs: "en54" limits: {limit: "delay_in_all_min" value: 12}}`, investigated + long, ""},
		{"500 s behind the proof of equipment that follows after 500 s", `rules: {packs: "nfpa72"}`, strings.Replace(long, `"ls" state: "evacuate"`, `"r1" state: "on"`, 1) +
			`causes: {cause: "said" when: "device('PROOF').active"} actions: {causes: "said" effects: "r2" state: "on" after: {seconds: 500}}`, "warning program.delay-too-long program.actions[5].after"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, c.rules, basics, c.more)); got != c.want {
				t.Errorf("found\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// Times of detection: 15 s and 180 s of investigation (NFPA 72 23.8.1); a verification adds 60 s at most (NFPA 72
// 23.8.5.4, from memory), and a detector is ready to confirm after 60 s (EN 54-2 7.12.1, from memory): what the schema
// allows besides, an agreement may still shorten. A silenced fault sounds again within 24 h (NFPA 72 chapter 10).
func TestDetection(t *testing.T) {
	detection := func(text string) string { return `detection: {zone: "hall" ` + text + `}` }
	for _, c := range []struct{ name, rules, more, want string }{
		{"15 s and 180 s", "", detection(`investigate: {acknowledge_within: {seconds: 15} extra: {seconds: 180}}`), ""},
		{"16 s", "", detection(`investigate: {acknowledge_within: {seconds: 16}}`), "warning program.detection-too-long program.detection[0].investigate.acknowledge_within"},
		{"181 s", "", detection(`investigate: {extra: {seconds: 181}}`), "warning program.detection-too-long program.detection[0].investigate.extra"},
		{"181 s where NFPA 72 does not apply", `rules: {packs: "en54"}`, detection(`investigate: {extra: {seconds: 181}}`), ""},
		{"10 min in all, by EN 54-2 7.11 from memory", `rules: {packs: "en54"}`, detection(`investigate: {acknowledge_within: {seconds: 60} extra: {seconds: 540}}`), ""},
		{"a second more", `rules: {packs: "en54"}`, detection(`investigate: {acknowledge_within: {seconds: 61} extra: {seconds: 540}}`), "warning program.delay-too-long program.detection[0].investigate"},
		{"a delay behind the investigation of a confirmed zone", `rules: {packs: "en54"}`, detection(`investigate: {acknowledge_within: {seconds: 60} extra: {seconds: 540}}`) +
			`causes: {cause: "sure" when: "zone('hall').confirmed"} actions: {causes: "sure" effects: "hs" state: "evacuate" after: {seconds: 1}}`, "error program.delay-too-long program.actions[4].after"},
		{"a first signal kept for 30 min, as EN 54-2 7.12 has it from memory", "", detection(`confirm: "other" within: {seconds: 1800}`), ""},
		{"kept for 2 h", "", detection(`confirm: "other" within: {seconds: 7200}`), "warning program.detection-too-long program.detection[0].within"},
		{"verified in 50 s, and 40 s agreed", `rules: {packs: "nfpa72" limits: {limit: "verification_adds_s" value: 40}}`, detection(`verification: {restart: {seconds: 50}}`),
			"warning program.detection-too-long program.detection[0].verification.restart"},
		{"ready after 50 s, and 40 s agreed", `rules: {packs: "nfpa72" limits: {limit: "ready_to_confirm_s" value: 40}}`, detection(`confirm: "same-or-other" ready_after: {seconds: 50}`),
			"warning program.detection-too-long program.detection[0].ready_after"},
		{"a fault that sounds again after 20 h, and 8 h agreed", `rules: {packs: "nfpa72" limits: {limit: "fault_sounds_again_h" value: 8}} panel: {fault_sounds_again: {seconds: 72000}}`, "",
			"warning panel.fault-forgotten panel.fault_sounds_again"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := brief(judged(t, c.rules, basics, c.more)); got != c.want {
				t.Errorf("found\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// Past the limit of nodes nothing is claimed but that: no limit, however small, brings a finding about the basics.
func TestUndecided(t *testing.T) {
	undecided := 0
	for limit := 2; limit < 60; limit++ {
		switch got := brief(judgedWithin(t, limit, "", basics, "")); got {
		case "note program.undecided program":
			undecided++
		case "":
		default:
			t.Errorf("within %d nodes: %s", limit, got)
		}
	}
	if undecided == 0 || undecided == 58 {
		t.Errorf("%d of 58 limits were too small", undecided)
	}
}
