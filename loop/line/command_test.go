package line

import (
	"fmt"
	"strings"
	"testing"
)

// The queue of commands; times worked out by hand.
func TestCommands(t *testing.T) {
	shares := func(c *Config) { c.SharedCommands = true }
	var burst []string // ten commands at one instant
	for i := 1; i <= 10; i++ {
		burst = append(burst, fmt.Sprintf("3 send %d 1 1 %d", i, i))
	}
	tell(t, []story{
		{name: "a command takes the next slot and operates at its end", source: "rules C1, C3", devices: "i,o", until: 100,
			script: "3 send 1 1", want: "10 sent 1 s1 try 1; 25 done 1 s1 heard"},
		{name: "born when a slot begins, it takes that slot", source: "rule C1: at or after its birth", devices: "i,o", until: 100,
			script: "10 send 1 1", want: "10 sent 1 s1 try 1; 25 done 1 s1 heard"},
		{name: "within an instant the stronger first, then file order", source: "rule C2", devices: "i,o,o,o", words: "sent", until: 100,
			script: "3 send 1 1 1 5; 3 send 2 1 1 2; 3 send 3 2 3 9",
			want:   "10 sent 3 s2 try 1; 25 sent 2 s1 try 1; 40 sent 1 s1 try 1"},
		{name: "nothing overtakes an earlier instant", source: "rule C2", devices: "i,o,o,o", words: "sent", until: 100,
			script: "2 send 1 1 1 5; 3 send 3 2 3 0",
			want:   "10 sent 1 s1 try 1; 25 sent 3 s2 try 1"},
		{name: "nothing goes before a command in progress", source: "settled in this package", devices: "i,o,o", words: "sent done", until: 100,
			script: "10 send 1 1 1 5; 12 send 2 2 3 0; 12 send 1 2 3 1",
			want:   "10 sent 1 s1 try 1; 25 done 1 s1 heard; 25 sent 2 s2 try 1; 40 done 2 s2 heard; 40 sent 1 s2 try 1; 55 done 1 s2 heard"},
		{name: "nothing is merged or dropped", source: "rule C2", devices: "i,o", words: "sent", until: 100,
			script: "3 send 1 1; 3 send 1 0 0 1; 4 send 1 1",
			want:   "10 sent 1 s1 try 1; 25 sent 1 s0 try 2; 40 sent 1 s1 try 3"},
		{name: "eight commands, then a visit", source: "rules C2, B12", devices: "i,o,o,o,o,o,o,o,o,o,o", words: "sent", until: 200,
			script: strings.Join(burst, ";"),
			want: `10 sent 1 s1 try 1; 25 sent 2 s1 try 1; 40 sent 3 s1 try 1; 55 sent 4 s1 try 1; 70 sent 5 s1 try 1; 85 sent 6 s1 try 1;
				100 sent 7 s1 try 1; 115 sent 8 s1 try 1; 140 sent 9 s1 try 1; 155 sent 10 s1 try 1`},
		{name: "a probe is a visit too", source: "settled in this package", devices: "o", words: "sent", until: 100,
			// 10 command, 25 probe (its turn), 45 command.
			config: func(c *Config) { c.ProbeUnused, c.CommandsBetweenVisits = true, 1 },
			script: "3 send 0 1; 3 send 0 2 0 1", want: "10 sent 0 s1 try 1; 45 sent 0 s2 try 2"},
		{name: "three tries, then a fault; the first reply that agrees clears it", source: "rules C4, J7", devices: "i,o", until: 300,
			script: "0 stuck 1; 3 send 1 1; 200 out 1 1",
			want: `10 sent 1 s1 try 1; 25 done 1 s1 heard; 35 repeat 1 s1 try 1; 35 sent 1 s1 try 2; 50 done 1 s1 heard;
				70 repeat 1 s1 try 2; 70 sent 1 s1 try 3; 85 done 1 s1 heard; 105 outfault 1 on; 225 outfault 1 off`},
		{name: "once the reply agrees there are three tries again", source: "rules C4, J7: one change", devices: "i,o", until: 100,
			script: "3 send 1 1; 60 out 1 0",
			want:   "10 sent 1 s1 try 1; 25 done 1 s1 heard; 75 repeat 1 s1 try 0; 75 sent 1 s1 try 1; 90 done 1 s1 heard"},
		{name: "a new demand starts again", source: "rule J7", devices: "i,o", words: "sent outfault", until: 150,
			script: "0 stuck 1; 3 send 1 1; 110 send 1 2",
			want:   "10 sent 1 s1 try 1; 35 sent 1 s1 try 2; 70 sent 1 s1 try 3; 105 outfault 1 on; 115 sent 1 s2 try 1; 140 sent 1 s2 try 2"},
		{name: "no repeat if the program sends something new at that instant", source: "rule J7", devices: "i,o", until: 45,
			script: "0 stuck 1; 3 send 1 1; 35 send 1 2",
			want:   "10 sent 1 s1 try 1; 25 done 1 s1 heard; 35 sent 1 s2 try 1"},
		{name: "a command that nobody answers takes its slot and is a try", source: "rules C4, J7", devices: "i,o", until: 100,
			// Visit 25..45 brings nothing, back at 45; visit 55..65 shows rest.
			script: "0 muted 1; 3 send 1 1; 45 muted 1 off",
			want:   "10 sent 1 s1 try 1; 25 done 1 s1 unheard; 65 repeat 1 s1 try 1; 65 sent 1 s1 try 2; 80 done 1 s1 heard"},
		{name: "gone before the end of the slot, it has not heard", source: "settled in this package: at begin and at end", devices: "i,o", until: 30,
			script: "3 send 1 1; 24 removed 1", want: "10 sent 1 s1 try 1; 25 done 1 s1 unheard"},
		{name: "back before the end of the slot, it has not heard either", source: "likewise", devices: "i,o", until: 30,
			script: "0 removed 1; 3 send 1 1; 24 removed 1 off", want: "10 sent 1 s1 try 1; 25 done 1 s1 unheard"},
		{name: "another kind of device takes no commands", source: "settled in this package", devices: "i,o", words: "sent done", until: 30,
			script: "0 other 1; 3 send 1 1", want: "10 sent 1 s1 try 1; 25 done 1 s1 unheard"},
		{name: "one effect, state and instant in one slot", source: "rule C3", devices: "i,o,o,o", config: shares, words: "sent done", until: 50,
			script: "3 send 1 1 0 0 1; 3 send 2 1 0 1 1; 3 send 3 1 0 2 2",
			want:   "10 sent 1 s1 try 1; 10 sent 2 s1 try 1; 25 done 1 s1 heard; 25 done 2 s1 heard; 25 sent 3 s1 try 1; 40 done 3 s1 heard"},
		{name: "another state does not share", source: "rule C3", devices: "i,o,o", config: shares, words: "sent", until: 50,
			script: "3 send 1 1 0 0 1; 3 send 2 2 0 1 1", want: "10 sent 1 s1 try 1; 25 sent 2 s2 try 1"},
		{name: "another instant does not share", source: "rule C3", devices: "i,o,o", config: shares, words: "sent", until: 50,
			script: "3 send 1 1 0 0 1; 4 send 2 1 0 1 1", want: "10 sent 1 s1 try 1; 25 sent 2 s1 try 1"},
		{name: "not shared unless asked for", source: "rule C3", devices: "i,o,o", words: "sent", until: 50,
			script: "3 send 1 1 0 0 1; 3 send 2 1 0 1 1", want: "10 sent 1 s1 try 1; 25 sent 2 s1 try 1"},
	})
}

// A new demand that falls into a running command slot must not become the cause of its end.
func TestCommandDoneFollowsFromItsOwnCommand(t *testing.T) {
	r := newRig(rigConfig("i,o"))
	r.play(readScript("10 send 1 1; 12 send 1 2"), 30)
	if len(r.raw) < 2 || r.raw[0].Kind != CommandSent || r.raw[1].Kind != CommandDone || r.raw[1].Parent != 1 {
		t.Errorf("the first two notes are %+v; CommandDone must name note 1, CommandSent", r.raw)
	}
}
