package term

import (
	"strconv"
	"strings"
	"testing"
)

// The meaning of each name (rules D1, D2, D4, J10), as the set of facts that makes it true. Facts
// are written kind.index[.value].
func TestMeaning(t *testing.T) {
	const hall = "fire.0 fire.1 fire.2"
	tests := []struct {
		text  string
		scope Scope
		want  string
	}{
		{"panel.fire", Cause, "1 of fire.0 fire.1 fire.2 fire.3 fire.4"},
		{"panel.prealarm", Cause, "prealarm.0"},
		{"panel.supervisory", Cause, "supervisory.5"},
		{"panel.fault", Cause, "1 of fault.0 fault.1 fault.2 fault.3 fault.4 fault.5 fault.6 fault.7 fault.8 output-fault.0 output-fault.1 output-fault.2 loop-fault.0 loop-fault.1 supply-fault.0"},
		{"panel.disabled", Cause, "1 of disabled.0 disabled.1 disabled.2 disabled.3 disabled.4 disabled.5 disabled.6 disabled.7 disabled.8 zone-disabled.0 zone-disabled.1 zone-disabled.2 output-disabled.0 output-disabled.1 output-disabled.2 equipment-disabled.0"},
		{"panel.acknowledged || panel.silenced || panel.evacuate", Cause, "1 of acknowledged.0 silenced.0 evacuate.0"},
		{"panel.mode == 'night'", Cause, "mode.0.1"},
		{"panel.test || panel.buzzer", Cause, "1 of (1 of zone-test.0 zone-test.1 zone-test.2) buzzer.0"},
		{"zone('lobby').test || zone('lobby').confirmed", Cause, "1 of zone-test.1 zone-confirmed.1"},
		{"place('lobby').test", Expectation, "zone-test.1"},
		{"group('recall').test", Cause, "1 of zone-test.0 zone-test.1"},
		{"equipment('hall-fan').disabled", Cause, "equipment-disabled.0"},
		{"override('fan').position == 'on'", Cause, "override.0.1"},
		{"override('fan').position != 'auto'", Matrix, "not override.0.0"},
		{"panel.indicated == 'prealarm'", Cause, "2 of (not (1 of " + hall + " fire.3 fire.4)) prealarm.0"},
		{"panel.mode != 'night'", Cause, "not mode.0.1"},
		{"zone('hall').fire", Cause, "1 of " + hall},
		{"zone('spare').fire", Cause, "false"},
		{"zone('lobby').prealarm", Cause, "false"},
		{"zone('hall').fault", Cause, "1 of fault.0 fault.1 fault.2 fault.7 output-fault.0"},
		{"zone('hall').disabled", Cause, "zone-disabled.0"},
		{"place('lobby').fire", Matrix, "1 of fire.3 fire.4"},
		{"place('lobby').disabled", Expectation, "1 of disabled.3 disabled.4"},
		{"group('recall').fire", Cause, "1 of fire.0 fire.4"},
		{"zone('hall').devices_in_fire >= 2", Cause, "2 of " + hall},
		{"zone('hall').devices_in_fire > 1", Cause, "2 of " + hall},
		{"zone('hall').devices_in_fire < 2", Cause, "not (2 of " + hall + ")"},
		{"zone('hall').devices_in_fire <= 1", Cause, "not (2 of " + hall + ")"},
		{"zone('hall').devices_in_fire == 0", Cause, "not (1 of " + hall + ")"},
		{"zone('hall').devices_in_fire == 3", Cause, "3 of " + hall},
		{"zone('hall').devices_in_fire == 1", Cause, "2 of (1 of " + hall + ") (not (2 of " + hall + "))"},
		{"zone('hall').devices_in_fire != 3", Cause, "not (3 of " + hall + ")"},
		{"2 <= zone('hall').devices_in_fire", Cause, "2 of " + hall},
		{"zone('hall').detectors_in_fire == 2", Cause, "2 of fire.0 fire.1"},
		{"zone('lobby').detectors_in_fire >= 1", Cause, "fire.3"}, // the flow switch is no detector
		{"device('1/3').fire && device('FAN-FLOW').active", Cause, "2 of fire.2 active.6"},
		{"device('3/1').fault", Cause, "1 of fault.7 output-fault.0"},
		{"output('FAN-RUN').commanded != 'off'", Cause, "not commanded.1.0"},
		{"output('PANEL-FIRE').fault", Cause, "output-fault.2"},
		{"output('3/1').state == 'evacuate'", Expectation, "state.0.3"},
		{"output('FAN-RUN').on", Expectation, "not state.1.0"},
		{"loop(3).fault", Cause, "loop-fault.1"},
		{"supply('psu-1').fault", Cause, "supply-fault.0"},
		{"equipment('hall-fan').proven", Cause, "proven.0"},
		{"equipment('hall-fan').state == 'running'", Expectation, "equipment.0.1"},
		{"load('HALL-S1').on && device('1/1').fed && device('1/1').reachable", Expectation, "3 of load.0 fed.0 reachable.0"},
		{"control('fan-override').on || cause('any-fire')", Cause, "1 of control.0 cause.1"},
		{"at_least(2, [zone('hall').fire, zone('lobby').fire, panel.silenced])", Cause, "2 of (1 of " + hall + ") (1 of fire.3 fire.4) silenced.0"},
		{"!!panel.silenced", Cause, "silenced.0"},
		{"panel.silenced // loop(", Cause, "silenced.0"},
	}
	r := NewReader(exchange())
	for _, test := range tests {
		got, problems := r.Parse(test.text, test.scope)
		if len(problems) > 0 {
			t.Errorf("%s: %+v", test.text, problems)
			continue
		}
		if got := show(got); got != test.want {
			t.Errorf("%s:\n got %s\nwant %s", test.text, got, test.want)
		}
	}
}

// show writes a Term for the tables of tests.
func show(t *Term) string {
	within := func(t *Term) string {
		if t.Op == Not || t.Op == AtLeast {
			return "(" + show(t) + ")"
		}
		return show(t)
	}
	switch t.Op {
	case Const:
		if t.True {
			return "true"
		}
		return "false"
	case Leaf:
		return t.Fact.String()
	case Not:
		return "not " + within(t.Args[0])
	}
	words := []string{strconv.Itoa(t.N), "of"}
	for _, arg := range t.Args {
		words = append(words, within(arg))
	}
	return strings.Join(words, " ")
}

// Every text is refused at the character that is wrong, in words that name it.
func TestProblems(t *testing.T) {
	tests := []struct {
		text  string
		scope Scope
		want  string // offset code, what the title holds, what the detail holds
	}{
		{"", Cause, "0 syntax|empty|"},
		{"  ", Cause, "0 syntax|empty|"},
		{"panel.fire && (", Cause, "15 syntax|too early|"},
		{"panel.fire & panel.fault", Cause, "11 syntax|`&`|`&&`"},
		{"panel.fire and panel.fault", Cause, "11 syntax|`and`|`&&`"},
		{"not panel.fire", Cause, "4 syntax|`panel`|`!`"},
		{"panel.fire = true", Cause, "11 syntax|`=`|`==`"},
		{"panel.fire panel.fault", Cause, "11 syntax|`panel`|conditions are built from"},
		{"panel.fire &&& %", Cause, "13 syntax|`&`|`&&`"},
		{"%panel.fire", Cause, "0 syntax|`%`|conditions are built from"},
		{"zone('x", Cause, "5 syntax|quote|"},
		{"zone(‘hall’).fire", Cause, "5 syntax|`‘`|type straight ones"},
		{"zone(hall).fire", Cause, "5 subset|written out|zone('hall')"},
		{"device( HALL-SD-1 ).fire && zone('hal').fire", Cause, "8 subset|written out|device('HALL-SD-1'); 33 unknown|zone 'hal'|'hall'"},
		{"device(HALL-SD).fire", Cause, "7 subset|written out|device('id').fire"},
		{"panel.mode == night", Cause, "14 unknown|`night`|single quotes"},
		{"output('HALL-S1').fault", Cause, "7 unknown|output 'HALL-S1'|load('HALL-S1')"},
		{"load('FAN-RUN').on", Expectation, "5 unknown|load 'FAN-RUN'|output('FAN-RUN')"},
		{strings.Repeat("(", 300) + "panel.fire" + strings.Repeat(")", 300), Cause, "0 syntax|nested too deeply|"},
		{"lo_p(1).fault", Cause, "0 unknown|`lo_p`|`loop`"},
		{"zon('hall').fire", Cause, "0 unknown|`zon`|`zone`"},
		{"zone('é').fire && zone('hall').fre", Cause, "5 unknown|zone 'é'|hall; 31 unknown|`fre`|`.fire`"},
		{"panel.fire &&\n  zone('lobby').fre", Cause, "30 unknown|`fre`|`.fire`"},
		{"zone('hal').fire || device('1/9').fire", Cause, "5 unknown|zone 'hal'|'hall'; 27 unknown|device '1/9'|'1/1'"},
		{"loop(2).fault", Cause, "5 unknown|loop 2|1, 3"},
		{"cause('any-fir')", Cause, "6 unknown|'any-fir'|'any-fire'"},
		{"output('LOBBY-SD').fault", Cause, "7 unknown|output 'LOBBY-SD'|is an input"},
		{"output('FAN-RUN').commanded == 'evacuate'", Cause, "31 unknown|never 'evacuate'|off, on, release"},
		{"output('HALL-SOUNDERS').commanded == 'on'", Cause, "37 unknown|never 'on'|off, alert, evacuate"},
		{"panel.mode == 'daay'", Cause, "14 unknown|never 'daay'|'day'"},
		{"zone('hall')", Cause, "0 type|zone(..) without a property|.fire"},
		{"control('fan-override') && panel.fire", Cause, "7 type|control(..) without a property|.on"},
		{"zone(1).fire", Cause, "0 type|`zone` takes one id|"},
		{"zone.fire", Cause, "0 type|needs an id|"},
		{"zone('hall').fire == true", Cause, "18 type|cannot compare|stands alone"},
		{"!zone('hall').devices_in_fire", Cause, "0 type|count|>= 2"},
		{"zone('hall').fire && panel.mode", Cause, "26 type|a word|"},
		{"at_least(2, [panel.fire, 1])", Cause, "25 type|count|"},
		{"panel.fire.x", Cause, "10 type|nothing can follow|"},
		{"panel.fire + 1", Cause, "11 subset|`+`|"},
		{"panel.fire ? panel.fire : panel.fault", Cause, "11 subset|`? :`|"},
		{"true", Cause, "0 subset|`true`|"},
		{"zone(panel.mode).fire", Cause, "5 subset|written out|"},
		{"zone('hall').devices_in_fire == zone('lobby').devices_in_fire", Cause, "29 subset|comparison|"},
		{"'a' == 'b'", Cause, "4 subset|comparison|"},
		{"panel.exists(x, x)", Cause, "12 subset|exists|; 13 unknown|`x`|; 16 unknown|`x`|"},
		{"at_least(3, [panel.fire, panel.fault])", Cause, "0 never|can never be true|"},
		{"at_least(0, [panel.fire])", Cause, "0 always|always true|"},
		{"at_least(1, [device('1/1').fire, device('HALL-SD-1').fire])", Cause, "33 member-twice|member 2|once"},
		{"zone('hall').devices_in_fire > 3", Cause, "29 never|never be true|3"},
		{"zone('hall').devices_in_fire >= 0", Cause, "29 always|always true|"},
		{"zone('hall').devices_in_fire < 9223372036854775807", Cause, "29 always|always true|"},
		{"device('VALVE').fire", Cause, "16 never|no fire input|"},
		{"device('LOBBY-SD').prealarm", Cause, "19 never|no pre-alarm|prealarm: true"},
		{"device('FAN-RUN').active", Cause, "18 never|output module|commanded"},
		{"zone('hall').confirmed", Matrix, "13 scope|program's own rule|detectors_in_fire"},
		{"override('fan').position == 'of'", Cause, "28 unknown|never 'of'|did you mean 'on'"},
		{"panel.indicated == 'alarm'", Cause, "19 unknown|never 'alarm'|known: fire, prealarm, supervisory, fault, disablement, test, quiescent"},
		{"output('FAN-RUN').cadence == 'silent'", Cause, "18 bench-only|cannot know|"},
		{"output('FAN-RUN').on", Cause, "18 bench-only|the panel cannot know this|commanded"},
		{"output('FAN-RUN').state == 'on'", Matrix, "18 bench-only|the panel cannot know this|"},
		{"load('HALL-S1').on", Cause, "0 bench-only|the panel cannot know this|"},
		{"device('1/1').fed", Cause, "14 bench-only|the panel cannot know this|"},
		{"place('hall').fire", Cause, "0 scope|cannot know places|"},
	}
	r := NewReader(exchange())
	for _, test := range tests {
		got, problems := r.Parse(test.text, test.scope)
		wants := strings.Split(test.want, "; ")
		if got != nil || len(problems) != len(wants) {
			t.Errorf("%q: term %v, problems %+v, want %d", test.text, got, problems, len(wants))
			continue
		}
		for i, want := range wants {
			part := strings.SplitN(want, "|", 3)
			p := problems[i]
			if strconv.Itoa(p.Offset)+" "+strings.TrimPrefix(p.Code, "condition.") != part[0] || !strings.Contains(p.Title, part[1]) || !strings.Contains(p.Detail, part[2]) {
				t.Errorf("%q:\n got %+v\nwant %s", test.text, p, want)
			}
			if strings.Contains(p.Detail, " input '") {
				t.Errorf("%q: the remedy speaks the parser's language: %s", test.text, p.Detail)
			}
		}
	}
}

// A chain of many operands is one gate, whatever its length.
func TestLongChain(t *testing.T) {
	got, problems := Parse(strings.Repeat("panel.silenced || ", 500)+"panel.evacuate", exchange(), Cause)
	if len(problems) > 0 || got.Op != AtLeast || len(got.Args) != 501 {
		t.Fatalf("%+v %v", problems, got)
	}
}

// FuzzParse: no text makes the reader panic; it returns either a Term that evaluates or problems
// inside the text, and the same both times.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"panel.fire", "at_least(2, [zone('hall').fire, zone('lobby').fire])", "zone('hall').devices_in_fire >= 2", "loop(1).fault && !panel.silenced",
		"output('HALL-SOUNDERS').commanded == 'evacuate'", "panel.mode != 'day'", "'''a''' == panel.mode", "zone(\"hall\").fire // x", "a{b:1}.c", "[1][0] == 1", "{'a': 1}.a", "panel.fire ? 1 : 2", "dyn(1)", "zone('\\x41').fire", "device(A-1).fire && zone((hall)).fire"} {
		f.Add(seed, uint8(0))
	}
	r := NewReader(exchange())
	f.Fuzz(func(t *testing.T, src string, scope uint8) {
		got, problems := r.Parse(src, Scope(scope%3))
		if (got == nil) == (len(problems) == 0) {
			t.Fatalf("%q: term %v and problems %v", src, got, problems)
		}
		for _, p := range problems {
			if p.Offset < 0 || p.Offset > len([]rune(src)) || p.Title == "" {
				t.Fatalf("%q: %+v", src, p)
			}
		}
		if got == nil {
			return
		}
		again, _ := Parse(src, exchange(), Scope(scope%3))
		if again == nil || again.key() != got.key() {
			t.Fatalf("%q: read differently by a new reader", src)
		}
		got.Eval(func(f Fact) bool {
			if f.Kind == 0 || f.Kind.BenchOnly() && Scope(scope%3) != Expectation {
				t.Fatalf("%q: fact %v in scope %d", src, f, scope%3)
			}
			return f.Index%2 == 0
		})
	})
}
